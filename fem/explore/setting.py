"""A setting of the live explorer (angles, one slack rule, pressure), and the fast model at it.

Its values are plain numbers in the units of the page: degrees, per cent, kilopascals.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import takewhile
from typing import Annotated, Any, Final, Literal, Self, get_args

from pydantic import Field, ValidationError, model_validator

from fem.case.case import Case
from fem.case.slack import Slack
from fem.core.errors import InputError, describe
from fem.core.schema_base import CheckedTable, invalid
from fem.results.termination import REACHED, Termination
from fem.solving.batch import solve_batch

AS_IN_CASE: Final = "as in the case"
MIN_PRESSURE = 1e-3
"""Smallest end pressure of a case (kPa); a setting without pressure is evaluated at rest."""

Rule = Literal["taken up", "given", "cut at", "as in the case"]
Resolution = Literal["coarse", "standard", "fine"]
RESOLUTIONS: tuple[str, ...] = get_args(Resolution)
"""Meshes of the FE solves that the explorer starts."""

type Number = Annotated[float, Field(allow_inf_nan=False)]


class SlackForAll(CheckedTable):
    """Slack of all families: one rule for all, or the rule of each family in the case."""

    rule: Rule
    value: Number | None = Field(
        default=None, description='Slack (%) if it is "given", angle (deg) if it is "cut at".'
    )

    @model_validator(mode="after")
    def _value_with_rule(self) -> Self:
        if (self.value is not None) != (self.rule in ("given", "cut at")):
            needs = "takes no number" if self.value is not None else "needs a number"
            raise invalid(f'the rule "{self.rule}" {needs}', "value")
        return self

    @property
    def text(self) -> str:
        """The rule as written in a case file."""
        match self.rule:
            case "given":
                return f"{self.value:.12g} %"
            case "cut at":
                return f"cut at {self.value:.12g} deg"
            case _:
                return self.rule

    def changes(self, base: Case) -> dict[str, str]:
        """Return the changes of a case that set this slack.

        Raises
        ------
        InputError
            If the value is not valid.
        """
        if self.rule == AS_IN_CASE:
            return {}
        try:
            Slack.parse(self.text)
        except ValueError as error:
            raise InputError(f'slack = "{self.text}": {error}') from None
        return {f"threads__{k}__slack": self.text for k in range(len(base.threads))}


class Setting(CheckedTable):
    """Values of the sliders of the explorer."""

    angles: tuple[Number, ...] = Field(description="Helix angle of each family (deg).")
    slack: SlackForAll
    pressure: Number = Field(description="Gauge pressure (kPa).")

    @classmethod
    def parse(cls, data: Any) -> Self:
        """Check `data` that the page sent.

        Raises
        ------
        InputError
            If they are not a setting; the message names field, value and what is allowed.
        """
        if not isinstance(data, dict):
            keys = ", ".join(name for name, key in cls.model_fields.items() if key.is_required())
            raise InputError(f"{data!r:.60}: a setting is an object with the keys {keys}")
        try:
            return cls.model_validate(data)
        except ValidationError as error:
            raise InputError(without_prefix(describe(error, "setting", cls))) from None

    def case(self, base: Case, steps: int = 1) -> Case:
        """Return the case of this setting.

        Parameters
        ----------
        base
            The case that is changed, driven by pressure.
        steps
            Number of pressure steps.

        Raises
        ------
        InputError
            If the case is not valid; the message names field, value and what is allowed.
        """
        names = [family.name for family in base.threads]
        if len(self.angles) != len(names):
            raise InputError(
                f"angles: {len(self.angles)} values; required: one for each family, in this order: "
                f"{', '.join(names) or 'none'}"
            )
        angles = {f"threads__{k}__angle": f"{a:.12g} deg" for k, a in enumerate(self.angles)}
        pressure = {
            "pressure__end": f"{max(self.pressure, MIN_PRESSURE):.12g} kPa",
            "pressure__steps": steps,
        }
        changes = angles | self.slack.changes(base) | pressure
        try:
            return base.changed(**changes)
        except InputError as error:
            raise InputError(without_prefix(str(error))) from None


def without_prefix(lines: str) -> str:
    """Return the lines of a message in one line, without the prefix before the first colon."""
    return "; ".join(line.partition(": ")[2] for line in lines.splitlines())


@dataclass(frozen=True)
class EvaluatedSetting:
    """The fast model at a setting.

    Attributes
    ----------
    case
        The case of the setting.
    rest, row
        Rows of the step table at rest, and at the pressure of the setting; if the path ends
        before it, at the last pressure.
    termination
        Why the path ends.
    """

    case: Case
    rest: dict[str, Any]
    row: dict[str, Any]
    termination: Termination


def evaluate_setting(setting: Setting, base: Case) -> EvaluatedSetting:
    """Evaluate the fast model at a setting.

    Raises
    ------
    InputError
        If the setting gives no valid case, or the case has no solution even at rest.
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
        top = others[len(rising) : len(rising) + 1]  # beyond it, only volume control is stable
        row, end = [rest, *rising, *top][-1], run.termination
    return EvaluatedSetting(case, rest, row, end)
