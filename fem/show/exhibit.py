"""What is shown of a result: each model's path as states with their shapes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from fem.case import Case
from fem.fast.shape import uniform_shape
from fem.result import Result, Run, limit_name
from fem.shape import Shape
from fem.show.parts import on_path, outcome, place
from fem.show.skin import Skin
from fem.show.solids import Tessellation

MODELS = {"fe": "FE model", "fast": "fast model", "bench": "bench"}
"""How the models are headed."""

AT_REST = 1e-6
"""Less pressure and motion (kPa, deg, mm) than this is none."""


@dataclass(frozen=True)
class Exhibit:
    """The path of one model, ready to be shown.

    Attributes
    ----------
    name
        Title of the case, or of its folder where titles are alike.
    case
        The case.
    model
        ``"fe"``, ``"fast"`` or ``"bench"``.
    rows
        A row of the step table to each state, none beyond a limit that ends the path.
    shapes
        The shape at each row; none at all where only figures are known.
    note
        Why the path ended early; empty if it did not.
    skin
        The skin of its body, where it is known already.
    """

    name: str
    case: Case
    model: str
    rows: list[dict[str, Any]]
    shapes: list[Shape]
    note: str = ""
    skin: Skin | None = field(default=None, repr=False, compare=False)

    @property
    def title(self) -> str:
        """What its model is called."""
        return MODELS[self.model]

    @property
    def labels(self) -> list[str]:
        """Where on the path each state is, in a few words."""
        return [self._label(row) for row in self.rows]

    @cached_property
    def tessellation(self) -> Tessellation:
        """What of its solids is the same at all steps."""
        return Tessellation(self.case, self.shapes[0], self.skin)

    def _label(self, row: dict[str, Any]) -> str:
        if at_rest(row):
            return "at rest"
        where = place(self, self.case, row)
        if row.get("limit"):
            return f"{limit_name(row)}, {where}"
        return where if row is not self.rows[0] else "before inflation"


def at_rest(row: dict[str, Any]) -> bool:
    """Return whether a row tells of a tube without pressure and motion."""
    moves = ("pressure_kPa", "twist_deg", "displacement_mm")
    return not any(abs(row[name]) >= AT_REST for name in moves)  # one may be unknown: nan


def exhibits(result: Result, name: str = "") -> list[Exhibit]:
    """Return an exhibit to each model of a result, none to an FE run without shapes.

    Parameters
    ----------
    result
        The result.
    name
        What to call it, if not by the title of its case.
    """
    shown = [_exhibit(result.case, run, name) for run in result.runs]
    return [exhibit for exhibit in shown if exhibit.shapes]


def load_exhibits(folders: Iterable[str | Path]) -> list[Exhibit]:
    """Return the exhibits of the results in folders, named apart where titles are alike.

    Raises
    ------
    InputError
        If a folder holds no result, or a damaged one.
    """
    found = [(Path(folder), exhibits(Result.load(folder))) for folder in folders]
    titles = Counter(shown[0].name for _, shown in found if shown)
    return [
        replace(exhibit, name=folder.resolve().name) if titles[exhibit.name] > 1 else exhibit
        for folder, shown in found
        for exhibit in shown
    ]


def _exhibit(case: Case, run: Run, name: str) -> Exhibit:
    rows = on_path(run)
    if run.model == "fast":
        shapes = [uniform_shape(case, row) for row in rows]
    else:
        shapes = run.shapes[: len(rows)]
    note = "" if run.reached else outcome(run).removeprefix("not reached, ")
    return Exhibit(name or case.title, case, run.model, rows[: len(shapes)], shapes, note)
