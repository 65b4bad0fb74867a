"""Search for the largest pure box: conditions on few features that only good points satisfy.

The search is a beam search. In each round every box of the beam is cut by every condition
``feature <= level``, ``feature >= level`` or ``text is value``. Half of the beam is chosen by the
largest pure box that one more condition can make, the other half by purity, because a box may need
more conditions. The search does not always find the largest box, but the box found is pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal
from typing import Any

import numpy as np

from fem.core.arrays import Index, Mask
from fem.trust.features import Feature

MAX_LEVELS = 24
"""Greatest number of levels of a feature; quantiles if it has more values."""

BEAM_WIDTH = 24
"""Number of boxes that are kept from one round to the next."""

PER_CONDITION = 0.85
"""Factor of the score of a box for each condition: short rules are preferred."""

ROUND_OFF = 1e-9
"""Relative tolerance of comparisons with a level."""

DIGITS = 4
"""Digits to which a level is rounded in texts, unless it is exact in :data:`EXACT_DIGITS`."""

EXACT_DIGITS = 6

BELOW, ABOVE, IS = "<=", ">=", "is"


@dataclass(frozen=True)
class Condition:
    """One condition of a rule.

    Attributes
    ----------
    feature
        Number of the feature.
    sign
        ``<=``, ``>=`` or ``is``.
    level
        The number, or the text.
    """

    feature: int
    sign: str
    level: Any

    def satisfied(self, features: Sequence[Feature]) -> Mask:
        """Return which points satisfy the condition, shape (points,)."""
        values = features[self.feature].values
        if self.sign == IS:
            return values == self.level
        margin = ROUND_OFF * max(1.0, abs(self.level))
        return (
            values <= self.level + margin if self.sign == BELOW else values >= self.level - margin
        )


type Box = tuple[Condition, ...]


def inside(box: Box, features: Sequence[Feature]) -> Mask:
    """Return which points are inside a box, shape (points,)."""
    points = np.ones(len(features[0].values), bool)
    for condition in box:
        points &= condition.satisfied(features)
    return points


def largest_pure_box(
    features: Sequence[Feature],
    good: Mask,
    counted: Mask,
    curves: Index,
    min_curves: int = 1,
    max_conditions: int = 4,
) -> Box | None:
    """Return a box in which all points are good, with as many counted points as possible.

    Parameters
    ----------
    features
        Features of the conditions.
    good, counted
        Whether a point may be in the box, and whether it counts for the size; shape (points,).
    curves
        Number of the curve of each point, from 0; symmetric images have the same number.
    min_curves
        Least number of curves in the box; fewer only if no more have the same texts.
    max_conditions
        Greatest number of conditions.
    """
    conditions = [c for i, feature in enumerate(features) for c in _conditions(i, feature)]
    satisfied = np.array([condition.satisfied(features) for condition in conditions], bool)
    search = _Search(conditions, satisfied, good, counted & good, curves, min_curves)
    if good.all():
        return ()
    beam: list[_Cut] = [((), np.ones(len(good), bool))]
    best = 0.0
    box: tuple[int, ...] = ()
    for length in range(1, max_conditions + 1):
        beam, count, pure = search.round(beam)
        if count * PER_CONDITION**length > best:
            best, box = count * PER_CONDITION**length, pure
    return enlarged(tuple(conditions[number] for number in box), features, good) or None


def _conditions(number: int, feature: Feature) -> list[Condition]:
    values = np.unique(feature.values)
    if feature.text:
        return [Condition(number, IS, str(value)) for value in values]
    if len(values) > MAX_LEVELS:
        cuts = np.linspace(0, 1, MAX_LEVELS + 1)
        values = np.unique(np.quantile(feature.values, cuts, method="nearest"))
    below = [Condition(number, BELOW, float(value)) for value in values[:-1]]
    return below + [Condition(number, ABOVE, float(value)) for value in values[1:]]


def enlarged(box: Box, features: Sequence[Feature], good: Mask) -> Box:
    """Return a pure box enlarged as far as it stays pure.

    Each level is moved to the last good point before the first bad one, not only to levels of the
    search, so the box does not extend beyond the known points.
    """
    for condition in box:
        index = box.index(condition)
        before, after = box[:index], box[index + 1 :]
        rest = inside((*before, *after), features)
        if good[rest].all():  # the condition is not needed, or not any more
            box = (*before, *after)
            continue
        if condition.sign == IS:
            continue
        sign = 1 if condition.sign == BELOW else -1
        values = sign * features[condition.feature].values
        first_bad = values[rest & ~good].min()
        level = float(sign * values[rest & (values < first_bad)].max())
        box = (*before, replace(condition, level=level), *after)
    return box


type _Cut = tuple[tuple[int, ...], Mask]
"""A box during the search: the numbers of its conditions, and which points are inside."""


@dataclass(frozen=True, eq=False)
class _Search:
    """All conditions, the points that satisfy them, and the data of the points."""

    conditions: list[Condition]
    satisfied: Mask
    good: Mask
    counted: Mask
    curves: Index
    min_curves: int

    def round(self, beam: list[_Cut]) -> tuple[list[_Cut], float, tuple[int, ...]]:
        """Add one condition to the boxes of the beam.

        Returns
        -------
        The boxes of the next beam; the number of counted points of the largest pure box, zero if
        there is none, and its conditions.
        """
        largest = 0.0
        largest_pure: tuple[int, ...] = ()
        cuts: dict[bytes, tuple[float, float, _Cut]] = {}
        for chosen, before in beam:
            points = before & self.satisfied
            bad, count = self._counts(before)
            pure = np.where(bad == 0, count, 0)
            for number in np.argsort(-pure, kind="stable"):
                if pure[number] <= largest:
                    break
                if self._enough((*chosen, number), points[number]):
                    largest, largest_pure = float(pure[number]), (*chosen, int(number))
            next_bad, next_count = self._counts(points)
            potential = np.where(next_bad == 0, next_count, 0).max(axis=1)
            purity = count**3 / np.maximum(count + bad, 1) ** 2
            for order in (potential, purity):
                for number in np.argsort(-order, kind="stable")[:BEAM_WIDTH]:
                    cut = (*chosen, int(number)), points[number]
                    cuts.setdefault(cut[1].tobytes(), (potential[number], purity[number], cut))
        by_potential = sorted(cuts, key=lambda key: (-cuts[key][0], -cuts[key][1]))[
            : BEAM_WIDTH // 2
        ]
        rest = (key for key in cuts if key not in by_potential)
        others = sorted(rest, key=lambda key: -cuts[key][1])[: BEAM_WIDTH // 2]
        return (
            [cuts[key][2] for key in by_potential + others if cuts[key][1]],
            largest,
            largest_pure,
        )

    def _enough(self, chosen: Sequence[int], points: Mask) -> bool:
        """Return whether a box has enough curves: the least number, or all with its texts."""
        texts = [number for number in chosen if self.conditions[number].sign == IS]
        same_texts = self.curves[self.satisfied[texts].all(axis=0)]
        required = min(self.min_curves, len(np.unique(same_texts)))
        return len(np.unique(self.curves[points])) >= required

    def _counts(self, points: Mask) -> tuple[Any, Any]:
        """Return the numbers of bad and counted points under each condition, (..., conditions)."""
        satisfied = self.satisfied.T.astype(np.float32)
        bad = (points & ~self.good).astype(np.float32) @ satisfied
        return bad, (points & self.counted).astype(np.float32) @ satisfied


def describe(box: Box, features: Sequence[Feature]) -> str:
    """Return the conditions of a box as text, with both ends of a range together.

    Levels are rounded towards the inside of the box, so the text does not extend beyond its points.
    """
    parts = []
    for number, feature in enumerate(features):
        own = [condition for condition in box if condition.feature == number]
        if own and feature.text:
            parts.append(f'{feature.name} "{own[0].level}"')
        elif own:
            parts.append(f"{feature.name} {_range(own)} {feature.unit}".rstrip())
    return ", ".join(parts)


def _range(own: Sequence[Condition]) -> str:
    """Return the tightest range of the conditions of a feature as text."""
    top = min((c.level for c in own if c.sign == BELOW), default=math.inf)
    bottom = max((c.level for c in own if c.sign == ABOVE), default=-math.inf)
    if math.isinf(bottom):
        return f"<= {rounded(top, BELOW):g}"
    if math.isinf(top):
        return f">= {rounded(bottom, ABOVE):g}"
    if math.isclose(bottom, top, rel_tol=ROUND_OFF, abs_tol=ROUND_OFF):
        return f"= {top:.{DIGITS}g}"
    for digits in range(DIGITS, 16):  # more if the rounded ends would cross
        low, high = rounded(bottom, ABOVE, digits), rounded(top, BELOW, digits)
        if low <= high:
            break
    return f"from {low:.{max(digits, EXACT_DIGITS)}g} to {high:.{max(digits, EXACT_DIGITS)}g}"


def rounded(level: float, sign: str, digits: int = DIGITS) -> float:
    """Return a level rounded to some digits, towards the side on which the condition is satisfied.

    A level that is exact in :data:`EXACT_DIGITS` digits, except for round-off, is returned exactly.
    """
    if abs(level) <= ROUND_OFF:
        return 0.0
    nearest = float(f"{level:.{EXACT_DIGITS}g}")
    if math.isclose(nearest, level, rel_tol=ROUND_OFF):
        return nearest
    rounding = ROUND_FLOOR if sign == BELOW else ROUND_CEILING
    return float(Context(prec=digits, rounding=rounding).plus(Decimal(level)))
