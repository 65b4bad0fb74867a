"""What the live bench offers of a case.

The bench sets angles, slack and pressure. A case that is driven in another way, or whose free end
is moved, is driven by pressure there: up to the greatest pressure that the fast model finds on its
own path.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.case.case import Case
from fem.case.slack import Slack
from fem.core.errors import InputError
from fem.explore.setting import AS_IN_CASE, Setting, SlackForAll
from fem.quantities import table
from fem.solving.batch import solve_batch

TURNED = 30.0
"""Rings are turned so far (deg) either way (common practice, no source)."""
STEEPEST = 85.0
"""No helix is steeper than this (deg): towards a right angle it winds round without end."""
UNITS = {"given": "%", "cut at": "deg"}
"""Units of the numbers that slack rules take."""
STEPS = 5
"""Steps of the pressure where the case has none (a choice of our own)."""


@dataclass(frozen=True)
class Range:
    """What a slider runs over, in the unit that is shown."""

    low: float
    high: float


@dataclass(frozen=True)
class Offer:
    """What the bench offers.

    Attributes
    ----------
    base
        The case, driven by pressure; what the bench does not set is as it has it.
    start
        Its own setting.
    angles
        Range of each family's angle (deg).
    slack
        Range of the number of each slack rule: slack (%), angle at which threads are cut (deg);
        None where a rule takes none.
    pressure
        Range of the pressure (kPa).
    notes
        In what the bench is not as the case, a sentence each.
    """

    base: Case
    start: Setting
    angles: tuple[Range, ...]
    slack: dict[str, Range | None]
    pressure: Range
    notes: tuple[str, ...]

    def check(self, setting: Setting) -> None:
        """Check that a setting lies within what is offered.

        Raises
        ------
        InputError
            If it does not; the text has the words of the page.
        """
        names = [family.name for family in self.base.threads]
        for name, angle, ends in zip(names, setting.angles, self.angles, strict=False):
            _hold(f"helix angle of {name}", angle, ends, "deg")
        rule, value = setting.slack.rule, setting.slack.value
        allowed = self.slack.get(rule)
        if allowed is not None and value is not None:
            _hold(f"slack {rule}", value, allowed, UNITS[rule])
        _hold(table.pressure.name, setting.pressure, self.pressure, table.pressure.unit)

    def case(self, setting: Setting, steps: int = 1) -> Case:
        """Return the case that a setting makes.

        Raises
        ------
        InputError
            If it lies beyond what is offered, or makes none.
        """
        self.check(setting)
        return setting.case(self.base, steps)

    @property
    def steps(self) -> int:
        """Steps in which the pressure is raised where its path is followed."""
        assert self.base.pressure is not None  # it was put there
        return self.base.pressure.steps


def _hold(title: str, value: float, allowed: Range, unit: str) -> None:
    """Raise unless a number lies in the range of its slider, but for the rounding of its ends."""
    spare = 1e-9 * (allowed.high - allowed.low)
    if not allowed.low - spare <= value <= allowed.high + spare:
        offered = f"{allowed.low:.6g} to {allowed.high:.6g} {unit} is offered"
        raise InputError(f"{title}: {value:.6g} {unit}; {offered}")


def offer(case: Case) -> Offer:
    """Return what the bench offers of a case.

    Raises
    ------
    InputError
        If it can offer nothing; the text says why.
    """
    base, notes = _by_pressure(case)
    assert base.pressure is not None  # it was put there
    pressure = 1e3 * base.pressure.end
    angles = [math.degrees(family.angle) for family in base.threads]
    slack = _slack(base)
    start = Setting(
        angles=tuple(float(f"{angle:.12g}") for angle in angles),
        slack=slack,
        pressure=float(f"{pressure:.12g}"),
    )
    return Offer(
        base=base,
        start=start,
        angles=tuple(_within(TURNED, angle, 15.0, STEEPEST) for angle in angles),
        slack=_rules(slack) if base.threads else {},
        pressure=Range(0.0, float(f"{2 * pressure:.2g}")),
        notes=notes,
    )


def _by_pressure(case: Case) -> tuple[Case, tuple[str, ...]]:
    """Return the case driven by pressure and nothing else, and what was changed to that end."""
    notes = []
    base = case.changed(move=None)
    if case.move is not None:
        notes.append("the free end is not moved here")
    if case.pressure is None:
        drive = {"end": f"{_greatest_pressure(base):.3g} kPa", "steps": STEPS}
        base = base.changed(pressure=drive)
        named = "added volume" if case.volume else "gas"
        notes.append(f"driven by pressure here, in place of the {named} of the case")
    rough = [family.name for family in case.threads if family.friction is not None]
    if rough:  # see fem.explore.fe_job.without_friction
        notes.append(f"the friction of {', '.join(rough)} is left out here: its threads glide")
    return base, tuple(notes)


def _greatest_pressure(case: Case) -> float:
    """Return the greatest pressure (kPa) that the fast model finds on the path of a case."""
    try:
        (run,) = solve_batch([case])
    except ArithmeticError as error:
        raise InputError(f"the case has no solution even at rest: {error}") from None
    greatest = max(float(row[table.pressure.column]) for row in run.rows)
    if not greatest > 0:
        raise InputError("its drive builds up no pressure, and the bench is driven by one")
    return greatest


def _slack(case: Case) -> SlackForAll:
    """Return the rule that all families share, or that each keeps its own."""
    rules = {family.slack for family in case.threads} or {Slack()}
    rule = rules.pop() if len(rules) == 1 else None
    match rule:
        case Slack(percent=None, cut_angle=None):
            return SlackForAll(rule="taken up")
        case Slack(cut_angle=float(angle)):  # its sign makes no difference
            return SlackForAll(rule="cut at", value=float(f"{math.degrees(abs(angle)):.12g}"))
        case Slack(percent=float(percent)):
            return SlackForAll(rule="given", value=percent)
    return SlackForAll(rule=AS_IN_CASE)


def _rules(slack: SlackForAll) -> dict[str, Range | None]:
    """Return the rules that are offered, each with the range of its number."""
    own = {slack.rule: slack.value or 0.0}
    rules: dict[str, Range | None] = {
        "taken up": None,
        "given": Range(0.0, max(20.0, own.get("given", 0.0))),
        "cut at": Range(0.0, _within(60.0, own.get("cut at", 0.0), 15.0, STEEPEST).high),
    }
    return rules | ({AS_IN_CASE: None} if slack.rule == AS_IN_CASE else {})


def _within(usual: float, own: float, step: float, most: float) -> Range:
    """Return a range either side of nil: the usual one, or wider so that `own` lies within."""
    wide = step * math.ceil(abs(own) / step - 1e-9)
    high = max(usual, min(wide, most), abs(own))
    return Range(-high, high)
