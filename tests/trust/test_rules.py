"""Rules on tables whose true border is known; no rule that is violated is called trusted."""

import numpy as np
import pytest

from fem.trust import parse, rule_table, rules, trust_map
from fem.trust.box import ABOVE, BELOW, Condition, describe, rounded
from fem.trust.features import Feature
from fem.trust.rules import MIXED, NOT_TRUSTED, TRUSTED
from tests.helpers.trust_toys import make_study, of_angles, tabulated, two_angles

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
    study_result = tabulated(
        study,
        lambda own, p: {"twist_deg": p},
        lambda own, p: {"twist_deg": 10.0 if wrong(own, p) else 0.5},
        ends,
    )
    tolerances = parse("twist 3 deg", study_result)
    table = trust_map(study_result, tolerances)
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
    """Scattered angles: no level lies where nothing was solved, and no point is lost."""
    study = two_angles(scatter={"points": 64, "seed": 7})
    found, table = judged(study, lambda own, p: abs(own["angle_deg.A"]) > 15)
    check_honest(found, table)
    assert found[0].points == table["trusted"].sum()
    inside = table[table["trusted"]]["angle_deg.A"].abs().max()
    level = float(found[0].sentence.removeprefix("trusted for |angle.A| <= ").removesuffix(" deg"))
    assert inside - 0.01 < level <= inside
    assert len(f"{level:g}") <= 5


@pytest.mark.parametrize(
    ("steps", "border", "first", "last"),
    [
        (4, 12.0, "pressure <= 11.25 kPa", "pressure >= 15 kPa"),
        (9, 5.5, "pressure <= 5 kPa", "pressure >= 6.667 kPa"),  # 20/3 is 6.6667
        (9, 6.9, "pressure <= 6.666 kPa", "pressure >= 8.334 kPa"),  # 25/3 is 8.3333
    ],
)
def test_levels_are_rounded_inwards(steps, border, first, last):
    found, table = judged(two_angles(3, steps=steps), lambda own, p: p > border)
    check_honest(found, table)
    assert [r.sentence for r in found] == [f"trusted for {first}", f"not for {last}"]
    assert sum(rule.points for rule in found) == len(table)


def test_ends_of_a_range_that_lie_close_do_not_cross():
    feature = Feature("x", "mm", np.array([1.0]))
    third, more = 50 / 3, 50 / 3 + 2e-5
    for top, words in ((third, "x = 16.67 mm"), (more, "x from 16.66667 to 16.66668 mm")):
        box = (Condition(0, ABOVE, third), Condition(0, BELOW, top))
        assert describe(box, [feature]) == words
    assert rounded(-10 / 3, BELOW) == -3.334 and rounded(-10 / 3, ABOVE) == -3.333
    assert rounded(3e-15, BELOW) == 0.0


def test_no_rule_rests_on_a_sliver():
    """Two of 49 curves are wrong, one the image of the other in the mirror: that is no rule."""

    def corner(own, p):
        return abs(own["angle_deg.A"] + own["angle_deg.B"]) > 55 and p > 4

    found, table = judged(two_angles(7, steps=20), corner)
    check_honest(found, table)
    assert (~table["trusted"]).sum() > 0.02 * len(table)  # enough points for a sentence
    assert not [rule for rule in found if rule.verdict == NOT_TRUSTED]
    kept, _ = judged(two_angles(7, steps=20), lambda own, p: abs(own["angle_deg.A"]) > 25)
    assert [rule.curves for rule in kept if rule.verdict == NOT_TRUSTED] == [14]


def test_images_of_a_curve_do_not_make_a_rule():
    """Six curves near two corners are images of but two."""

    def wrong(own, p):
        a, b = own["angle_deg.A"], own["angle_deg.B"]
        return abs(a - b) > 45  # (30, -30) and (30, -20), and the same in the mirror or exchanged

    found, table = judged(two_angles(7), wrong)
    assert table[~table["trusted"]]["case"].nunique() == 6
    assert not [rule for rule in found if rule.verdict == NOT_TRUSTED]


def test_all_curves_with_a_text_make_a_rule_however_few():
    """Where texts alone vary there is nothing in between, so nothing is claimed of it."""
    vary = [{**SLACK, "values": ["taken up", "2 %", "cut at 30 deg"]}]
    found, table = judged(make_study(vary), lambda own, p: own["slack.A"] == "2 %" and p > 4)
    check_honest(found, table)
    assert 'not for pressure >= 6 kPa, slack.A, slack.B "2 %"' in [r.sentence for r in found]
