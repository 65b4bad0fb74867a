"""Limits that a run approaches or exceeds, as data; displays turn them into sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from fem.case.case import Case
from fem.quantities import table
from fem.quantities.column import Measure
from fem.results.run import Run

MIN_BORE = 0.3
"""Share of its radius to which the bore may narrow; a real tube folds at about this value."""

NEAR = 0.8
"""A limit is near if the value exceeds this share of it."""

MAX_END_GAP = 0.01
"""Greatest gap of force and torque, as a share of the loads, that the mesh can explain."""

MAX_ENERGY_GAP = 2e-3
"""Greatest part of the work that is not stored: the work of a step is integrated by a cubic.

It is the project's own limit, which `validation/tubes.py` uses for all its paths.
"""

MAX_GAPS = {
    "energy_gap": MAX_ENERGY_GAP,
    "end_force_gap": MAX_END_GAP,
    "end_torque_gap": MAX_END_GAP,
}
"""Tolerances of the equilibrium checks."""


class Limit(StrEnum):
    """Kind of a limit."""

    TRUSTED_STRETCH = "trusted_stretch"
    """Greatest stretch of the wall; allowed: range of stretch in which the constants are valid."""
    LOCKING = "locking"
    """Strain of the rubber as a share of its locking strain."""
    BREAKING_LOAD = "breaking_load"
    """Peak tension of a family (N); allowed is the breaking load of a thread."""
    NARROW_BORE = "narrow_bore"
    """Bore radius at half length as a share of that at rest; a small value is critical."""
    BALANCE = "balance"
    """A gap of the equilibrium checks; `name` says which."""
    UNSTABLE = "unstable"
    """Number of unstable states on the path, except limit points."""
    NECKING = "necking"
    """A family with geodesic threads may have caused the limit of the pressure."""
    THREADS_MESHED = "threads_meshed"
    """Number of threads of a family in the mesh; allowed: the number in the case."""
    FULL_TUBE = "full_tube"
    """The full tube is meshed: the numbers of threads have no common divisor."""


class Level(StrEnum):
    """Value compared with what is allowed."""

    OK = "ok"
    NEAR = "near"
    PASSED = "passed"
    UNKNOWN = "unknown"


LIMITED = {
    Limit.TRUSTED_STRETCH: table.wall_stretch_max,
    Limit.NARROW_BORE: table.bore_stretch,
    Limit.LOCKING: table.rubber_utilisation,
    Limit.BREAKING_LOAD: table.tension_peak,
}
"""Quantities that are limited along the path."""


@dataclass(frozen=True)
class PathPoint:
    """A point of a path: a row of the step table, or a point between two rows.

    Attributes
    ----------
    row
        The row.
    before
        The row before, if the point lies between the two.
    share
        Position between `before` (0) and `row` (1).
    """

    row: dict[str, Any]
    before: dict[str, Any] | None = None
    share: float = 1.0


@dataclass(frozen=True)
class Check:
    """The worst value of a run, compared with its limit.

    Attributes
    ----------
    limit, level
        Kind of the limit, and how near the value is to it.
    value, allowed
        The worst value, and the allowed one; None if that is not known.
    name
        The family of threads, or the name of the gap.
    worst
        Where the value occurs.
    passed_at
        Where the limit is first exceeded.
    """

    limit: Limit
    level: Level
    value: float
    allowed: float | None = None
    name: str = ""
    worst: PathPoint | None = None
    passed_at: PathPoint | None = None


def checks(run: Run, case: Case) -> list[Check]:
    """Return all checks of a run, including those within their limits."""
    found = [*_mesh(run, case), *_gaps(run), *_stability(run, case)]
    return [*found, *state_checks(run.path, case)]


def state_checks(rows: Sequence[dict[str, Any]], case: Case) -> Iterator[Check]:
    """Yield the checks of the states of a path, in the same order for every run of a case."""
    rubber = case.rubber
    yield _greatest(Limit.TRUSTED_STRETCH, rows, rubber.trusted_stretch, 1.0)
    yield _narrowest(rows)
    if rubber.constitutive_law.locking is not None:
        yield _greatest(Limit.LOCKING, rows, 1.0)
    for family in case.threads:
        yield _greatest(Limit.BREAKING_LOAD, rows, family.breaking_load, name=family.name)


def _greatest(
    limit: Limit,
    rows: Sequence[dict[str, Any]],
    allowed: float | None,
    near: float = NEAR,
    name: str = "",
) -> Check:
    """Return the check of the greatest value; it is near above the share `near` of the limit."""
    column = Measure(LIMITED[limit], name).column
    values = [row[column] for row in rows]
    number = max(range(len(rows)), key=values.__getitem__)
    worst, place = values[number], PathPoint(rows[number])
    if allowed is None:
        return Check(limit, Level.UNKNOWN, worst, None, name, place)
    over = next((n for n, value in enumerate(values) if value > allowed), None)
    if over is None:
        level = Level.NEAR if worst > near * allowed else Level.OK
        return Check(limit, level, worst, allowed, name, place)
    passed = PathPoint(rows[over])
    if over:
        share = (allowed - values[over - 1]) / (values[over] - values[over - 1])
        passed = PathPoint(rows[over], rows[over - 1], share)
    return Check(limit, Level.PASSED, worst, allowed, name, place, passed)


def _narrowest(rows: Sequence[dict[str, Any]]) -> Check:
    column = LIMITED[Limit.NARROW_BORE].column
    row = min(rows, key=lambda row: row[column])
    value = row[column]
    level = Level.PASSED if value < MIN_BORE else Level.OK
    return Check(Limit.NARROW_BORE, level, value, MIN_BORE, worst=PathPoint(row))


def _stability(run: Run, case: Case) -> Iterator[Check]:
    """Yield the number of unstable states, and the families that may cause a limit point."""
    unstable = [row for row in run.path if not row["stable"] and not row["limit"]]
    level = Level.PASSED if unstable else Level.OK
    place = PathPoint(unstable[0]) if unstable else None
    yield Check(Limit.UNSTABLE, level, len(unstable), 0, passed_at=place)
    if run.limit_row and run.model != "fast":
        for family in case.threads:
            if family.hold == "geodesic":
                place = PathPoint(run.limit_row)
                yield Check(Limit.NECKING, Level.NEAR, math.nan, None, family.name, place)


def _gaps(run: Run) -> Iterator[Check]:
    for name, allowed in MAX_GAPS.items():
        gap = run.balance.get(name, math.nan)
        level = Level.UNKNOWN if math.isnan(gap) else Level.PASSED if gap > allowed else Level.OK
        yield Check(Limit.BALANCE, level, gap, allowed, name)


def _mesh(run: Run, case: Case) -> Iterator[Check]:
    """Yield the differences between mesh and case, and whether the full tube is meshed."""
    meshed = run.mesh.get("threads_meshed", {})
    for family in case.threads:
        count = meshed.get(family.name, family.count)
        level = Level.OK if count == family.count else Level.PASSED
        yield Check(Limit.THREADS_MESHED, level, count, family.count, family.name)
    if run.mesh.get("sectors_of_the_tube") == 1 and case.sectors == 1:
        yield Check(Limit.FULL_TUBE, Level.PASSED, 1)
