"""A case altered by what may be off on a bench: slack, stiffness of the rubber, helix angles."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from math import radians
from typing import Any

from fem.case.case import Case
from fem.case.slack import Slack
from fem.case.thread_family import ThreadFamily
from fem.core.units import NUMBER

type Change = Callable[[Case, float], Case]
"""Returns a case altered by an amount."""


def loosened(names: Sequence[str]) -> Change:
    """Return how the threads of families get longer than their rule says, by per cent.

    None gets shorter than just taut: no spool that takes up slack winds beyond that.
    """

    def loosen(family: ThreadFamily, percent: float) -> ThreadFamily:
        given = family.slack_strain
        slack = max((1 + given) * (1 + percent / 100) - 1, min(given, 0.0))
        return family.model_copy(update={"slack": Slack(percent=100 * slack)})

    return lambda case, percent: _rewound(case, names, loosen, percent)


def turned(names: Sequence[str]) -> Change:
    """Return how the helix angles of families get greater than stated, by degrees."""

    def turn(family: ThreadFamily, degrees: float) -> ThreadFamily:
        angle = family.angle + radians(degrees)
        return family.model_copy(update={"angle": angle, "ring_turn": None})

    return lambda case, degrees: _rewound(case, names, turn, degrees)


def _rewound(
    case: Case,
    names: Sequence[str],
    wind: Callable[[ThreadFamily, float], ThreadFamily],
    amount: float,
) -> Case:
    families = tuple(
        wind(family, amount) if family.name in names else family for family in case.threads
    )
    return case.model_copy(update={"threads": families})


def stiffened(case: Case, percent: float) -> Case:
    """Return a case whose rubber has all its stresses raised by per cent."""
    return case.changed(rubber=_times(case.data["rubber"], 1 + percent / 100))


def _times(value: Any, factor: float) -> Any:
    """Return constants of a rubber with every quantity, which can only be a stress, scaled."""
    if isinstance(value, dict):
        return {key: _times(part, factor) for key, part in value.items()}
    if isinstance(value, list):
        return [_times(part, factor) for part in value]
    match = re.fullmatch(rf"({NUMBER}) (.+)", value) if isinstance(value, str) else None
    return f"{float(match[1]) * factor:.17g} {match[2]}" if match else value
