"""Which limits a run comes near to or passes, as data; displays turn them into sentences."""

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

NARROW = 0.3
"""A real tube folds about where its bore narrows to less than this share of its radius."""

CLOSE = 0.8
"""A limit is near if more than this share of it is used up."""

UNBALANCED = 0.01
"""A greater imbalance at the ends, as a share of the thrust, is more than an error of the mesh."""

STORED = 2e-3
"""Share of the work that may be missing: the work of a step is integrated by a cubic.

It is the project's own limit, which `validation/tubes.py` uses for all its paths.
"""

BALANCES = {"energy_gap": STORED, "end_force_gap": UNBALANCED, "end_torque_gap": UNBALANCED}
"""What each gap of a run's balance may be."""


class Limit(StrEnum):
    """What is limited."""

    TRUSTED_STRETCH = "trusted_stretch"
    """Greatest stretch of the wall; allowed is that up to which the rubber's constants hold."""
    LOCKING = "locking"
    """Strain of the rubber as a share of that where it locks."""
    BREAKING_LOAD = "breaking_load"
    """Peak tension of a family (N); allowed is the breaking load of a thread."""
    NARROW_BORE = "narrow_bore"
    """Bore at half length as a share of its radius at rest; less is worse."""
    BALANCE = "balance"
    """A gap of the balance; its name stands in `name`."""
    UNSTABLE = "unstable"
    """Number of unstable states on the path, limit points excepted."""
    NECKING = "necking"
    """A family whose threads slide freely may have caused the limit of the pressure."""
    THREADS_MESHED = "threads_meshed"
    """Number of threads of a family in the mesh; allowed is that of the case."""
    FULL_TUBE = "full_tube"
    """The full tube is meshed: the numbers of threads have no common divisor."""


class Level(StrEnum):
    """How near a value comes to what is allowed."""

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
"""What is limited along the path."""


@dataclass(frozen=True)
class Place:
    """A place on a path: a row of the step table, or a share of the way to it from another.

    Attributes
    ----------
    row
        The row.
    before
        The row before, where the place lies between the two.
    share
        The share of the way from `before` to `row`.
    """

    row: dict[str, Any]
    before: dict[str, Any] | None = None
    share: float = 1.0


@dataclass(frozen=True)
class Check:
    """A limit, and how near a run comes to it.

    Attributes
    ----------
    limit, level
        What is limited, and how near it comes.
    value, allowed
        The worst value, and what is allowed; None where that is not known.
    name
        The family of threads, or the gap of the balance.
    worst
        Where the value occurs.
    passed_at
        Where the limit is first passed.
    """

    limit: Limit
    level: Level
    value: float
    allowed: float | None = None
    name: str = ""
    worst: Place | None = None
    passed_at: Place | None = None


def checks(run: Run, case: Case) -> list[Check]:
    """Return all checks of a run, those that are passed without remark included."""
    found = [*_mesh(run, case), *_gaps(run), *_stability(run, case)]
    return [*found, *state_checks(run.path, case)]


def state_checks(rows: Sequence[dict[str, Any]], case: Case) -> Iterator[Check]:
    """Yield the checks of the states of a path, in the same order for each run of a case."""
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
    near: float = CLOSE,
    name: str = "",
) -> Check:
    """Return the check of the greatest value of what is limited, near if above a share of it."""
    column = Measure(LIMITED[limit], name).column
    values = [row[column] for row in rows]
    number = max(range(len(rows)), key=values.__getitem__)
    worst, place = values[number], Place(rows[number])
    if allowed is None:
        return Check(limit, Level.UNKNOWN, worst, None, name, place)
    over = next((n for n, value in enumerate(values) if value > allowed), None)
    if over is None:
        level = Level.NEAR if worst > near * allowed else Level.OK
        return Check(limit, level, worst, allowed, name, place)
    passed = Place(rows[over])
    if over:
        share = (allowed - values[over - 1]) / (values[over] - values[over - 1])
        passed = Place(rows[over], rows[over - 1], share)
    return Check(limit, Level.PASSED, worst, allowed, name, place, passed)


def _narrowest(rows: Sequence[dict[str, Any]]) -> Check:
    column = LIMITED[Limit.NARROW_BORE].column
    row = min(rows, key=lambda row: row[column])
    value = row[column]
    level = Level.PASSED if value < NARROW else Level.OK
    return Check(Limit.NARROW_BORE, level, value, NARROW, worst=Place(row))


def _stability(run: Run, case: Case) -> Iterator[Check]:
    """Yield the number of unstable states, and which families may have caused a limit."""
    unstable = [row for row in run.path if not row["stable"] and not row["limit"]]
    level = Level.PASSED if unstable else Level.OK
    place = Place(unstable[0]) if unstable else None
    yield Check(Limit.UNSTABLE, level, len(unstable), 0, passed_at=place)
    if run.limit_row and run.model != "fast":
        for family in case.threads:
            if family.hold == "geodesic":
                place = Place(run.limit_row)
                yield Check(Limit.NECKING, Level.NEAR, math.nan, None, family.name, place)


def _gaps(run: Run) -> Iterator[Check]:
    for name, allowed in BALANCES.items():
        gap = run.balance.get(name, math.nan)
        level = Level.UNKNOWN if math.isnan(gap) else Level.PASSED if gap > allowed else Level.OK
        yield Check(Limit.BALANCE, level, gap, allowed, name)


def _mesh(run: Run, case: Case) -> Iterator[Check]:
    """Yield where the mesh differs from the case, or is larger than usual."""
    meshed = run.mesh.get("threads_meshed", {})
    for family in case.threads:
        count = meshed.get(family.name, family.count)
        level = Level.OK if count == family.count else Level.PASSED
        yield Check(Limit.THREADS_MESHED, level, count, family.count, family.name)
    if run.mesh.get("sectors_of_the_tube") == 1 and case.sectors == 1:
        yield Check(Limit.FULL_TUBE, Level.PASSED, 1)
