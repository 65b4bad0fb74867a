"""Limits of a result, and its equilibrium checks with the value expected of each."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fem.quantities.column import Measure
from fem.results.checks import (
    LIMITED,
    MAX_END_GAP,
    MAX_ENERGY_GAP,
    Check,
    Level,
    Limit,
    checks,
    state_checks,
)
from fem.results.result import Result
from fem.wording.run_sections import NAMES, place_text
from fem.wording.text_table import TextTable

GAPS = {
    "energy_gap": "work of the loads that is not stored, as a share of all work",
    "end_force_gap": "axial force at the base less thrust and end force, as a share of them",
    "end_torque_gap": "torque at the base less that on the free end, as a share",
}


def margin_grid(result: Result) -> TextTable:
    """Return the worst value along each path, where it is, and what is allowed."""
    case, names = result.case, [NAMES[run.model] for run in result.runs]
    found = [state_checks(run.path, case) for run in result.runs]
    rows = []
    for alike in zip(*found, strict=True):
        cells = [
            cell
            for run, one in zip(result.runs, alike, strict=True)
            for cell in (_value(one), place_text(run, case, one.worst.row) if one.worst else "-")
        ]
        rows.append([_title(alike[0]), *cells, _allowed(alike[0])])
    below = [f"{name}\n{what}" for name in names for what in ("worst", "at")]
    titles = ["limit", *below, "allowed"]
    return TextTable("Limits along the path", titles, rows, text_columns=(0, len(titles) - 1))


def _title(one: Check) -> str:
    label = LIMITED[one.limit].label
    if one.limit is Limit.NARROW_BORE:
        return f"least {label}"
    return f"{label} of threads {one.name}" if one.name else label


def _value(one: Check) -> str:
    column = Measure(LIMITED[one.limit], one.name)
    return column.text({column.column: one.value}, ".4g")


def _allowed(one: Check) -> str:
    """Return what is allowed, and why."""
    match one.limit:
        case Limit.TRUSTED_STRETCH if one.allowed is not None:
            return f"{one.allowed:g}, up to which the constants were fitted"
        case Limit.NARROW_BORE:
            return f"a real tube folds below about {one.allowed:g}"
        case Limit.LOCKING:
            return "100 %, where it locks"
        case Limit.BREAKING_LOAD if one.allowed is not None:
            return f"{one.allowed:g} N, where a thread breaks"
        case Limit.BREAKING_LOAD:
            return "no breaking load is given"
    return "not known"


def balance_grid(result: Result) -> TextTable:
    """Return the residuals of the equilibrium checks, model by model."""
    found = [
        {one.name: one for one in checks(run, result.case) if one.limit is Limit.BALANCE}
        for run in result.runs
    ]
    ends = f"0; more than {MAX_END_GAP:g} is out of balance"
    expected = {
        "energy_gap": f"0; the work of a step is integrated to about {MAX_ENERGY_GAP:g} of it",
        "end_force_gap": ends,
        "end_torque_gap": ends,
    }
    rows = [
        [
            GAPS[name],
            *(power(own[name].value) for own in found),
            expected[name],
            _verdict([own[name].level for own in found]),
        ]
        for name in expected
    ]
    rows += [
        [title, *(_work(run.balance.get(name, math.nan)) for run in result.runs), other, ""]
        for title, name, other in [
            ("work of the loads", "work_Nmm", "the energy stored"),
            ("energy stored", "stored_energy_Nmm", "the work of the loads"),
        ]
    ]
    titles = ["quantity", *(NAMES[run.model] for run in result.runs), "expected", "passed"]
    last = len(titles) - 1
    return TextTable("Equilibrium checks, worst of all states", titles, rows, (0, last - 1, last))


def _work(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.6g} N mm"


def _verdict(levels: Sequence[Level]) -> str:
    if Level.UNKNOWN in levels:
        return "-"
    return "NO" if Level.PASSED in levels else "yes"


def power(value: float) -> str:
    """Return a small figure as a number times a power of ten, as one writes it.

    It is a dash where there is none, as in the files of older releases.
    """
    if value == 0 or math.isnan(value):
        return "-" if value else "0"
    number, _, exponent = f"{value:.1e}".partition("e")
    raised = str(int(exponent)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"{number} × 10{raised}"
