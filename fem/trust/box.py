"""The largest box of points that are all of one kind: conditions on few features, joined by "and".

A beam search. Each box that is kept is cut by every condition ``feature <= level``,
``feature >= level`` or ``text is value``. How good a cut is, is judged by the largest pure box that
one condition more makes of it, which is found exactly by counting levels; a half of those that are
kept is judged by how nearly pure they are instead, for a box may need more. A small search need not
find the largest box of all; what it finds is pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fem.core.arrays import Array, Mask
from fem.trust.features import Feature

LEVELS = 24
"""Levels at which a feature may be cut; of more values, quantiles."""

WIDTH = 24
"""Boxes that are kept from one round to the next."""

PER_CONDITION = 0.85
"""A box is worth so much less for each condition more: short rules are easier to keep."""

ROUND_OFF = 1e-9
"""A share of a number by which it may miss a level."""

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
    curves: Array,
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
    beam = [_Candidate((), np.ones(len(good), bool))]
    best: tuple[float, Box] = (0.0, ())
    if good.all():
        return ()
    for length in range(1, most + 1):
        beam, found = search.round(beam)
        if found and (worth := found[0] * PER_CONDITION**length) > best[0]:
            best = (worth, found[1])
        if not beam:
            break
    return fitted(best[1], features, good) or None


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


@dataclass(frozen=True, eq=False)
class _Candidate:
    """A box on the way.

    Attributes
    ----------
    conditions, points
        Their numbers, and what is inside.
    hope
        Wanted points of the largest pure box that one condition more makes of it.
    near
        Wanted points inside, the fewer count the more bad ones are among them; it ranks boxes that
        take more than one condition more.
    """

    conditions: tuple[int, ...]
    points: Mask = field(repr=False)
    hope: float = 0.0
    near: float = 0.0


@dataclass(frozen=True, eq=False)
class _Search:
    """All conditions, where they hold; which points are good, which wanted, of which curves."""

    conditions: list[Condition]
    holds: Mask
    good: Mask
    wanted: Mask
    curves: Array
    least: int

    def round(self, beam: list[_Candidate]) -> tuple[list[_Candidate], tuple[float, Box] | None]:
        """Add a condition to the boxes of the beam.

        Returns
        -------
        The boxes worth going on with, and the largest that became pure with its wanted points.
        """
        best: tuple[float, Box] | None = None
        cuts: dict[bytes, _Candidate] = {}
        for candidate in beam:
            points = candidate.points & self.holds
            bad, count = self._counts(candidate.points[None, :])
            pure = np.where(bad[0] == 0, count[0], 0)
            for closing in np.argsort(-pure, kind="stable"):
                if pure[closing] <= (best[0] if best else 0):
                    break
                chosen = (*candidate.conditions, int(closing))
                if self._enough(chosen, points[closing]):
                    best = (float(pure[closing]), tuple(self.conditions[i] for i in chosen))
            hopes, nears = (
                self._hopes(points),
                count[0] ** 3 / np.maximum(count[0] + bad[0], 1) ** 2,
            )
            for order in (hopes, nears):
                for number in np.argsort(-order, kind="stable")[:WIDTH]:
                    cut = _Candidate(
                        (*candidate.conditions, int(number)),
                        points[number],
                        float(hopes[number]),
                        float(nears[number]),
                    )
                    cuts.setdefault(cut.points.tobytes(), cut)
        by_hope = sorted(cuts.values(), key=lambda cut: (-cut.hope, -cut.near))[: WIDTH // 2]
        by_near = sorted(cuts.values(), key=lambda cut: -cut.near)
        others = [cut for cut in by_near if not any(cut is kept for kept in by_hope)]
        return [cut for cut in by_hope + others[: WIDTH // 2] if cut.near], best

    def _enough(self, chosen: Sequence[int], points: Mask) -> bool:
        """Return whether a box rests on enough curves: so many, or all with its texts."""
        texts = [number for number in chosen if self.conditions[number].sign == IS]
        alike = self.curves[self.holds[texts].all(axis=0)]
        least = min(self.least, len(np.unique(alike)))
        return len(np.unique(self.curves[points])) >= least

    def _counts(self, points: Mask) -> tuple[Any, Any]:
        """Return how many bad and wanted points each condition leaves of boxes, (boxes, conds)."""
        holds = self.holds.T.astype(np.float32)
        bad = (points & ~self.good).astype(np.float32) @ holds
        return bad, (points & self.wanted).astype(np.float32) @ holds

    def _hopes(self, cuts: Mask) -> Any:
        """Return the wanted points of the largest pure box that one more condition makes."""
        bad, count = self._counts(cuts)
        return np.where(bad == 0, count, 0).max(axis=1)
