"""Views of a result: the path of each model as states with their shapes."""

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
"""Smaller pressures and motions (kPa, deg, mm) count as zero."""


@dataclass(frozen=True)
class ResultView:
    """The path of one model, ready for display.

    Attributes
    ----------
    name
        Title of the case, or the end of the path of its folder if titles are equal.
    case
        The case.
    model
        ``"fe"``, ``"fast"`` or ``"bench"``.
    rows
        One row of the step table per state, none beyond a limit that ends the path.
    shapes
        The shape at each row; empty if only values are known.
    note
        Why the path ended early; empty if it did not.
    surfaces
        The surfaces of its body, if already known.
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
        """Title of its model."""
        return MODEL_TITLES[self.model]

    @property
    def labels(self) -> list[str]:
        """Short label of each state: its place on the path."""
        return [self._label(row) for row in self.rows]

    @cached_property
    def builder(self) -> SceneBuilder:
        """The builder of its solids, which has what is the same in all states."""
        return SceneBuilder(self.case, self.shapes[0], self.surfaces)

    def state(self, step: int) -> tuple[dict[str, Any], Shape | None]:
        """Return row and shape (if known) of a step, or of the last one if it is beyond."""
        number = min(step, len(self.rows) - 1)
        return self.rows[number], self.shapes[number] if self.shapes else None

    def _label(self, row: dict[str, Any]) -> str:
        if at_rest(row):
            return "at rest"
        if row is self.rows[0] and abs(row[table.pressure.column]) < AT_REST:
            return "before inflation"
        where = place_text(self, self.case, row).replace("-", MINUS)
        if request := request_text(self.case, row):
            where = f"{request}, {where}"
        if row.get("limit"):
            return f"{limit_name(row['bore_stretch'])}, {where}"
        return where


def at_rest(row: dict[str, Any]) -> bool:
    """Return whether a row has neither pressure nor motion."""
    quantities = (table.pressure, table.twist, table.displacement)
    return not any(abs(row[one.column]) >= AT_REST for one in quantities)  # nan if unknown


def solids(view: ResultView, step: int, *, cut: bool = False, start: bool = True) -> list[Solid]:
    """Return the visible solids of a view at a step, or at its last one if it is beyond.

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
    """Return the visible solids of a view in any state, also between its steps.

    Parameters
    ----------
    view
        The view.
    row, shape
        The state; without a shape only the plates and the tube at rest are shown.
    cut
        Whether the tube is cut open; parts without visible faces are left out.
    start
        Whether the tube at rest is shown, too.
    """
    if shape is None:
        found = [*without_body(view.case.tube, row)]
    else:
        found = view.builder.solids(shape, row)
    return [solid for solid in found if len(solid.faces(cut)) and (start or solid.role != "start")]


def result_views(result: Result, name: str = "") -> list[ResultView]:
    """Return a view for each model of a result, except an FE run without shapes.

    Parameters
    ----------
    result
        The result.
    name
        Its name; the title of its case if empty.
    """
    found = [_view(result.case, run, name) for run in result.runs]
    return [view for view in found if view.shapes]


def load_views(folders: Iterable[str | Path]) -> list[ResultView]:
    """Return the views of the results in folders, with distinct names.

    Raises
    ------
    InputError
        If a folder has no result, or a damaged one, or is given twice.
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
        As for :func:`load_views`, except for shapes.
    """
    given = [Path(folder) for folder in folders]
    cases = []
    for folder in given:
        case, runs, _ = read_result(folder, shapes=False)
        _need_index(folder, runs)
        cases.append(case)
    return dict(zip(names_of(given, [case.title for case in cases]), cases, strict=True))


def with_shapes(folder: str | Path) -> Result:
    """Return the result in a folder, which must have the shapes of its FE model.

    Raises
    ------
    InputError
        If there is none, it is damaged, or its shapes are missing.
    """
    result = Result.load(folder)
    _need_index(Path(folder), result.runs)
    return result


def _need_index(folder: Path, runs: Sequence[Run]) -> None:
    """Raise an error if the list of shapes of a solved FE model is missing."""
    solved = any(run.model == "fe" and run.rows for run in runs)
    if solved and not (folder / INDEX).exists():
        raise InputError(
            f"{folder / INDEX}: this file is missing; it lists the shapes of the FE model"
        )


def names_of(folders: Sequence[Path], titles: Sequence[str]) -> list[str]:
    """Return the titles of results; where they are equal, the end of each path that differs.

    Parameters
    ----------
    folders
        The folders.
    titles
        Title of the case of each.

    Raises
    ------
    InputError
        If a folder is given twice.
    """
    paths = [folder.resolve() for folder in folders]
    for number, folder in enumerate(paths):
        if folder in paths[:number]:
            raise InputError(f"{folders[number]}: this folder is given twice")
    equal = [
        [other.parts for other, its in zip(paths, titles, strict=True) if its == title]
        for title in titles
    ]
    return [
        title if len(group) == 1 else _end_of(folder.parts, group)
        for folder, title, group in zip(paths, titles, equal, strict=True)
    ]


def _end_of(path: tuple[str, ...], group: Sequence[tuple[str, ...]]) -> str:
    """Return the shortest end of a path that no other path of the group has."""
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
