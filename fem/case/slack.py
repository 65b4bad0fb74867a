"""Slack of a thread: the rule in the file, and the strain that follows from it.

A thread of slack s is longer than its helix by the factor 1 + s. In a file it is

- ``"taken up"``: wound until just taut at the set angle, s = 0;
- ``"3 %"``: s = 0.03;
- ``"cut at 45 deg"``: cut so that it is just taut at the helix angle alpha_c, and left at that
  length. At the angle alpha its slack is s = cos(alpha) / cos(alpha_c) - 1, since its helix is
  L / cos(alpha) long. With negative slack the thread is stretched to reach the plate.

See also eq. (19) of docs/theory.md.

Source: a right triangle, elementary.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Annotated, Any, Self

from pydantic import PlainSerializer, PlainValidator, WithJsonSchema

from fem.core.units import ANGLE, NUMBER, read, show

FORMS = 'write "taken up", a slack from "0 %" to "100 %", or "cut at 45 deg"'


@dataclass(frozen=True)
class Slack:
    """The rule for the slack of a thread; with both fields None it is "taken up".

    Parameters
    ----------
    percent
        Given slack in per cent.
    cut_angle
        Helix angle at which the thread was cut just taut (rad).
    """

    percent: float | None = None
    cut_angle: float | None = None

    def __str__(self) -> str:
        """Return the text that :meth:`parse` turns back into an equal rule."""
        if self.percent is not None:
            return f"{str(self.percent).removesuffix('.0')} %"
        if self.cut_angle is not None:
            return f"cut at {show(self.cut_angle, ANGLE)}"
        return "taken up"

    def strain(self, angle: float) -> float:
        """Return s of a thread whose helix angle is `angle` (rad)."""
        if self.percent is not None:
            return self.percent / 100
        if self.cut_angle is not None:
            return math.cos(angle) / math.cos(self.cut_angle) - 1
        return 0.0

    @classmethod
    def parse(cls, value: Any) -> Self:
        """Read a rule.

        Raises
        ------
        ValueError
            If it has none of the three forms, or its number cannot be used.
        """
        if isinstance(value, cls):
            return value
        text = " ".join(value.split()) if isinstance(value, str) else ""
        if text == "taken up":
            return cls()
        if match := re.fullmatch(rf"({NUMBER}) ?%", text):
            percent = float(match[1]) + 0.0  # no negative zero
            if not 0 <= percent <= 100:
                raise ValueError(f"a given slack must be from 0 % to 100 %; {FORMS}")
            return cls(percent=percent)
        if match := re.fullmatch(r"cut at (.+)", text):
            angle = read(match[1], ANGLE)
            if not abs(angle) < math.pi / 2:
                raise ValueError("the angle of the cut must be between -90 deg and 90 deg")
            return cls(cut_angle=angle)
        raise ValueError(FORMS)


SlackRule = Annotated[
    Slack,
    PlainValidator(Slack.parse),
    PlainSerializer(str, return_type=str),
    WithJsonSchema(
        {
            "type": "string",
            "description": FORMS,
            "pattern": rf"^\s*(taken\s+up|\+?{NUMBER.removeprefix('[-+]?')}\s*%|cut\s+at\s.*)\s*$",
        }
    ),
]
"""The type of a pydantic field that is a slack rule, written as text."""
