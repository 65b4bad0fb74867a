"""A setting of the live explorer (angles, one slack rule, pressure), and the fast model at it.

Its numbers are bare, in the units that the page shows: degrees, per cent, kilopascals.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import takewhile
from typing import Annotated, Any, Final, Literal, Self, get_args

from pydantic import Field, ValidationError, model_validator

from fem.case.case import Case
from fem.case.slack import Slack
from fem.core.errors import InputError, describe
from fem.core.schema_base import CheckedTable, misfit
from fem.results.termination import REACHED, Termination
from fem.solving.batch import solve_batch

AS_IN_CASE: Final = "as in the case"
LEAST_PRESSURE = 1e-3
"""The least pressure that a case may have (kPa); a setting of none is read at its rest."""

Rule = Literal["taken up", "given", "cut at", "as in the case"]
Resolution = Literal["coarse", "standard", "fine"]
RESOLUTIONS: tuple[str, ...] = get_args(Resolution)
"""Meshes that an FE solve from the bench may have."""

type Number = Annotated[float, Field(allow_inf_nan=False)]


class SlackForAll(CheckedTable):
    """The slack of all families: by one rule, or each by its own of the case."""

    rule: Rule
    value: Number | None = Field(
        default=None, description='Slack (%) if it is "given", angle (deg) if it is "cut at".'
    )

    @model_validator(mode="after")
    def _value_with_rule(self) -> Self:
        if (self.value is not None) != (self.rule in ("given", "cut at")):
            due = "takes no number" if self.value is not None else "takes a number"
            raise misfit(f'the rule "{self.rule}" {due}', "value")
        return self

    @property
    def text(self) -> str:
        """The rule as a case file has it."""
        match self.rule:
            case "given":
                return f"{self.value:.12g} %"
            case "cut at":
                return f"cut at {self.value:.12g} deg"
            case _:
                return self.rule

    def changes(self, base: Case) -> dict[str, str]:
        """Return what it changes of a case.

        Raises
        ------
        InputError
            If its number cannot be used.
        """
        if self.rule == AS_IN_CASE:
            return {}
        try:
            Slack.parse(self.text)
        except ValueError as error:
            raise InputError(f'slack = "{self.text}": {error}') from None
        return {f"threads__{k}__slack": self.text for k in range(len(base.threads))}


class Setting(CheckedTable):
    """How the bench is set."""

    angles: tuple[Number, ...] = Field(description="Helix angle of each family (deg).")
    slack: SlackForAll
    pressure: Number = Field(description="Gauge pressure (kPa).")

    @classmethod
    def parse(cls, data: Any) -> Self:
        """Check `data` as they come from the page.

        Raises
        ------
        InputError
            If they are no setting; the text names the field, the value and what is allowed.
        """
        if not isinstance(data, dict):
            due = ", ".join(name for name, key in cls.model_fields.items() if key.is_required())
            raise InputError(f"{data!r:.60}: a setting is an object with the keys {due}")
        try:
            return cls.model_validate(data)
        except ValidationError as error:
            raise InputError(without_origin(describe(error, "setting", cls))) from None

    def case(self, base: Case, steps: int = 1) -> Case:
        """Return the case that it makes of one that is driven by pressure.

        Raises
        ------
        InputError
            If it makes none; the text names the field, the value and what is allowed.
        """
        due = [family.name for family in base.threads]
        if len(self.angles) != len(due):
            raise InputError(
                f"angles: {len(self.angles)} are given; one is due to each family, "
                f"in this order: {', '.join(due) or 'none'}"
            )
        angles = {f"threads__{k}__angle": f"{a:.12g} deg" for k, a in enumerate(self.angles)}
        pressure = {
            "pressure__end": f"{max(self.pressure, LEAST_PRESSURE):.12g} kPa",
            "pressure__steps": steps,
        }
        changes = angles | self.slack.changes(base) | pressure
        try:
            return base.changed(**changes)
        except InputError as error:
            raise InputError(without_origin(str(error))) from None


def without_origin(lines: str) -> str:
    """Return lines that begin with what they are of, in one line without it."""
    return "; ".join(line.partition(": ")[2] for line in lines.splitlines())


@dataclass(frozen=True)
class Settled:
    """Where the fast model settles.

    Attributes
    ----------
    case
        The case of the setting.
    rest, row
        Rows of the step table at rest, and at the pressure of the setting or at the last one
        before the path ends.
    termination
        Why the path ends before that pressure, or that it does not.
    """

    case: Case
    rest: dict[str, Any]
    row: dict[str, Any]
    termination: Termination


def settle(setting: Setting, base: Case) -> Settled:
    """Return where the fast model settles.

    Raises
    ------
    InputError
        If the setting makes no case, or one without a solution even at rest.
    """
    case = setting.case(base)
    try:
        (run,) = solve_batch([case])
    except ArithmeticError as error:
        raise InputError(f"this setting has no solution even at rest: {error}") from None
    rest, *others = run.rows
    row, end = rest, REACHED
    if setting.pressure > 0:
        rising = [*takewhile(lambda row: not row["limit"], others)]
        top = others[len(rising) : len(rising) + 1]  # beyond, the tube holds by volume only
        row, end = [rest, *rising, *top][-1], run.termination
    return Settled(case, rest, row, end)
