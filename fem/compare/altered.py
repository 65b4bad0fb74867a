"""A case altered by what may be off on a bench: slack, stiffness of the rubber, helix angles.

All raise CaseError where the altered case cannot be used.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from typing import Any

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.core.units import NUMBER

type Change = Callable[[Case, float], Case]
"""Returns a case altered by an amount."""


def loosened(names: Sequence[str]) -> Change:
    """Return how the threads of families get longer than their rule says, by per cent.

    None gets shorter than just taut: no spool that takes up slack winds beyond that.
    """

    def slack(family: ThreadFamily, percent: float) -> str:
        given = family.slack_strain
        wanted = max((1 + given) * (1 + percent / 100) - 1, min(given, 0.0))
        if 0 <= wanted <= 1:
            return f"{100 * wanted:.17g} %"
        # only the length of another helix is more than twice as long, or too short
        cut = math.acos(min(math.cos(family.angle) / (1 + wanted), 1.0))
        return f"cut at {cut:.17g} rad"

    return lambda case, percent: _changed(case, names, "slack", slack, percent)


def turned(names: Sequence[str]) -> Change:
    """Return how the helix angles of families get greater than stated, by degrees."""

    def angle(family: ThreadFamily, degrees: float) -> str:
        return f"{family.angle + math.radians(degrees):.17g} rad"

    return lambda case, degrees: _changed(case, names, "angle", angle, degrees)


def _changed(
    case: Case,
    names: Sequence[str],
    key: str,
    value: Callable[[ThreadFamily, float], str],
    amount: float,
) -> Case:
    """Return the case with a key of some families changed."""
    families = enumerate(case.threads)
    return case.changed(
        **{f"threads__{k}__{key}": value(f, amount) for k, f in families if f.name in names}
    )


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
