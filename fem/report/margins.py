"""Limits and margins of a result, and its checks of balance with what each ought to be."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from fem.case.case import Case
from fem.quantities import table
from fem.quantities.column import Measure
from fem.report.grid import Grid
from fem.results.equilibrium_checks import STORED, UNBALANCED
from fem.results.result import Result
from fem.results.run import Run
from fem.wording.remarks import NARROW
from fem.wording.run_sections import NAMES, on_path, place


class Margin(NamedTuple):
    """Something that may give: its column, which of its values is the worst, what can be borne."""

    words: str
    column: Measure
    worst: Callable[..., dict[str, Any]]
    bears: str

    def cells(self, run: Run, case: Case) -> list[str]:
        """Return the worst value along the path of a run, and where it is."""
        row = self.worst(on_path(run), key=lambda row: row[self.column.column])
        value = f"{self.column.show(row, '.4g')} {self.column.shown_unit}".strip()
        return [value, place(run, case, row)]


def margin_grid(result: Result) -> Grid:
    """Return what is used up at its worst along each path, and what can be borne."""
    case, names = result.case, [NAMES[run.model] for run in result.runs]
    rows = [
        [m.words, *(cell for run in result.runs for cell in m.cells(run, case)), m.bears]
        for m in _margins(case)
    ]
    titles = ["margin", *(f"{name}\n{what}" for name in names for what in ("worst", "at")), "bears"]
    return Grid.of("Margins along the path", titles, rows, words=(0, len(titles) - 1))


def _margins(case: Case) -> Iterator[Margin]:
    trusted = case.rubber.trusted_stretch
    bears = f"{trusted:g}, up to which the constants were fitted" if trusted else "not known"
    yield Margin(table.wall_stretch_max.label, Measure(table.wall_stretch_max), max, bears)
    bears = f"a real tube folds below about {NARROW:g}"
    yield Margin("least bore stretch", Measure(table.bore_stretch), min, bears)
    if case.rubber.constitutive_law.locking is not None:
        label = table.rubber_used.label
        yield Margin(label, Measure(table.rubber_used), max, "100 %, where it locks")
    for family in case.threads:
        load = "no breaking load is given"
        if family.breaking_load is not None:
            load = f"{family.breaking_load:g} N, where a thread breaks"
        words = f"{table.tension_peak.label} of threads {family.name}"
        yield Margin(words, Measure(table.tension_peak, family.name), max, load)


def balance_grid(result: Result) -> Grid:
    """Return the figures that ought to be nil, model by model."""
    ends = f"0; more than {UNBALANCED:g} is out of balance"
    ought = {
        "energy_gap": f"0; the work of a step is integrated to about {STORED:g} of it",
        "end_force_gap": ends,
        "end_torque_gap": ends,
    }
    words = {
        "energy_gap": "work of the loads that is not stored, as a share of all work",
        "end_force_gap": "axial force at the base less thrust and end force, as a share of them",
        "end_torque_gap": "torque at the base less that on the free end, as a share",
    }
    bars = {"energy_gap": STORED, "end_force_gap": UNBALANCED, "end_torque_gap": UNBALANCED}
    rows = [
        [
            words[name],
            *(power(run.balance.get(name, math.nan)) for run in result.runs),
            ought[name],
            _verdict([run.balance.get(name, math.nan) for run in result.runs], bars[name]),
        ]
        for name in ought
    ]
    rows += [
        [title, *(_work(run.balance.get(name, math.nan)) for run in result.runs), other, ""]
        for title, name, other in [
            ("work of the loads", "work_Nmm", "the energy stored"),
            ("energy stored", "stored_energy_Nmm", "the work of the loads"),
        ]
    ]
    titles = ["figure", *(NAMES[run.model] for run in result.runs), "ought to be", "met"]
    last = len(titles) - 1
    return Grid.of("Checks of balance, worst of all states", titles, rows, (0, last - 1, last))


def _work(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.6g} N mm"


def _verdict(gaps: list[float], bar: float) -> str:
    if any(map(math.isnan, gaps)):
        return "-"
    return "yes" if all(gap <= bar for gap in gaps) else "NO"


def power(value: float) -> str:
    """Return a small figure as a number times a power of ten, as one writes it.

    It is a dash where there is none, as in the files of older releases.
    """
    if value == 0 or math.isnan(value):
        return "-" if value else "0"
    number, _, exponent = f"{value:.1e}".partition("e")
    raised = str(int(exponent)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"{number} × 10{raised}"
