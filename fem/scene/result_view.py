"""What is shown of a result: each model's path as states with their shapes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path, PurePath
from typing import Any

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.units import MINUS
from fem.fast.shape import uniform_shape
from fem.quantities import table
from fem.quantities.shape import Shape
from fem.results.reader import read_result
from fem.results.result import Result
from fem.results.run import Run
from fem.results.vtu_series import INDEX
from fem.scene.appearance import MODEL_TITLES
from fem.scene.solids import SceneBuilder, Solid, without_body
from fem.scene.surface import WallSurfaces
from fem.wording.run_sections import place_text, request_text, with_added
from fem.wording.termination import limit_name, short_reason

AT_REST = 1e-6
"""Less pressure and motion (kPa, deg, mm) than this is none."""


@dataclass(frozen=True)
class ResultView:
    """The path of one model, ready to be shown.

    Attributes
    ----------
    name
        Title of the case, or the end of its folder's path where titles are alike.
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
    surfaces
        The surfaces of its body, where it is known already.
    """

    name: str
    case: Case
    model: str
    rows: list[dict[str, Any]]
    shapes: list[Shape]
    note: str = ""
    surfaces: WallSurfaces | None = field(default=None, repr=False, compare=False)

    @property
    def title(self) -> str:
        """What its model is called."""
        return MODEL_TITLES[self.model]

    @property
    def labels(self) -> list[str]:
        """Where on the path each state is, in a few words."""
        return [self._label(row) for row in self.rows]

    @cached_property
    def builder(self) -> SceneBuilder:
        """What of its solids is the same at all steps."""
        return SceneBuilder(self.case, self.shapes[0], self.surfaces)

    def state(self, step: int) -> tuple[dict[str, Any], Shape | None]:
        """Return the row of a step and its shape, where it is known; beyond the last, the last."""
        number = min(step, len(self.rows) - 1)
        return self.rows[number], self.shapes[number] if self.shapes else None

    def _label(self, row: dict[str, Any]) -> str:
        if at_rest(row):
            return "at rest"
        if row is self.rows[0] and abs(row[table.pressure.column]) < AT_REST:
            return "before inflation"
        where = place_text(self, self.case, row).replace("-", MINUS)
        if asked := request_text(self.case, row):
            where = f"{asked}, {where}"
        if row.get("limit"):
            return f"{limit_name(row['bore_stretch'])}, {where}"
        return where


def at_rest(row: dict[str, Any]) -> bool:
    """Return whether a row tells of a tube without pressure and motion."""
    moves = (table.pressure, table.twist, table.displacement)
    return not any(abs(row[one.column]) >= AT_REST for one in moves)  # one may be unknown: nan


def solids(view: ResultView, step: int, *, cut: bool = False, start: bool = True) -> list[Solid]:
    """Return what is seen of an view at a step, its last one where it has no such step.

    The other parameters are those of :func:`state_solids`.
    """
    return state_solids(view, *view.state(step), cut=cut, start=start)


def state_solids(
    view: ResultView,
    row: dict[str, Any],
    shape: Shape | None,
    *,
    cut: bool = False,
    start: bool = True,
) -> list[Solid]:
    """Return what is seen of an view in any state, be it between its steps.

    Parameters
    ----------
    view
        The view.
    row, shape
        The state; without a shape the plates and the tube at rest are shown.
    cut
        Whether the tube is cut open: parts of which nothing is left or seen are left out.
    start
        Whether the tube at rest is shown as well.
    """
    if shape is None:
        found = [*without_body(view.case.tube, row)]
    else:
        found = view.builder.solids(shape, row)
    return [solid for solid in found if len(solid.faces(cut)) and (start or solid.role != "start")]


def result_views(result: Result, name: str = "") -> list[ResultView]:
    """Return an view to each model of a result, none to an FE run without shapes.

    Parameters
    ----------
    result
        The result.
    name
        What to call it, if not by the title of its case.
    """
    shown = [_view(result.case, run, name) for run in result.runs]
    return [view for view in shown if view.shapes]


def load_views(folders: Iterable[str | Path]) -> list[ResultView]:
    """Return the views of the results in folders, named apart where titles are alike.

    Raises
    ------
    InputError
        If a folder holds no result, or a damaged one, or is named twice.
    """
    given = [Path(folder) for folder in folders]
    results = [with_shapes(folder) for folder in given]
    names = names_of(given, [result.case.title for result in results])
    return [
        view
        for result, name in zip(results, names, strict=True)
        for view in result_views(result, name)
    ]


def load_cases(folders: Iterable[str | Path]) -> dict[str, Case]:
    """Return the cases of the results in folders by their names; no shapes are read.

    Raises
    ------
    InputError
        As by :func:`load_views`, but for shapes.
    """
    given = [Path(folder) for folder in folders]
    cases = []
    for folder in given:
        case, runs, _ = read_result(folder, shapes=False)
        _need_index(folder, runs)
        cases.append(case)
    return dict(zip(names_of(given, [case.title for case in cases]), cases, strict=True))


def with_shapes(folder: str | Path) -> Result:
    """Return the result in a folder, none whose FE model has lost its shapes.

    Raises
    ------
    InputError
        If there is none, it is damaged, or has lost them.
    """
    result = Result.load(folder)
    _need_index(Path(folder), result.runs)
    return result


def _need_index(folder: Path, runs: Sequence[Run]) -> None:
    """Raise unless the shapes of an FE model that was solved are listed."""
    solved = any(run.model == "fe" and run.rows for run in runs)
    if solved and not (folder / INDEX).exists():
        raise InputError(
            f"{folder / INDEX}: this file is missing; it lists the shapes of the FE model"
        )


def names_of(folders: Sequence[Path], titles: Sequence[str]) -> list[str]:
    """Return the titles of results; where they are alike, as much of each path as tells it apart.

    Parameters
    ----------
    folders
        The folders.
    titles
        What the case of each is called.

    Raises
    ------
    InputError
        If a folder is named twice.
    """
    whole = [folder.resolve() for folder in folders]
    for number, folder in enumerate(whole):
        if folder in whole[:number]:
            raise InputError(f"{folders[number]}: this folder is named twice")
    alike = [
        [other.parts for other, its in zip(whole, titles, strict=True) if its == title]
        for title in titles
    ]
    return [
        title if len(group) == 1 else _end_of(folder.parts, group)
        for folder, title, group in zip(whole, titles, alike, strict=True)
    ]


def _end_of(path: tuple[str, ...], group: Sequence[tuple[str, ...]]) -> str:
    """Return the end of a path, as long as no other of the group ends so."""
    length = 1
    while sum(other[-length:] == path[-length:] for other in group) > 1:
        length += 1
    return PurePath(*path[-length:]).as_posix()


def _view(case: Case, run: Run, name: str) -> ResultView:
    rows = with_added(case, run.path)
    if run.model == "fast":
        shapes = [uniform_shape(case, row) for row in rows]
    else:
        shapes = run.shapes[: len(rows)]
    note = short_reason(run.termination)
    return ResultView(name or case.title, case, run.model, rows[: len(shapes)], shapes, note)
