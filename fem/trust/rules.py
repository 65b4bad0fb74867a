"""Rules for the accuracy of the fast model: boxes in the fields that vary, with their errors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.core.arrays import Index, Mask
from fem.trust.box import Box, describe, inside, largest_pure_box
from fem.trust.features import Feature, features
from fem.trust.pairs import BOTH, FE, round_off
from fem.trust.symmetry import orbits, symmetries
from fem.trust.tolerance import Tolerance

if TYPE_CHECKING:
    import pandas

    from fem.study.plan import Study

TRUSTED, NOT_TRUSTED, MIXED = "trusted", "not trusted", "elsewhere"

MAX_RULES = {TRUSTED: 4, NOT_TRUSTED: 2}
MIN_SHARE = 0.02
"""Least share of the points of the study that a rule must add."""

MIN_CURVES = 5
"""Least number of curves of a rule, unless the study has no more with the texts of the rule;
symmetric images count once. If n curves drawn at random are all of one kind, the next is of the
other kind with a probability of at most 1/(n + 1): a third for two, a sixth for five."""

MAX_POINTS = 8000
"""Greatest number of points in the search for boxes, spread over the study; the numbers of a rule
count all points."""


COUNTS = ("points", "outside", "not_reached", "curves", "share")
"""Attributes of a rule that are columns of the table of rules."""


@dataclass(frozen=True)
class Rule:
    """A region in which the fast model is within the tolerances, or is not.

    Attributes
    ----------
    verdict
        ``trusted`` if all points of the region are within the tolerance, ``not trusted`` if none
        is, ``elsewhere`` for the points outside all rules.
    conditions
        Its conditions as text.
    points, outside, not_reached, curves
        Number of points in the region; of those outside the tolerance; of those that one model
        did not reach; of curves.
    share
        Share of the points of the study.
    worst
        Greatest error of each quantity in the region, by its short name, in its displayed unit; 0
        if it is below round-off, NaN if no point has both models.
    """

    verdict: str
    conditions: str
    points: int
    outside: int
    not_reached: int
    curves: int
    share: float
    worst: dict[str, float]

    @property
    def sentence(self) -> str:
        """The rule in one sentence."""
        if self.verdict in (TRUSTED, NOT_TRUSTED):
            where = f"for {self.conditions}" if self.conditions else "in the whole study"
            return f"{self.verdict} {where}"
        points = "1 point is" if self.points == 1 else f"{self.points} points are"
        return f"elsewhere: {self.outside} of {points} outside the tolerance"


def rules(table: pandas.DataFrame, study: Study, tolerances: Sequence[Tolerance]) -> list[Rule]:
    """Return the rules of a trust map: within the tolerances, not within them, and elsewhere.

    Boxes are found one after another, each with as many points outside the earlier ones as
    possible. Points are counted with exact levels; in the text levels are rounded inwards.

    Parameters
    ----------
    table
        A trust map, see :func:`fem.trust.pairs.trust_map`.
    study
        The study of the map.
    tolerances
        The tolerances of the map.
    """
    varied = list(table.columns[1 : table.columns.get_loc("ordinal")])
    known = features(table, study, varied)
    trusted = table["trusted"].to_numpy(bool)
    curves = table["case"].map(orbits(table, varied, symmetries(study))).to_numpy()
    covered = np.zeros(len(table), bool)
    every = -(-len(table) // MAX_POINTS)
    searched = table.groupby("case", sort=False).ngroup().to_numpy() % every == 0
    found = []
    for verdict, good in ((TRUSTED, trusted), (NOT_TRUSTED, ~trusted)):
        for box in _boxes(known, good, curves, searched, MAX_RULES[verdict]):
            points = inside(box, known)
            pure = bool(good[points].all())
            covered |= points
            text = describe(box, known)
            found.append(_rule(verdict if pure else MIXED, text, table[points], table, tolerances))
    if not covered.all():
        found.append(_rule(MIXED, "", table[~covered], table, tolerances))
    return found


def rule_table(found: Sequence[Rule]) -> pandas.DataFrame:
    """Return rules as a table, with the greatest errors in columns ``worst.<quantity>``."""
    import pandas

    rows: list[dict[str, Any]] = []
    for rule in found:
        row = {"verdict": rule.verdict, "rule": rule.sentence}
        row |= {name: getattr(rule, name) for name in COUNTS}
        rows.append(row | {f"worst.{name}": worst for name, worst in rule.worst.items()})
    return pandas.DataFrame(rows)


def _boxes(
    known: Sequence[Feature], good: Mask, curves: Index, searched: Mask, count: int
) -> list[Box]:
    """Return at most `count` boxes of good points; points of earlier boxes do not count."""
    subset = [replace(feature, values=feature.values[searched]) for feature in known]
    good, curves = good[searched], curves[searched]
    counted = good.copy()
    boxes: list[Box] = []
    while len(boxes) < count and good.any():
        box = largest_pure_box(subset, good, counted, curves, MIN_CURVES)
        if box is None:
            break
        points = inside(box, subset)
        if (points & counted).sum() < MIN_SHARE * len(good):
            break
        boxes.append(box)
        counted &= ~points
        if not box:
            break
    return boxes


def _rule(
    verdict: str,
    conditions: str,
    rows: pandas.DataFrame,
    table: pandas.DataFrame,
    tolerances: Sequence[Tolerance],
) -> Rule:
    worst = {}
    for tolerance in tolerances:
        column = tolerance.quantity.column
        error = float(rows[f"{column}.error"].abs().max())
        worst[tolerance.quantity.name] = 0.0 if error <= round_off(table[column + FE]) else error
    return Rule(
        verdict=verdict,
        conditions=conditions,
        points=len(rows),
        outside=int((~rows["trusted"]).sum()),
        not_reached=int((rows["state"] != BOTH).sum()),
        curves=rows["case"].nunique(),
        share=len(rows) / len(table),
        worst=worst,
    )
