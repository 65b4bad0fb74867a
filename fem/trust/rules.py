"""Rules of trust in words: boxes in the fields that vary, with what was found inside them."""

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

MOST_RULES = {TRUSTED: 4, NOT_TRUSTED: 2}
LEAST_SHARE = 0.02
"""A rule that tells of fewer new points of the study is not worth a sentence."""

LEAST_CURVES = 5
"""A rule that rests on fewer unlike curves is none, unless the study has no more with the texts
that it names; images by symmetry count once. Where n curves drawn alike are all of one kind, the
next is of the other with a chance of at most 1/(n + 1), as any of n + 1 may come last: a third for
two, a sixth for five."""

MOST_POINTS = 8000
"""Boxes are looked for among the curves of so many points, spread over the study; what is inside
them is counted among all."""


COUNTS = ("points", "outside", "lost", "curves", "share")
"""Attributes of a rule that its table has as columns."""


@dataclass(frozen=True)
class Rule:
    """Where the fast model is trusted, or not, and what was found there.

    Attributes
    ----------
    verdict
        ``trusted`` if no point inside is outside the tolerance, ``not trusted`` if all are,
        ``elsewhere`` for what no rule tells of.
    words
        Its conditions.
    points, outside, lost, curves
        Points inside; those not within the tolerance; those among them that one model did not
        reach; curves that the points are of.
    share
        Of the points of the study.
    worst
        Greatest error inside of each quantity, by its short name, in its shown unit; 0 where it is
        below round-off, NaN where no point has both models.
    """

    verdict: str
    words: str
    points: int
    outside: int
    lost: int
    curves: int
    share: float
    worst: dict[str, float]

    @property
    def sentence(self) -> str:
        """The rule as an engineer reads it."""
        where = self.words or "in the whole study"
        if self.verdict == TRUSTED:
            return f"trusted for {where}" if self.words else f"trusted {where}"
        if self.verdict == NOT_TRUSTED:
            return f"not for {where}" if self.words else f"not trusted {where}"
        points = "1 point is" if self.points == 1 else f"{self.points} points are"
        return f"elsewhere {self.outside} of {points} outside the tolerance"


def rules(table: pandas.DataFrame, study: Study, tolerances: Sequence[Tolerance]) -> list[Rule]:
    """Return the rules of a trust map: where to trust, where not, and the rest.

    Boxes are taken one after another, each with as many points as can be found that no former
    one holds. Points are counted by the levels found; the words have them rounded inwards.

    Parameters
    ----------
    table
        A trust map, see :func:`fem.trust.pairs.trust_map`.
    study
        The study it is of.
    tolerances
        Those it was made with.
    """
    varied = list(table.columns[1 : table.columns.get_loc("ordinal")])
    known = features(table, study, varied)
    trusted = table["trusted"].to_numpy(bool)
    curves = table["case"].map(orbits(table, varied, symmetries(study))).to_numpy()
    told = np.zeros(len(table), bool)
    every = -(-len(table) // MOST_POINTS)
    some = table.groupby("case", sort=False).ngroup().to_numpy() % every == 0
    found = []
    for verdict, good in ((TRUSTED, trusted), (NOT_TRUSTED, ~trusted)):
        for box in _boxes(known, good, curves, some, MOST_RULES[verdict]):
            points = inside(box, known)
            pure = bool(good[points].all())
            told |= points
            words = describe(box, known)
            found.append(_rule(verdict if pure else MIXED, words, table[points], table, tolerances))
    if not told.all():
        found.append(_rule(MIXED, "", table[~told], table, tolerances))
    return found


def rule_table(found: Sequence[Rule]) -> pandas.DataFrame:
    """Return rules as a table; the worst errors in columns ``worst.<quantity>``."""
    import pandas

    rows: list[dict[str, Any]] = []
    for rule in found:
        row = {"verdict": rule.verdict, "rule": rule.sentence}
        row |= {name: getattr(rule, name) for name in COUNTS}
        rows.append(row | {f"worst.{name}": worst for name, worst in rule.worst.items()})
    return pandas.DataFrame(rows)


def _boxes(known: Sequence[Feature], good: Mask, curves: Index, some: Mask, most: int) -> list[Box]:
    """Return boxes of good points; points that a former one holds do not count again."""
    thin = [replace(feature, values=feature.values[some]) for feature in known]
    good, curves = good[some], curves[some]
    wanted = good.copy()
    boxes: list[Box] = []
    while len(boxes) < most and good.any():
        box = largest_pure_box(thin, good, wanted, curves, LEAST_CURVES)
        if box is None:
            break
        points = inside(box, thin)
        if (points & wanted).sum() < LEAST_SHARE * len(good):
            break
        boxes.append(box)
        wanted &= ~points
        if not box:
            break
    return boxes


def _rule(
    verdict: str,
    words: str,
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
        words=words,
        points=len(rows),
        outside=int((~rows["trusted"]).sum()),
        lost=int((rows["state"] != BOTH).sum()),
        curves=rows["case"].nunique(),
        share=len(rows) / len(table),
        worst=worst,
    )
