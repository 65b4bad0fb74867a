"""Ranges of the sliders of the live explorer.

The explorer sets helix angles, slack and pressure. A case with another drive, or whose free end is
moved, is driven by pressure there, up to the greatest pressure on its own path by the fast model.
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

USUAL_ANGLE = 30.0
"""Usual bound of the helix angles (deg), in both directions (common practice, no source)."""
MAX_ANGLE = 85.0
"""Largest bound of the helix angles (deg): the length of a helix has no limit towards 90 deg."""
UNITS = {"given": "%", "cut at": "deg"}
"""Units of the values of the slack rules."""
STEPS = 5
"""Pressure steps if the case has none (a choice of our own)."""


@dataclass(frozen=True)
class Range:
    """Range of a slider, in the displayed unit."""

    low: float
    high: float


@dataclass(frozen=True)
class SliderRanges:
    """Ranges of the sliders, and the case that they change.

    Attributes
    ----------
    base
        The case, driven by pressure; the explorer changes nothing else of it.
    start
        Setting of the case itself.
    angles
        Range of the helix angle of each family (deg).
    slack
        Range of the value of each slack rule: slack (%), angle at which threads are cut (deg);
        None if a rule has no value.
    pressure
        Range of the pressure (kPa).
    notes
        Differences between the explorer and the case, one sentence each.
    """

    base: Case
    start: Setting
    angles: tuple[Range, ...]
    slack: dict[str, Range | None]
    pressure: Range
    notes: tuple[str, ...]

    def check(self, setting: Setting) -> None:
        """Check that a setting lies within the ranges.

        Raises
        ------
        InputError
            If it does not; the message names the slider, the value and the range.
        """
        names = [family.name for family in self.base.threads]
        for name, angle, ends in zip(names, setting.angles, self.angles, strict=False):
            _check_range(f"helix angle of {name}", angle, ends, "deg")
        rule, value = setting.slack.rule, setting.slack.value
        allowed = self.slack.get(rule)
        if allowed is not None and value is not None:
            _check_range(f"slack {rule}", value, allowed, UNITS[rule])
        _check_range(table.pressure.name, setting.pressure, self.pressure, table.pressure.unit)

    def case(self, setting: Setting, steps: int = 1) -> Case:
        """Return the case of a setting.

        Raises
        ------
        InputError
            If the setting is outside the ranges, or gives no valid case.
        """
        self.check(setting)
        return setting.case(self.base, steps)

    @property
    def steps(self) -> int:
        """Number of pressure steps when the whole path is solved."""
        assert self.base.pressure is not None  # set by _by_pressure
        return self.base.pressure.steps


def _check_range(name: str, value: float, allowed: Range, unit: str) -> None:
    """Raise if a value is outside the range of its slider by more than round-off."""
    margin = 1e-9 * (allowed.high - allowed.low)
    if not allowed.low - margin <= value <= allowed.high + margin:
        bounds = f"{allowed.low:.6g} to {allowed.high:.6g} {unit}"
        raise InputError(f"{name}: {value:.6g} {unit} is outside {bounds}")


def slider_ranges(case: Case) -> SliderRanges:
    """Return the ranges of the sliders for a case.

    Raises
    ------
    InputError
        If the explorer cannot be used for this case; the message says why.
    """
    base, notes = _by_pressure(case)
    assert base.pressure is not None  # set by _by_pressure
    pressure = 1e3 * base.pressure.end
    angles = [math.degrees(family.angle) for family in base.threads]
    slack = _slack(base)
    start = Setting(
        angles=tuple(float(f"{angle:.12g}") for angle in angles),
        slack=slack,
        pressure=float(f"{pressure:.12g}"),
    )
    return SliderRanges(
        base=base,
        start=start,
        angles=tuple(_symmetric(USUAL_ANGLE, angle, 15.0, MAX_ANGLE) for angle in angles),
        slack=_rules(slack) if base.threads else {},
        pressure=Range(0.0, float(f"{2 * pressure:.2g}")),
        notes=notes,
    )


def _by_pressure(case: Case) -> tuple[Case, tuple[str, ...]]:
    """Return the case driven by pressure only, and the changes that this needed."""
    notes = []
    base = case.changed(move=None)
    if case.move is not None:
        notes.append("the explorer does not move the free end")
    if case.pressure is None:
        drive = {"end": f"{_greatest_pressure(base):.3g} kPa", "steps": STEPS}
        base = base.changed(pressure=drive)
        drive_name = "added volume" if case.volume else "gas"
        notes.append(f"the explorer drives the tube by pressure, the case by {drive_name}")
    with_friction = [family.name for family in case.threads if family.friction is not None]
    if with_friction:  # see fem.explore.fe_job.without_friction
        names = ", ".join(with_friction)
        notes.append(f"the explorer ignores the friction of {names}: the threads slide freely")
    return base, tuple(notes)


def _greatest_pressure(case: Case) -> float:
    """Return the greatest pressure (kPa) on the path of a case by the fast model."""
    try:
        (run,) = solve_batch([case])
    except ArithmeticError as error:
        raise InputError(f"the case has no solution even at rest: {error}") from None
    greatest = max(float(row[table.pressure.column]) for row in run.rows)
    if not greatest > 0:
        raise InputError(
            "the drive of the case gives no pressure above zero; the explorer needs one"
        )
    return greatest


def _slack(case: Case) -> SlackForAll:
    """Return the rule that all families share; if they differ, each keeps its own."""
    rules = {family.slack for family in case.threads} or {Slack()}
    rule = rules.pop() if len(rules) == 1 else None
    match rule:
        case Slack(percent=None, cut_angle=None):
            return SlackForAll(rule="taken up")
        case Slack(cut_angle=float(angle)):  # the sign has no effect
            return SlackForAll(rule="cut at", value=float(f"{math.degrees(abs(angle)):.12g}"))
        case Slack(percent=float(percent)):
            return SlackForAll(rule="given", value=percent)
    return SlackForAll(rule=AS_IN_CASE)


def _rules(slack: SlackForAll) -> dict[str, Range | None]:
    """Return the available slack rules, each with the range of its value."""
    own = {slack.rule: slack.value or 0.0}
    rules: dict[str, Range | None] = {
        "taken up": None,
        "given": Range(0.0, max(20.0, own.get("given", 0.0))),
        "cut at": Range(0.0, _symmetric(60.0, own.get("cut at", 0.0), 15.0, MAX_ANGLE).high),
    }
    return rules | ({AS_IN_CASE: None} if slack.rule == AS_IN_CASE else {})


def _symmetric(usual: float, own: float, step: float, most: float) -> Range:
    """Return a range that is symmetric about zero: the usual one, or wider to include `own`."""
    wide = step * math.ceil(abs(own) / step - 1e-9)
    high = max(usual, min(wide, most), abs(own))
    return Range(-high, high)
