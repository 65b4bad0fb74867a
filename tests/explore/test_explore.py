"""The live explorer without its page: settings, slider ranges, evaluation, reachable set."""

import numpy as np
import pytest

from fem.continuation.termination import TerminationKind
from fem.core.errors import InputError
from fem.explore import reachable_set as module
from fem.explore.reachable_set import LEVELS, reachable_set
from fem.explore.setting import RESOLUTIONS, Setting, SlackForAll, evaluate_setting
from fem.explore.slider_ranges import Range, slider_ranges
from fem.fe.mesh.body import RESOLUTIONS as MESHES
from fem.solving.single import solve
from fem.wording.remarks import cautions
from tests.helpers.messages import assert_states, refused

TAKEN_UP = SlackForAll(rule="taken up")
TURN = 1e-6
"""Round-off of the twist (deg) between paths with different steps."""


def setting(angles=(20, -30), slack=TAKEN_UP, pressure=12.0):
    return Setting(angles=angles, slack=slack, pressure=pressure)


def last(case):
    """Return the last row of the fast model, solved as a single case."""
    (run,) = solve(case, "fast").runs
    return run.rows[-1]


def agree(row, other, case):
    for name in ["twist_deg", "displacement_mm", "bulge_mm", "wall_stretch_max"]:
        assert row[name] == pytest.approx(other[name], abs=TURN), name
    for family in case.threads:
        name = f"tension_N.{family.name}"
        assert row[name] == pytest.approx(other[name], rel=1e-6, abs=1e-9), name


def test_a_setting_is_the_case_with_angles_slack_and_pressure_changed(make_case):
    case = setting(slack=SlackForAll(rule="given", value=3)).case(make_case(), 4)
    assert case == make_case(
        threads__0__angle="20 deg",
        threads__1__angle="-30 deg",
        threads__0__slack="3 %",
        threads__1__slack="3 %",
        pressure__end="12 kPa",
        pressure__steps=4,
    )


def test_each_family_may_keep_its_own_slack(make_case):
    base = make_case(threads__0__slack="5 %", threads__1__slack="cut at 30 deg")
    own = SlackForAll(rule="as in the case")
    assert setting(slack=own).case(base).threads[0].slack == base.threads[0].slack
    assert setting(slack=own).case(base).threads[1].slack == base.threads[1].slack


def test_an_angle_replaces_a_ring_turn(make_case):
    base = make_case(threads__0__ring_turn="90 deg")
    assert setting().case(base).threads[0].ring_turn is None


@pytest.mark.parametrize(
    ("data", "facts"),
    [
        ({"angles": "20"}, ["angles"]),
        ({"angles": [20, None]}, ["angles[2]", "None", "valid number"]),
        ({"angles": [20, "nan"]}, ["angles[2]", "nan", "finite"]),
        ({"pressure": None}, ["pressure", "None"]),
        ({"slack": {"rule": "loose"}}, ["slack.rule", "loose", "taken up"]),
        ({"slack": {"rule": "given"}}, ["slack.value", "needs a number"]),
        ({"slack": {"rule": "taken up", "value": 3}}, ["slack.value", "takes no number"]),
        ({"colour": "red"}, ["colour", "unknown key", "angles, slack, pressure"]),
    ],
)
def test_a_bad_setting_is_refused_by_field_and_value(data, facts):
    whole = {"angles": [20, -30], "slack": {"rule": "taken up"}, "pressure": 12}
    with refused(InputError, *facts) as refusal:
        Setting.parse(whole | data)
    assert not str(refusal.value).startswith("setting")


@pytest.mark.parametrize(
    ("changes", "facts"),
    [
        ({"angles": (20,)}, ["angles", "1 ", "A, B"]),
        ({"angles": (20, 95)}, ["threads[2].angle", "95 deg", "less than 90 deg"]),
        ({"pressure": 1e9}, ["pressure.end", "1000000000 kPa", "at most"]),
        (
            {"slack": SlackForAll(rule="given", value=120)},
            ['slack = "120 %"', "from 0 % to 100 %"],
        ),
        (
            {"slack": SlackForAll(rule="cut at", value=90)},
            ['slack = "cut at 90 deg"', "between -90 deg and 90 deg"],
        ),
        (
            {"angles": (60, 60), "slack": SlackForAll(rule="cut at", value=10)},
            ['family "A"', "cut at 10 deg", "at most"],
        ),
    ],
)
def test_a_setting_without_a_valid_case_is_refused_by_field_value_and_range(
    make_case, changes, facts
):
    with refused(InputError, *facts) as refusal:
        setting(**changes).case(make_case())
    assert not str(refusal.value).startswith("case")


