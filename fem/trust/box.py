"""The largest box of points that are all of one kind: conditions on few features, joined by "and".

It is found by a beam search. Each box that is kept is cut by every condition ``feature <= level``,
``feature >= level`` or ``text is value``. How good a cut is, is judged by the largest pure box that
one condition more makes of it, which is found exactly by counting levels; a half of those that are
kept is judged by how nearly pure they are instead, for a box may need more. A small search need not
find the largest box of all; what it finds is pure.
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

LEVELS = 24
"""Levels at which a feature may be cut; of more values, quantiles."""

WIDTH = 24
"""Boxes that are kept from one round to the next."""

PER_CONDITION = 0.85
"""A box is worth so much less for each condition more: short rules are easier to keep."""

ROUND_OFF = 1e-9
"""A share of a number by which it may miss a level."""

DIGITS = 4
"""Digits of a level in words; one that has no more than :data:`WHOLE` stays as it is."""

WHOLE = 6

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

    def holds(self, features: Sequence[Feature]) -> Mask:
        """Return at which points it holds, shape (points,)."""
        values = features[self.feature].values
        if self.sign == IS:
            return values == self.level
        room = ROUND_OFF * max(1.0, abs(self.level))
        return values <= self.level + room if self.sign == BELOW else values >= self.level - room


type Box = tuple[Condition, ...]


def inside(box: Box, features: Sequence[Feature]) -> Mask:
    """Return which points are in a box, shape (points,)."""
    points = np.ones(len(features[0].values), bool)
    for condition in box:
        points &= condition.holds(features)
    return points


def largest_pure_box(
    features: Sequence[Feature],
    good: Mask,
    wanted: Mask,
    curves: Index,
    least: int = 1,
    most: int = 4,
) -> Box | None:
    """Return a box in which all points are good, with as many wanted ones as can be found.

    Parameters
    ----------
    features
        What conditions may speak of.
    good, wanted
        Of each point, shape (points,).
    curves
        Number of the curve that each point is of, counted from 0; unlike ones are told apart.
    least
        Least number of curves in the box, unless no more have the same texts.
    most
        Most conditions.
    """
    conditions = [c for i, feature in enumerate(features) for c in _conditions(i, feature)]
    holds = np.array([condition.holds(features) for condition in conditions], bool)
    search = _Search(conditions, holds, good, wanted & good, curves, least)
    if good.all():
        return ()
    beam: list[_Cut] = [((), np.ones(len(good), bool))]
    best = 0.0
    box: tuple[int, ...] = ()
    for length in range(1, most + 1):
        beam, count, pure = search.round(beam)
        if count * PER_CONDITION**length > best:
            best, box = count * PER_CONDITION**length, pure
    return fitted(tuple(conditions[number] for number in box), features, good) or None


def _conditions(number: int, feature: Feature) -> list[Condition]:
    values = np.unique(feature.values)
    if feature.text:
        return [Condition(number, IS, str(value)) for value in values]
    if len(values) > LEVELS:
        cuts = np.linspace(0, 1, LEVELS + 1)
        values = np.unique(np.quantile(feature.values, cuts, method="nearest"))
    below = [Condition(number, BELOW, float(value)) for value in values[:-1]]
    return below + [Condition(number, ABOVE, float(value)) for value in values[1:]]


def fitted(box: Box, features: Sequence[Feature], good: Mask) -> Box:
    """Return a pure box grown as far as it stays pure.

    Each level in turn moves to the last good point before the first bad one, whatever levels the
    search had: the box then claims nothing beyond what was found.
    """
    for condition in box:
        place = box.index(condition)
        before, after = box[:place], box[place + 1 :]
        rest = inside((*before, *after), features)
        if good[rest].all():  # the others have grown over it, or it never was needed
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
    """All conditions, where they hold; which points are good, which wanted, of which curves."""

    conditions: list[Condition]
    holds: Mask
    good: Mask
    wanted: Mask
    curves: Index
    least: int

    def round(self, beam: list[_Cut]) -> tuple[list[_Cut], float, tuple[int, ...]]:
        """Add a condition to the boxes of the beam.

        Returns
        -------
        The boxes worth going on with; the number of wanted points of the largest box that became
        pure, zero if none did, and its conditions.
        """
        most = 0.0
        closed: tuple[int, ...] = ()
        cuts: dict[bytes, tuple[float, float, _Cut]] = {}
        for chosen, before in beam:
            points = before & self.holds
            bad, count = self._counts(before)
            pure = np.where(bad == 0, count, 0)
            for number in np.argsort(-pure, kind="stable"):
                if pure[number] <= most:
                    break
                if self._enough((*chosen, number), points[number]):
                    most, closed = float(pure[number]), (*chosen, int(number))
            further_bad, further = self._counts(points)
            hope = np.where(further_bad == 0, further, 0).max(axis=1)
            near = count**3 / np.maximum(count + bad, 1) ** 2  # the nearer to pure, the greater
            for order in (hope, near):
                for number in np.argsort(-order, kind="stable")[:WIDTH]:
                    cut = (*chosen, int(number)), points[number]
                    cuts.setdefault(cut[1].tobytes(), (hope[number], near[number], cut))
        by_hope = sorted(cuts, key=lambda key: (-cuts[key][0], -cuts[key][1]))[: WIDTH // 2]
        rest = (key for key in cuts if key not in by_hope)
        others = sorted(rest, key=lambda key: -cuts[key][1])[: WIDTH // 2]
        return [cuts[key][2] for key in by_hope + others if cuts[key][1]], most, closed

    def _enough(self, chosen: Sequence[int], points: Mask) -> bool:
        """Return whether a box rests on enough curves: so many, or all with its texts."""
        texts = [number for number in chosen if self.conditions[number].sign == IS]
        alike = self.curves[self.holds[texts].all(axis=0)]
        least = min(self.least, len(np.unique(alike)))
        return len(np.unique(self.curves[points])) >= least

    def _counts(self, points: Mask) -> tuple[Any, Any]:
        """Return how many bad and wanted points each condition leaves, (..., conditions)."""
        holds = self.holds.T.astype(np.float32)
        bad = (points & ~self.good).astype(np.float32) @ holds
        return bad, (points & self.wanted).astype(np.float32) @ holds


def describe(box: Box, known: Sequence[Feature]) -> str:
    """Return the conditions of a box in words, both ends of a range together.

    Levels are rounded towards the inside of the box, so the words claim nothing beyond the points
    that were found in it.
    """
    parts = []
    for number, feature in enumerate(known):
        own = [condition for condition in box if condition.feature == number]
        if own and feature.text:
            parts.append(f'{feature.words} "{own[0].level}"')
        elif own:
            parts.append(f"{feature.words} {_range(own)} {feature.unit}".rstrip())
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
    nearest = float(f"{level:.{WHOLE}g}")
    if math.isclose(nearest, level, rel_tol=ROUND_OFF):
        return nearest
    inwards = ROUND_FLOOR if sign == BELOW else ROUND_CEILING
    return float(Context(prec=digits, rounding=inwards).plus(Decimal(level)))
