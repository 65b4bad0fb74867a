"""Rules on made-up tables with known boundaries; no rule called trusted is violated."""

import numpy as np
import pytest

from fem.trust import parse, rule_table, rules, trust_map
from fem.trust.box import ABOVE, BELOW, Condition, describe, rounded
from fem.trust.features import Feature
from fem.trust.rules import MIXED, NOT_TRUSTED, TRUSTED
from tests.helpers.messages import assert_states
from tests.helpers.trust_toys import make_study, of_angles, tabulated, two_angles

SLACK = {
    "field": "threads.A.slack",
    "same": ["threads.B.slack"],
    "values": ["taken up", "cut at 30 deg"],
}
GRID = [
    {"field": f"threads.{n}.angle", "from": "-30 deg", "to": "30 deg", "count": 7} for n in "AB"
]


def rules_of(study, wrong, ends=None):
    """Return rules and map of a study whose twist has an error of 10 deg where `wrong` is true."""
    study_result = tabulated(
        study,
        lambda own, p: {"twist_deg": p},
        lambda own, p: {"twist_deg": 10.0 if wrong(own, p) else 0.5},
        ends,
    )
    tolerances = parse("twist 3 deg", study_result)
    table = trust_map(study_result, tolerances)
    return rules(table, study, tolerances), table


def check_rules(found, table):
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

    found, table = rules_of(make_study([SLACK, *GRID]), wrong)
    check_rules(found, table)
    first, *others = found
    assert first.sentence == (
        'trusted for pressure <= 9 kPa, slack.A, slack.B "taken up", |angle.A|, |angle.B| <= 20 deg'
    )
    assert first.points == 25 * 3 == table["trusted"].sum()
    assert first.worst["twist"] == pytest.approx(0.5)
    assert first.curves == 25
    assert not [rule for rule in others if rule.verdict == TRUSTED]
    assert sum(rule.points for rule in others if rule.verdict == MIXED) < len(table) / 4


def test_a_rule_in_the_sum_of_the_angles_is_found():
    found, table = rules_of(
        two_angles(7), of_angles(lambda a, b, p: bool(abs(np.degrees(a + b)) > 11))
    )
    check_rules(found, table)
    assert found[0].sentence == "trusted for |angle.A + angle.B| <= 10 deg"
    assert found[0].points == table["trusted"].sum()
    assert found[1].sentence == "not trusted for |angle.A + angle.B| >= 20 deg"
    assert len(found) == 2


def test_a_rule_in_the_slenderness_of_the_tube_is_found():
    vary = [{"field": "tube.length", "values": ["30 mm", "45 mm", "60 mm", "90 mm"]}]
    vary.append({"field": "tube.wall", "values": ["1 mm", "1.5 mm", "2 mm"]})

    def wrong(own, p):
        return own["tube_length_mm"] / (5 + own["tube_wall_mm"]) < 7.4

    found, table = rules_of(make_study(vary), wrong)
    check_rules(found, table)
    # 45 mm over 6 mm is 7.5; 45 mm over 6.5 mm is 6.92
    assert found[0].sentence == "trusted for length / outer radius >= 7.5"
    assert found[0].points == table["trusted"].sum()


def test_a_study_that_is_all_within_or_all_outside():
    found, _ = rules_of(two_angles(3), lambda own, p: False)
    assert [(r.verdict, r.conditions, r.share) for r in found] == [(TRUSTED, "", 1.0)]
    found, _ = rules_of(two_angles(3), lambda own, p: True)
    assert [(r.verdict, r.conditions, r.share) for r in found] == [(NOT_TRUSTED, "", 1.0)]


def test_points_that_one_model_does_not_reach_are_outside():
    found, table = rules_of(
        two_angles(5), lambda own, p: False, lambda model, own: 3 if model == "fast" else 5
    )
    check_rules(found, table)
    assert found[0].sentence == "trusted for pressure <= 9 kPa"
    assert found[1].sentence == "not trusted for pressure >= 12 kPa"
    assert found[1].not_reached == found[1].points == 50
    assert np.isnan(found[1].worst["twist"])


def test_random_errors_give_no_rule():
    rng = np.random.default_rng(3)
    errors = {}

    def wrong(own, p):
        return errors.setdefault((*own.values(), p), rng.random() < 0.5)

    found, table = rules_of(two_angles(7), wrong)
    check_rules(found, table)
    rest = [rule for rule in found if rule.verdict == MIXED]
    assert len(rest) == 1
    assert_states(rest[0].sentence, str(rest[0].outside), str(rest[0].points))
    assert rest[0].share > 0.5


