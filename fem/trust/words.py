"""A rule in words: the conditions of a box, their levels in few digits."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fem.trust.box import ABOVE, BELOW, IS, ROUND_OFF, Box, Condition
from fem.trust.features import Feature

DIGITS = 4
"""Of a level that is cut to fit; one that has no more than :data:`WHOLE` stays whole."""

WHOLE = 6


def describe(box: Box, known: Sequence[Feature]) -> str:
    """Return the conditions of a box in words, both ends of a range together.

    Levels are rounded towards the inside of the box, so the words claim nothing beyond the points
    that were found in it.
    """
    parts = []
    for number, feature in enumerate(known):
        own = [condition for condition in box if condition.feature == number]
        texts = [condition.level for condition in own if condition.sign == IS]
        if texts:
            parts.append(f'{feature.words} "{texts[0]}"')
        elif own:
            unit = f" {feature.unit}" if feature.unit else ""
            parts.append(f"{feature.words} {_range(own)}{unit}")
    return ", ".join(parts)


def _range(own: Sequence[Condition]) -> str:
    """Return the tightest of some levels of a feature in words."""
    top = min((c.level for c in own if c.sign == BELOW), default=math.inf)
    bottom = max((c.level for c in own if c.sign == ABOVE), default=-math.inf)
    if math.isinf(bottom):
        return f"<= {rounded(top, BELOW):g}"
    if math.isinf(top):
        return f">= {rounded(bottom, ABOVE):g}"
    if math.isclose(bottom, top, rel_tol=ROUND_OFF, abs_tol=ROUND_OFF):
        return f"= {top:.{DIGITS}g}"
    for digits in range(DIGITS, 16):  # more where the ends lie so close that they would cross
        low, high = rounded(bottom, ABOVE, digits), rounded(top, BELOW, digits)
        if low <= high:
            break
    return f"from {low:.{max(digits, WHOLE)}g} to {high:.{max(digits, WHOLE)}g}"


def rounded(level: float, sign: str, digits: int = DIGITS) -> float:
    """Return a level in so many digits, not beyond itself as seen from where a condition holds.

    A level that is whole in :data:`WHOLE` digits, but for round-off, stays as it is.
    """
    if abs(level) <= ROUND_OFF:
        return 0.0
    magnitude = math.floor(math.log10(abs(level)))
    nearest = round(level, WHOLE - 1 - magnitude)
    if math.isclose(nearest, level, rel_tol=ROUND_OFF):
        return nearest
    decimals = digits - 1 - magnitude
    cut = math.floor if sign == BELOW else math.ceil
    return round(cut(level * 10.0**decimals) / 10.0**decimals, decimals)