def test_the_sliders_start_at_the_case_itself(make_case):
    found = slider_ranges(make_case())
    assert found.start == setting(pressure=15.0)
    assert found.start.case(found.base, found.steps) == make_case()
    assert found.angles == (Range(-30, 30), Range(-30, 30))
    assert found.pressure == Range(0, 30)
    assert [*found.slack] == ["taken up", "given", "cut at"]
    assert not found.notes


def test_a_value_outside_the_range_of_its_slider_is_refused(make_case):
    found = slider_ranges(make_case())
    ends = {"angles": (30, -30), "slack": SlackForAll(rule="given", value=20), "pressure": 30.0}
    found.check(setting(**ends))
    beyond = {
        "angles": ((30.1, 0), ["helix angle of A", "30.1 deg", "-30 to 30 deg"]),
        "slack": (SlackForAll(rule="given", value=21), ["slack given", "21 %", "0 to 20 %"]),
        "pressure": (30.1, ["pressure", "30.1 kPa", "0 to 30 kPa"]),
    }
    for name, (value, facts) in beyond.items():
        with refused(InputError, *facts):
            found.case(setting(**(ends | {name: value})))


def test_the_start_is_within_the_ranges_for_any_case(make_case):
    for own in ("89.9 deg", "33.3333 deg", "-85 deg"):
        found = slider_ranges(make_case(threads__0__angle=own, pressure__end="17.37 kPa"))
        found.check(found.start)


def test_a_note_says_that_friction_is_ignored(make_case):
    rough = make_case(threads__0__hold="sliding", threads__0__friction=0.3)
    (note,) = slider_ranges(rough).notes
    assert_states(note, "friction", " A")


@pytest.mark.parametrize(("own", "high"), [("30 deg", 30), ("31 deg", 45), ("89 deg", 89)])
def test_the_range_of_a_helix_angle_includes_that_of_the_case(make_case, own, high):
    ends = slider_ranges(make_case(threads__0__angle=own)).angles[0]
    assert (ends.low, ends.high) == pytest.approx((-high, high))


@pytest.mark.parametrize(
    ("rule", "start"),
    [
        ("5 %", {"rule": "given", "value": 5}),
        ("cut at -40 deg", {"rule": "cut at", "value": 40}),
        ("taken up", {"rule": "taken up", "value": None}),
    ],
)
def test_the_sliders_start_with_the_rule_that_all_families_share(make_case, rule, start):
    found = slider_ranges(make_case(threads__0__slack=rule, threads__1__slack=rule))
    assert found.start.slack.model_dump() == pytest.approx(start)


def test_families_with_different_slack_start_as_in_the_case(make_case):
    found = slider_ranges(make_case(threads__0__slack="5 %"))
    assert found.start.slack.rule == "as in the case"
    assert "as in the case" in found.slack


def test_a_case_with_another_drive_is_driven_by_pressure_up_to_that_of_its_path(make_case):
    case = make_case(volume={"added": "4 mL", "steps": 4})
    found = slider_ranges(case)
    assert found.base.volume is None
    assert found.start.pressure == pytest.approx(last(case)["pressure_kPa"], rel=5e-3)
    assert "added volume" in found.notes[0]


def test_a_note_says_that_a_move_of_the_free_end_is_ignored(make_case):
    found = slider_ranges(make_case(move={"displacement": "-2 mm", "steps": 2}))
    assert found.base.move is None
    (note,) = found.notes
    assert_states(note, "move", "free end")


def test_a_bare_tube_has_only_the_slider_of_the_pressure(make_case):
    found = slider_ranges(make_case(threads=[]))
    assert (found.angles, found.slack) == ((), {})
    assert found.start.angles == ()
    assert reachable_set(found, found.start.slack, []).points.shape == (LEVELS, 1, 1, 2)


def test_an_evaluated_setting_is_the_last_state_of_its_case(make_case):
    found = evaluate_setting(setting(), make_case())
    agree(found.row, last(setting().case(make_case())), make_case())
    assert found.rest["pressure_kPa"] == 0
    assert found.row["pressure_kPa"] == 12
    assert cautions(found.case, found.row, found.termination) == ""


def test_a_setting_without_pressure_is_at_rest(make_case):
    found = evaluate_setting(setting(pressure=0), make_case())
    assert found.row == found.rest
    assert found.row["pressure_kPa"] == 0
    assert cautions(found.case, found.row, found.termination) == ""