def test_rules_as_a_table():
    found, _ = rules_of(two_angles(3), lambda own, p: p > 10)
    table = rule_table(found)
    assert list(table.columns) == [
        *("verdict", "rule", "points", "outside", "not_reached", "curves", "share", "worst.twist")
    ]
    assert table["points"].sum() == 45


def test_levels_are_those_of_points_inside_with_few_digits():
    """Scattered angles: no level is beyond the points inside, and no point is omitted."""
    study = two_angles(scatter={"points": 64, "seed": 7})
    found, table = rules_of(study, lambda own, p: abs(own["angle_deg.A"]) > 15)
    check_rules(found, table)
    assert found[0].points == table["trusted"].sum()
    inside = table[table["trusted"]]["angle_deg.A"].abs().max()
    level = float(found[0].sentence.removeprefix("trusted for |angle.A| <= ").removesuffix(" deg"))
    assert inside - 0.01 < level <= inside
    assert len(f"{level:g}") <= 5


@pytest.mark.parametrize(
    ("steps", "boundary", "first", "last"),
    [
        (4, 12.0, "pressure <= 11.25 kPa", "pressure >= 15 kPa"),
        (9, 5.5, "pressure <= 5 kPa", "pressure >= 6.667 kPa"),  # 20/3 is 6.6667
        (9, 6.9, "pressure <= 6.666 kPa", "pressure >= 8.334 kPa"),  # 25/3 is 8.3333
    ],
)
def test_levels_are_rounded_inwards(steps, boundary, first, last):
    found, table = rules_of(two_angles(3, steps=steps), lambda own, p: p > boundary)
    check_rules(found, table)
    assert [r.sentence for r in found] == [f"trusted for {first}", f"not trusted for {last}"]
    assert sum(rule.points for rule in found) == len(table)


def test_ends_of_a_range_that_lie_close_do_not_cross():
    feature = Feature("x", "mm", np.array([1.0]))
    third, more = 50 / 3, 50 / 3 + 2e-5
    for top, text in ((third, "x = 16.67 mm"), (more, "x from 16.66667 to 16.66668 mm")):
        box = (Condition(0, ABOVE, third), Condition(0, BELOW, top))
        assert describe(box, [feature]) == text
    assert rounded(-10 / 3, BELOW) == -3.334 and rounded(-10 / 3, ABOVE) == -3.333
    assert rounded(3e-15, BELOW) == 0.0


def test_two_curves_do_not_make_a_rule():
    """Two of 49 curves are wrong, and one is the mirror image of the other."""

    def corner(own, p):
        return abs(own["angle_deg.A"] + own["angle_deg.B"]) > 55 and p > 4

    found, table = rules_of(two_angles(7, steps=20), corner)
    check_rules(found, table)
    assert (~table["trusted"]).sum() > 0.02 * len(table)  # enough points for a rule
    assert not [rule for rule in found if rule.verdict == NOT_TRUSTED]
    kept, _ = rules_of(two_angles(7, steps=20), lambda own, p: abs(own["angle_deg.A"]) > 25)
    assert [rule.curves for rule in kept if rule.verdict == NOT_TRUSTED] == [14]


def test_symmetric_images_of_a_curve_do_not_make_a_rule():
    """Six curves near two corners are symmetric images of two."""

    def wrong(own, p):
        a, b = own["angle_deg.A"], own["angle_deg.B"]
        return abs(a - b) > 45  # (30, -30) and (30, -20), and the same in the mirror or exchanged

    found, table = rules_of(two_angles(7), wrong)
    assert table[~table["trusted"]]["case"].nunique() == 6
    assert not [rule for rule in found if rule.verdict == NOT_TRUSTED]


def test_all_curves_with_one_text_make_a_rule_even_if_they_are_few():
    """If only texts vary, there are no settings between those of the study."""
    vary = [{**SLACK, "values": ["taken up", "2 %", "cut at 30 deg"]}]
    found, table = rules_of(make_study(vary), lambda own, p: own["slack.A"] == "2 %" and p > 4)
    check_rules(found, table)
    assert 'not trusted for pressure >= 6 kPa, slack.A, slack.B "2 %"' in [
        r.sentence for r in found
    ]
