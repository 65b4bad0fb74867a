"""Curves with limits, fixed ends, moves and error bounds."""

import numpy as np
import pytest
from matplotlib.text import Text

from fem.plots.curves import curves_figure
from fem.plots.panels import path_sections
from fem.solving.single import solve
from fem.wording.run_sections import drive_rows, extra_rows, move_rows
from fem.wording.termination import explanation
from tests.helpers.pictures import check_lettering

MOVE = {"displacement": "-3 mm", "steps": 4}
COARSE = "1x1x6"


@pytest.fixture(scope="module")
def ballooned(make_case):
    return solve(make_case(threads=[], pressure={"end": "20 kPa", "steps": 5}), "fast")


@pytest.fixture(scope="module")
def pushed(make_case):
    """A syringe takes the tube through its limit point."""
    return solve(make_case(threads=[], volume={"added": "16 mL", "steps": 16}), "fast")


@pytest.fixture(scope="module")
def pulled(make_case):
    return solve(make_case(move=MOVE), "fast")


def drawn(result):
    return curves_figure(result).figure()


def labels(figure):
    return [axes.get_ylabel() for axes in figure.axes]


def visible_text(figure):
    return "\n".join(text.get_text() for text in figure.findobj(Text) if text.get_visible())


def curve(axes):
    (line,) = (line for line in axes.lines if line.get_linestyle() == "--" or line.is_dashed())
    return line.get_xydata()


def marked(axes, marker):
    points = [line.get_xydata() for line in axes.lines if line.get_marker() == marker]
    return np.concatenate(points).tolist()


# ------------------------------------------------------------------------------ parts of a path


def test_a_path_that_ends_at_its_limit_has_extra_rows_beyond(ballooned):
    (run,) = ballooned.runs
    limit = next(row for row in run.rows if row["limit"])
    assert run.path[-1] is limit
    assert [row for row in run.rows if run.beyond(row)] == run.rows[limit["step"] + 1 :]
    assert len(run.requested) + len(extra_rows(run)) == len(run.rows)
    assert move_rows(run, ballooned.case) == []


def test_a_path_through_its_limit_has_no_rows_beyond(pushed):
    (run,) = pushed.runs
    assert run.reached and run.limit_row
    assert run.path == run.rows
    assert len(extra_rows(run)) == 1


def test_drive_and_move_share_the_row_between_them(pulled):
    (run,) = pulled.runs
    drive, move = drive_rows(run, pulled.case), move_rows(run, pulled.case)
    assert (len(drive), len(move)) == (6, 5)
    assert drive[-1] is move[0]
    assert move[-1]["displacement_mm"] == pytest.approx(-3)


# --------------------------------------------------------------------------------------- curves


def test_a_curve_goes_through_its_limit_point(ballooned):
    figure = drawn(ballooned)
    (run,) = ballooned.runs
    axes = figure.axes[1]
    columns = ("pressure_kPa", "displacement_mm")
    assert curve(axes).tolist() == [[row[name] for name in columns] for row in run.rows]
    limit = next([row[name] for name in columns] for row in run.rows if row["limit"])
    assert marked(axes, "v") == [limit]
    assert len(marked(axes, "x")) == sum(run.beyond(row) for row in run.rows)
    assert axes.get_xlim()[1] >= 20  # the requested pressure
    assert "fast model: balloon limit, 11.8 kPa" in visible_text(figure)
    assert explanation(run.termination) in visible_text(figure)
    assert "stops at" not in visible_text(figure)


def test_a_curve_driven_by_volume_turns_back(pushed):
    figure = drawn(pushed)
    pressure = curve(figure.axes[1])[:, 0]
    assert pressure.argmax() < len(pressure) - 1
    assert figure.axes[1].get_xlim()[1] == pytest.approx(1.03 * pressure.max())
    assert "unstable" not in visible_text(figure)  # stable at fixed volume