def test_above_the_balloon_limit_the_limit_is_returned(make_case):
    found = evaluate_setting(setting(angles=(0, 0), pressure=30), make_case())
    assert found.row["limit"]
    assert 0 < found.row["pressure_kPa"] < 30
    assert found.termination.kind is TerminationKind.LIMIT_POINT
    note = cautions(found.case, found.row, found.termination)
    pressure, bore = f"{found.row['pressure_kPa']:.4g} kPa", f"{found.row['bore_stretch']:.3f}"
    assert_states(note, "balloon", pressure, "0.0 deg", bore)


def test_cautions_name_threads_that_break_and_rubber_beyond_its_trusted_stretch(make_case):
    base = make_case(threads__0__breaking_load="0.05 N", rubber__trusted_stretch=1.2)
    found = evaluate_setting(setting(), base)
    note = cautions(found.case, found.row, found.termination)
    assert_states(note, "threads A BREAK", "EXCEEDS 1.2")


def test_threads_that_are_too_short_return_the_last_prestressed_state(make_case):
    short = SlackForAll(rule="cut at", value=0)
    locks = {"law": "Gent", "shear_modulus": "60 kPa", "limit": 0.1}
    stiff = {"threads__0__stiffness": "20 kN", "threads__1__stiffness": "20 kN"}
    found = evaluate_setting(
        setting(angles=(30, -36), slack=short), make_case(rubber=locks, **stiff)
    )
    assert found.row["pressure_kPa"] == 0
    assert found.row["displacement_mm"] < -1
    assert found.termination.kind is TerminationKind.THREADS_TOO_SHORT


@pytest.mark.parametrize(
    "slack", [TAKEN_UP, SlackForAll(rule="given", value=3), SlackForAll(rule="cut at", value=30)]
)
def test_the_reachable_set_agrees_with_single_solves(make_case, monkeypatch, slack):
    monkeypatch.setattr(module, "FINE", 5)
    found = slider_ranges(make_case())
    area = reachable_set(found, slack, found.start.angles)
    assert area.points.shape == (LEVELS, 5, 5, 2)
    for row, column in [(0, 3), (4, 0), (3, 1)]:
        angles = area.angles[0][row], area.angles[1][column]
        case = setting(angles, slack, found.pressure.high).case(found.base, LEVELS)
        (run,) = solve(case, "fast").runs
        requested = [r for r in run.rows if r["requested"]][1:]
        for number, point in enumerate(area.points[:, row, column]):
            if number < len(requested):
                assert area.pressures[number] == pytest.approx(requested[number]["pressure_kPa"])
                wanted = requested[number]["displacement_mm"], requested[number]["twist_deg"]
                assert point == pytest.approx(wanted, abs=1e-5)
            else:
                assert np.isnan(point).all()


def test_opposite_angles_give_the_mirror_image_of_the_set(make_case, monkeypatch):
    monkeypatch.setattr(module, "FINE", 5)
    found = slider_ranges(make_case())
    points = reachable_set(found, TAKEN_UP, found.start.angles).points
    mirrored = points[:, ::-1, ::-1] * [1, -1]
    assert np.isfinite(points[0]).all()
    assert points == pytest.approx(mirrored, abs=1e-6, nan_ok=True)


def test_a_third_family_keeps_its_angle(make_case, monkeypatch):
    monkeypatch.setattr(module, "FINE", 3)
    third = make_case().data["threads"][0] | {"name": "C"}
    found = slider_ranges(make_case(threads=[*make_case().data["threads"], third]))
    area = reachable_set(found, TAKEN_UP, [0, 0, 17])
    case = Setting(angles=(-30, 30, 17), slack=TAKEN_UP, pressure=7.5).case(found.base)
    assert area.points[0, 0, 2, 1] == pytest.approx(last(case)["twist_deg"], abs=1e-5)


def test_cases_solved_one_by_one_use_the_coarse_grid(make_case, monkeypatch):
    monkeypatch.setattr(module, "FINE", 5)
    monkeypatch.setattr(module, "COARSE", 2)
    monkeypatch.setattr(module, "MAX_SINGLE", 3)
    found = slider_ranges(make_case(end={"force": "0.1 N"}))
    assert reachable_set(found, TAKEN_UP, found.start.angles).points.shape == (LEVELS, 2, 2, 2)


def test_settings_of_the_grid_without_a_valid_case_are_nan(make_case, monkeypatch):
    monkeypatch.setattr(module, "FINE", 3)
    found = slider_ranges(make_case(threads__0__angle="60 deg"))
    area = reachable_set(found, SlackForAll(rule="cut at", value=10), found.start.angles)
    assert np.isnan(area.points[:, 0]).all()
    assert np.isfinite(area.points[0, 1, 1]).all()


def test_the_meshes_of_the_explorer_are_those_of_the_fe_model():
    assert tuple(MESHES) == RESOLUTIONS
