"""Rules on tables whose true border is known; no rule that is violated is called trusted."""

import numpy as np
import pytest

from fem.trust import parse, rule_table, rules, trust_map
from fem.trust.rules import MIXED, NOT_TRUSTED, TRUSTED
from tests.trust_toys import make_study, of_angles, tabulated, two_angles

SLACK = {
    "field": "threads.A.slack",
    "same": ["threads.B.slack"],
    "values": ["taken up", "cut at 30 deg"],
}
GRID = [
    {"field": f"threads.{n}.angle", "from": "-30 deg", "to": "30 deg", "count": 7} for n in "AB"
]


def judged(study, wrong, ends=None):
    """Return the rules of a study whose twist is wrong by 10 deg where `wrong` says so."""
    outcome = tabulated(
        study,
        lambda own, p: {"twist_deg": p},
        lambda own, p: {"twist_deg": 10.0 if wrong(own, p) else 0.5},
        ends,
    )
    tolerances = parse("twist 3 deg", outcome)
    table = trust_map(outcome, tolerances)
    return rules(table, study, tolerances), table


def check_honest(found, table):
    for rule in found:
        if rule.verdict == TRUSTED:
            assert rule.outside == 0
            assert rule.worst["twist"] <= 3
        if rule.verdict == NOT_TRUSTED:
            assert rule.outside == rule.points
        assert 0 < rule.points <= len(table)
        assert rule.share == pytest.approx(rule.points / len(table))


def test_a_box_in_magnitudes_pressure_and_slack_is_found():
    def wrong(own, p):
        far = max(abs(own["angle_deg.A"]), abs(own["angle_deg.B"])) > 21
        return far or p > 10 or own["slack.A"] != "taken up"

    found, table = judged(make_study([SLACK, *GRID]), wrong)
    check_honest(found, table)
    first, *others = found
    assert first.sentence == (
        'trusted for pressure <= 9 kPa, slack.A, slack.B "taken up", |angle.A|, |angle.B| <= 20 deg'
    )
    assert first.points == 25 * 3 == table["trusted"].sum()
    assert first.worst["twist"] == pytest.approx(0.5)
    assert first.curves == 25
    assert not [rule for rule in others if rule.verdict == TRUSTED]
    assert sum(rule.points for rule in others if rule.verdict == MIXED) < len(table) / 4


def test_the_sum_of_the_angles_is_seen():
    found, table = judged(
        two_angles(7), of_angles(lambda a, b, p: bool(abs(np.degrees(a + b)) > 11))
    )
    check_honest(found, table)
    assert found[0].sentence == "trusted for |angle.A + angle.B| <= 10 deg"
    assert found[0].points == table["trusted"].sum()
    assert found[1].sentence == "not for |angle.A + angle.B| >= 20 deg"
    assert len(found) == 2


def test_slenderness_of_the_tube_is_seen():
    vary = [{"field": "tube.length", "values": ["30 mm", "45 mm", "60 mm", "90 mm"]}]
    vary.append({"field": "tube.wall", "values": ["1 mm", "1.5 mm", "2 mm"]})

    def wrong(own, p):
        return own["tube_length_mm"] / (5 + own["tube_wall_mm"]) < 7.4

    found, table = judged(make_study(vary), wrong)
    check_honest(found, table)
    # 45 mm over 6 mm is 7.5; 45 mm over 6.5 mm is 6.92
    assert found[0].sentence == "trusted for length / outer radius >= 7.5"
    assert found[0].points == table["trusted"].sum()


def test_all_or_nothing():
    found, _ = judged(two_angles(3), lambda own, p: False)
    assert [rule.sentence for rule in found] == ["trusted in the whole study"]
    found, _ = judged(two_angles(3), lambda own, p: True)
    assert [rule.sentence for rule in found] == ["not trusted in the whole study"]


def test_points_that_one_model_lacks_are_outside():
    found, table = judged(
        two_angles(5), lambda own, p: False, lambda model, own: 3 if model == "fast" else 5
    )
    check_honest(found, table)
    assert found[0].sentence == "trusted for pressure <= 9 kPa"
    assert found[1].sentence == "not for pressure >= 12 kPa"
    assert found[1].lost == found[1].points == 50
    assert np.isnan(found[1].worst["twist"])


def test_scatter_without_a_rule_is_called_mixed():
    rng = np.random.default_rng(3)
    coins = {}

    def wrong(own, p):
        return coins.setdefault((*own.values(), p), rng.random() < 0.5)

    found, table = judged(two_angles(7), wrong)
    check_honest(found, table)
    rest = [rule for rule in found if rule.verdict == MIXED]
    assert len(rest) == 1
    assert rest[0].sentence == (
        f"elsewhere {rest[0].outside} of {rest[0].points} points are outside the tolerance"
    )
    assert rest[0].share > 0.5


def test_rules_as_a_table():
    found, _ = judged(two_angles(3), lambda own, p: p > 10)
    table = rule_table(found)
    assert list(table.columns) == [
        *("verdict", "rule", "points", "outside", "lost", "curves", "share", "worst.twist")
    ]
    assert table["points"].sum() == 45


def test_levels_are_those_of_points_inside_in_few_digits():
    """Scattered angles: no level lies where nothing was solved, nor cuts a point off."""
    study = two_angles(scatter={"points": 64, "seed": 7})
    found, table = judged(study, lambda own, p: abs(own["angle_deg.A"]) > 15)
    check_honest(found, table)
    assert found[0].points == table["trusted"].sum()
    inside = table[table["trusted"]]["angle_deg.A"].abs().max()
    level = float(found[0].sentence.removeprefix("trusted for |angle.A| <= ").removesuffix(" deg"))
    assert inside <= level < inside + 0.1
    assert len(f"{level:g}") <= 4
