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

RESIDUALS = {
    "energy_gap": "work of the loads minus stored energy, relative to the work",
    "end_force_gap": "axial force at the base minus thrust and end force, relative",
    "end_torque_gap": "torque at the base minus torque on the free end, relative",
}
"""Labels of the residuals of the equilibrium checks."""


def limits_table(result: Result) -> TextTable:
    """Return the worst value along each path, where it occurs, and the limit."""
    case, names = result.case, [NAMES[run.model] for run in result.runs]
    found = [state_checks(run.path, case) for run in result.runs]
    rows = []
    for group in zip(*found, strict=True):
        cells = [
            cell
            for run, one in zip(result.runs, group, strict=True)
            for cell in (_value(one), place_text(run, case, one.worst.row) if one.worst else "-")
        ]
        rows.append([_title(group[0]), *cells, _allowed(group[0])])
    below = [f"{name}\n{what}" for name in names for what in ("worst", "at")]
    titles = ["quantity", *below, "allowed"]
    return TextTable("Limits along the path", titles, rows, text_columns=(0, len(titles) - 1))


def _title(one: Check) -> str:
    label = LIMITED[one.limit].label
    if one.limit is Limit.NARROW_BORE:
        return f"minimum {label}"
    return f"{label} of threads {one.name}" if one.name else label


def _value(one: Check) -> str:
    column = Measure(LIMITED[one.limit], one.name)
    return column.text({column.column: one.value}, ".4g")


def _allowed(one: Check) -> str:
    """Return the limit and its reason."""
    match one.limit:
        case Limit.TRUSTED_STRETCH if one.allowed is not None:
            return f"{one.allowed:g} (range of the fitted constants)"
        case Limit.NARROW_BORE:
            return f"about {one.allowed:g} (a real tube folds below it)"
        case Limit.LOCKING:
            return "100 % (the rubber locks)"
        case Limit.BREAKING_LOAD if one.allowed is not None:
            return f"{one.allowed:g} N (breaking load)"
        case Limit.BREAKING_LOAD:
            return "no breaking load given"
    return "unknown"


def equilibrium_table(result: Result) -> TextTable:
    """Return the residuals of the equilibrium checks, model by model."""
    found = [
        {one.name: one for one in checks(run, result.case) if one.limit is Limit.BALANCE}
        for run in result.runs
    ]
    ends = f"0; at most {MAX_END_GAP:g}"
    expected = {
        "energy_gap": f"0; at most {MAX_ENERGY_GAP:g}",
        "end_force_gap": ends,
        "end_torque_gap": ends,
    }
    rows = [
        [
            RESIDUALS[name],
            *(scientific(own[name].value) for own in found),
            expected[name],
            _verdict([own[name].level for own in found]),
        ]
        for name in expected
    ]
    rows += [
        [title, *(_work(run.balance.get(name, math.nan)) for run in result.runs), other, ""]
        for title, name, other in [
            ("work of the loads", "work_Nmm", "the stored energy"),
            ("stored energy", "stored_energy_Nmm", "the work of the loads"),
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


def scientific(value: float) -> str:
    """Return a small number in scientific notation, such as 4.3 × 10⁻⁵.

    A missing value, as in files of older releases, is a dash.
    """
    if value == 0 or math.isnan(value):
        return "-" if value else "0"
    number, _, exponent = f"{value:.1e}".partition("e")
    raised = str(int(exponent)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"{number} × 10{raised}"
