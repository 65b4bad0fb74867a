"""Changes of a case by possible causes of differences: slack, stiffness, helix angles.

All raise CaseError if the changed case is not valid.
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
"""Returns a case changed by an amount."""


def with_added_slack(names: Sequence[str]) -> Change:
    """Return the change that lengthens the threads of families, in per cent of their length.

    A negative amount shortens a thread only until it has no slack.
    """

    def slack(family: ThreadFamily, percent: float) -> str:
        before = family.slack_strain
        strain = max((1 + before) * (1 + percent / 100) - 1, min(before, 0.0))
        if 0 <= strain <= 1:
            return f"{100 * strain:.17g} %"
        # beyond this range, slack is given by the angle at which the threads are cut
        cut = math.acos(min(math.cos(family.angle) / (1 + strain), 1.0))
        return f"cut at {cut:.17g} rad"

    return lambda case, percent: _changed(case, names, "slack", slack, percent)


def with_added_angle(names: Sequence[str]) -> Change:
    """Return the change that increases the helix angles of families, in degrees."""

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
    """Return the case with a changed key of some families."""
    families = enumerate(case.threads)
    return case.changed(
        **{f"threads__{k}__{key}": value(f, amount) for k, f in families if f.name in names}
    )


def with_stiffer_rubber(case: Case, percent: float) -> Case:
    """Return the case with stresses of the rubber increased in per cent."""
    return case.changed(rubber=_times(case.data["rubber"], 1 + percent / 100))


def _times(value: Any, factor: float) -> Any:
    """Return the constants of a rubber with all quantities, which are stresses, scaled."""
    if isinstance(value, dict):
        return {key: _times(part, factor) for key, part in value.items()}
    if isinstance(value, list):
        return [_times(part, factor) for part in value]
    match = re.fullmatch(rf"({NUMBER}) (.+)", value) if isinstance(value, str) else None
    return f"{float(match[1]) * factor:.17g} {match[2]}" if match else value
