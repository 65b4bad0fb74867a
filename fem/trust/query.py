"""Questions put to a corrected fast model: settings and pressures, solved by the fast model."""

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

MOST_STEPS = 200
"""Pressures that are all multiples of no less than this part of the greatest share one path."""


def cases_of(study: Study, settings: Iterable[Mapping[str, Any] | Case]) -> list[Case]:
    """Return the case of each setting; what is a case already stays.

    Raises
    ------
    InputError
        If a setting leaves a field of the study out, or makes no case.
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
    """Return the fields in which a case differs from the study besides what varies."""
    # what need not be as in the study is put into the case
    data: dict[str, Any] = {"title": study.base.title, "note": study.base.note}
    if case.pressure and study.base.pressure:
        pressure = study.base.data["pressure"]
        data |= {f"pressure__{key}": pressure[key] for key in ("end", "steps")}
    try:
        plain = case.changed(**data, **changes(case, study.sample_setting))
    except InputError:
        return ["the case: it has other parts than those of the study"]
    own, base = (_flat(c.data) for c in (plain, study.sample))
    names = [name for name in dict.fromkeys([*own, *base]) if own.get(name) != base.get(name)]
    return [f"{name} differs from that of the study" for name in names]


def _flat(data: Any, name: str = "") -> dict[str, Any]:
    """Return the values of nested tables by dotted names."""
    if not isinstance(data, dict | list):
        return {name: data}
    items = data.items() if isinstance(data, dict) else enumerate(data, 1)
    parts = [_flat(value, f"{name}.{key}".lstrip(".")) for key, value in items]
    return {key: value for part in parts for key, value in part.items()}


def fast_points(
    study: Study, cases: Sequence[Case], pressures: Sequence[float] | None
) -> pandas.DataFrame:
    """Solve cases by the fast model.

    Parameters
    ----------
    study
        The study that says which columns vary.
    cases
        The cases.
    pressures
        Where on each path (kPa); the requested steps of each case after rest if None.

    Returns
    -------
    Columns ``number`` (of the case), ``case`` (its key), those of the fields that vary,
    ``ordinal``, ``pressure_kPa``, ``ended`` (the kind of termination before that state, a code of
    :class:`~fem.continuation.termination.TerminationKind`; empty if it is reached), and those of
    the step table, ending in ``.fast``.

    Raises
    ------
    InputError
        If pressures are given that cannot be set.
    """
    import pandas

    asked = [_paths(case, pressures) for case in cases]
    paths = tuple(path for each in asked for path, _ in each)
    curves = (done.curve for done in solve_task(Task("fast", paths, study.resolution)))
    rows: list[dict[str, Any]] = []
    for number, (case, each) in enumerate(zip(cases, asked, strict=True)):
        own = {"number": number, "case": case.key, **cells(case, study.fields)}
        rows += [own | point for _, wanted in each for point in _read(next(curves), wanted)]
    varied = cells(study.sample, study.fields)
    first = ["number", "case", *varied, "ordinal", PRESSURE, "ended"]
    table = pandas.DataFrame(rows, columns=None if rows else first)
    return table.astype({"ordinal": int, PRESSURE: float})


type _Wanted = list[tuple[int, float]]
"""Requested step of a path, and pressure (kPa; NaN where it is not set), of each point."""


def _paths(case: Case, pressures: Sequence[float] | None) -> list[tuple[Case, _Wanted]]:
    """Return the paths that lead to what is requested, with the points wanted of each.

    There is one path with equal steps through all pressures if that can be, else one to each.
    """
    from fem.continuation.load_steps import steps_of

    set_alone = by_pressure(case)
    if pressures is None:
        part = 1e3 * case.pressure.end / steps_of(case) if case.pressure and set_alone else np.nan
        return [(case, [(n, n * part) for n in range(1, steps_of(case) + 1)])]
    if not set_alone:
        raise InputError("pressures: the study does not set the pressure alone; leave them out")
    if not all(np.isfinite(p) and p > 0 for p in pressures):
        raise InputError("pressures: each must be a number of kPa greater than 0")
    wanted = [float(pressure) for pressure in pressures]
    for steps in range(1, MOST_STEPS + 1) if wanted else ():
        exact = np.array(wanted) / max(wanted) * steps
        numbers = np.rint(exact).astype(int)
        if np.allclose(exact, numbers, rtol=0, atol=1e-9) and numbers.min() > 0:
            return [(_to(case, max(wanted), steps), [*zip(numbers.tolist(), wanted, strict=True)])]
    return [(_to(case, pressure, 1), [(1, pressure)]) for pressure in wanted]


def _to(case: Case, pressure: float, steps: int) -> Case:
    return case.changed(pressure__end=f"{pressure!r} kPa", pressure__steps=steps)


def _read(curve: Curve, wanted: _Wanted) -> Iterator[dict[str, Any]]:
    """Yield the points of a curve."""
    import pandas

    rows = pandas.DataFrame(curve.steps).to_dict("records")
    requested = [row for row in rows if row["requested"]]
    for step, pressure in wanted:
        if step < len(requested):
            numbers = {k: v for k, v in requested[step].items() if not isinstance(v, str | bool)}
            point = {PRESSURE: numbers[PRESSURE], "ended": ""}
            yield {"ordinal": step, **point, **{f"{k}{FAST}": v for k, v in numbers.items()}}
        else:
            yield {"ordinal": step, PRESSURE: pressure, "ended": curve.termination.kind.value}