@pytest.mark.parametrize(
    ("end", "expected"),
    [
        ({}, ["twist [deg]", "displacement [mm]"]),
        ({"axial": "held"}, ["twist [deg]", "end force [N]"]),
        ({"axial": "held", "twist": "held"}, ["end torque [N mm]", "end force [N]"]),
    ],
)
def test_fixed_ends_show_their_loads(make_case, end, expected):
    figure = drawn(solve(make_case(end=end), "fast"))
    assert labels(figure) == [*expected, "bulge [mm]"]
    assert ("positive pulls" in visible_text(figure)) == ("axial" in end)
    check_lettering(figure)


@pytest.mark.parametrize(
    ("end", "expected"),
    [
        ({"axial_spring": "1 N/mm"}, ["end_force_N"]),
        ({"twist_spring": "50 N mm/rad", "axial": "held"}, ["end_torque_Nmm"]),
        (
            {"twist_spring": "50 N mm/rad", "axial_spring": "1 N/mm"},
            ["end_torque_Nmm", "end_force_N"],
        ),
    ],
)
def test_sprung_ends_show_the_loads_of_their_springs(make_case, end, expected):
    solved = solve(make_case(end=end), "fast")
    figure = drawn(solved)
    assert [curve(axes)[:, 1].tolist() for axes in figure.axes[3:]] == [
        [row[name] for row in solved.rows] for name in expected
    ]
    assert len({axes.get_position().width.round(9) for axes in figure.axes}) == 1
    assert path_sections(solved.case, solved.runs)[1].heading in visible_text(figure)
    check_lettering(figure)


@pytest.mark.parametrize(
    ("changes", "x", "ys"),
    [
        ({"move": MOVE}, "displacement [mm]", ["end force [N]", "twist [deg]", "bulge [mm]"]),
        (
            {"move": {"twist": "0 deg", "steps": 3}, "end": {"axial": "held"}},
            "twist [deg]",
            ["end torque [N mm]", "end force [N]", "bulge [mm]"],
        ),
        (
            {"move": MOVE, "gas": {"mass": "1 mg", "steps": 2}},
            "displacement [mm]",
            ["end force [N]", "twist [deg]", "pressure [kPa]"],
        ),
    ],
)
def test_a_move_has_its_own_panels(make_case, changes, x, ys):
    solved = solve(make_case(**changes), "fast")
    figure = drawn(solved)
    assert labels(figure)[3:] == ys
    assert {axes.get_xlabel() for axes in figure.axes[3:]} == {x}
    (run,) = solved.runs
    assert len(curve(figure.axes[3])) == len(move_rows(run, solved.case))
    heading = path_sections(solved.case, solved.runs)[-1].heading
    assert heading.split()[-1] in visible_text(figure)
    assert ("to \N{MINUS SIGN}3 mm" in visible_text(figure)) == (changes["move"] is MOVE)
    check_lettering(figure)


def test_a_move_that_is_not_reached_has_no_panels(make_case):
    case = make_case(threads=[], pressure={"end": "20 kPa", "steps": 5}, move=MOVE)
    solved = solve(case, "fast")
    assert len(path_sections(case, solved.runs)) == 1
    assert len(drawn(solved).axes) == 3


def test_known_error_bounds_are_drawn(make_case):
    case = make_case(pressure__steps=1, threads__0__hold="sliding", threads__0__friction=0.2)
    solved = solve(case, "fe", "1x1x4", mesh_error=True)
    figure = drawn(solved)
    row = solved.runs[0].rows[-1]
    dotted = [line for line in figure.axes[0].lines if line.get_linestyle() == ":"]
    assert [line.get_ydata()[-1] for line in dotted] == [row["twist_deg.if_bonded"]]
    (bars,) = figure.axes[0].containers
    (segments,) = bars.lines[2]
    assert np.ptp(segments.get_segments()[-1][:, 1]) == pytest.approx(
        2 * row["twist_deg.mesh_error"]
    )
    assert "± mesh error" in visible_text(figure)
    assert "threads bonded" in visible_text(figure)
    check_lettering(figure)


def test_lettering_with_two_limits(make_case):
    case = make_case(threads=[], pressure={"end": "20 kPa", "steps": 5})
    check_lettering(drawn(solve(case, ["fe", "fast"], COARSE)))
