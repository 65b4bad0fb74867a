"""Solution of the settings of a prediction by the fast model."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.case.case import Case
from fem.core.errors import InputError
from fem.quantities.case_fields import cells, changes
from fem.study.results_db import Curve
from fem.study.worker import Task, solve_task
from fem.trust.inputs import by_pressure
from fem.trust.pairs import FAST, PRESSURE

if TYPE_CHECKING:
    import pandas

    from fem.study.plan import Study

MAX_STEPS = 200
"""Greatest number of equal steps of a path that contains all requested pressures."""


def cases_of(study: Study, settings: Iterable[Mapping[str, Any] | Case]) -> list[Case]:
    """Return the case of each setting; cases are returned unchanged.

    Raises
    ------
    InputError
        If a setting lacks a field of the study, or gives no valid case.
    """
    cases = []
    for setting in settings:
        if not isinstance(setting, Case):
            if missing := [field for field in study.fields if field not in setting]:
                text = f'setting: the field "{missing[0]}" is missing; the study varies it'
                raise InputError(text)
            setting = study.case_of(setting)
        cases.append(setting)
    return cases


def differences(study: Study, case: Case) -> list[str]:
    """Return the fields in which a case differs from the study, except those that vary."""
    # set what may differ to the values of the study
    data: dict[str, Any] = {"title": study.base.title, "note": study.base.note}
    if case.pressure and study.base.pressure:
        pressure = study.base.data["pressure"]
        data |= {f"pressure__{key}": pressure[key] for key in ("end", "steps")}
    try:
        plain = case.changed(**data, **changes(case, study.sample_setting))
    except InputError:
        return ["the case has other parts than those of the study"]
    own, base = (_flat(c.data) for c in (plain, study.sample))
    names = [name for name in dict.fromkeys([*own, *base]) if own.get(name) != base.get(name)]
    return [f"{name} differs from that of the study" for name in names]


def _flat(data: Any, name: str = "") -> dict[str, Any]:
    """Return the values of nested tables by dotted names, those of a family by its name."""
    if not isinstance(data, dict | list):
        return {name: data}
    if isinstance(data, list):
        data = {part.get("name", number): part for number, part in enumerate(data, 1)}
    parts = [_flat(value, f"{name}.{key}".lstrip(".")) for key, value in data.items()]
    return {key: value for part in parts for key, value in part.items()}


def fast_points(
    study: Study, cases: Sequence[Case], pressures: Sequence[float] | None
) -> pandas.DataFrame:
    """Solve cases by the fast model.

    Parameters
    ----------
    study
        The study, which defines the columns that vary.
    cases
        The cases.
    pressures
        Pressures of the points (kPa); the requested steps of each case after rest if None.

    Returns
    -------
    Columns ``number`` (of the case), ``case`` (its key), those of the fields that vary,
    ``ordinal``, ``pressure_kPa``, ``ended`` (the kind of termination before that state, a code of
    :class:`~fem.continuation.termination.TerminationKind`; empty if it is reached), and those of
    the step table with the suffix ``.fast``.

    Raises
    ------
    InputError
        If the pressures cannot be set.
    """
    import pandas

    paths_of_cases = [_paths(case, pressures) for case in cases]
    paths = tuple(path for each in paths_of_cases for path, _ in each)
    curves = (solved.curve for solved in solve_task(Task("fast", paths, study.resolution)))
    rows: list[dict[str, Any]] = []
    for number, (case, each) in enumerate(zip(cases, paths_of_cases, strict=True)):
        own = {"number": number, "case": case.key, **cells(case, study.fields)}
        rows += [own | point for _, points in each for point in _read(next(curves), points)]
    varied = cells(study.sample, study.fields)
    first = ["number", "case", *varied, "ordinal", PRESSURE, "ended"]
    table = pandas.DataFrame(rows, columns=None if rows else first)
    return table.astype({"ordinal": int, PRESSURE: float})


type _Points = list[tuple[int, float]]
"""Step of a path and pressure (kPa; NaN if it is not prescribed) of each point."""


def _paths(case: Case, pressures: Sequence[float] | None) -> list[tuple[Case, _Points]]:
    """Return the paths that contain the requested pressures, with the points on each.

    This is one path with equal steps if that contains all pressures, else one path per pressure.
    """
    from fem.continuation.load_steps import steps_of

    pressure_only = by_pressure(case)
    if pressures is None:
        part = (
            1e3 * case.pressure.end / steps_of(case) if case.pressure and pressure_only else np.nan
        )
        return [(case, [(n, n * part) for n in range(1, steps_of(case) + 1)])]
    if not pressure_only:
        raise InputError("pressures: only for a study that is driven by pressure without a move")
    if not all(np.isfinite(p) and p > 0 for p in pressures):
        raise InputError("pressures: each must be a number of kPa greater than 0")
    requested = [float(pressure) for pressure in pressures]
    for steps in range(1, MAX_STEPS + 1) if requested else ():
        exact = np.array(requested) / max(requested) * steps
        numbers = np.rint(exact).astype(int)
        if np.allclose(exact, numbers, rtol=0, atol=1e-9) and numbers.min() > 0:
            return [
                (
                    _driven_to(case, max(requested), steps),
                    [*zip(numbers.tolist(), requested, strict=True)],
                )
            ]
    return [(_driven_to(case, pressure, 1), [(1, pressure)]) for pressure in requested]


def _driven_to(case: Case, pressure: float, steps: int) -> Case:
    return case.changed(pressure__end=f"{pressure!r} kPa", pressure__steps=steps)


def _read(curve: Curve, points: _Points) -> Iterator[dict[str, Any]]:
    """Yield the points of a curve."""
    import pandas

    rows = pandas.DataFrame(curve.steps).to_dict("records")
    requested = [row for row in rows if row["requested"]]
    for step, pressure in points:
        if step < len(requested):
            numbers = {k: v for k, v in requested[step].items() if not isinstance(v, str | bool)}
            point = {PRESSURE: numbers[PRESSURE], "ended": ""}
            yield {"ordinal": step, **point, **{f"{k}{FAST}": v for k, v in numbers.items()}}
        else:
            yield {"ordinal": step, PRESSURE: pressure, "ended": curve.termination.kind.value}
