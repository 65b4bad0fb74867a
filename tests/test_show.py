"""The pictures: what a program can tell of them without eyes."""

import math
import re
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
import pyvista
from matplotlib import rcParams
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from PIL import Image

import fem.show.render as rendering
from fem.case import Case
from fem.companion import companions
from fem.result import Result
from fem.run import MODELS, solve
from fem.show.console import print_result, progress
from fem.show.curves import draw_curves, plot_curves
from fem.show.page import compose
from fem.show.render import ELEVATION, Layer, View, project, render
from fem.show.scene import build_layers, draw_shape
from fem.show.solids import FRONT, index_marks, outer_wall, thread_dashes, thread_tubes
from fem.show.stage import figures, set_scene
from fem.show.style import DPI

COARSE = "1x1x6"
LONG_TITLE = "A title that goes on and on, with $5 in it, " * 10


@pytest.fixture(scope="module")
def result(make_case):
    return solve(make_case(pressure__steps=2), resolution=COARSE)


@pytest.fixture(scope="module")
def mirrored(make_case):
    angles = {"threads__0__angle": "-20 deg", "threads__1__angle": "30 deg"}
    return solve(make_case(pressure__steps=2, **angles), ["fe"], COARSE)


@pytest.fixture(scope="module")
def bare(make_case):
    return solve(make_case(threads=[], pressure__end="6 kPa"), ["fe"], COARSE)


def cut(run, steps, **changes):
    """Return the run as if it had ended after so many steps."""
    reason = "no equilibrium was found beyond 1 kPa on the way to 15 kPa"
    done = {"rows": run.rows[: steps + 1], "shapes": run.shapes[: steps + 1]}
    return replace(run, **done, reached=False, reason=reason, **changes)


def blank(result):
    """Return the page of the 3D picture with nothing rendered on it."""
    scene = set_scene(result)
    return compose(scene, np.full((2, 2, 3), 255, dtype=np.uint8)), scene


def texts(figure):
    return [text for text in figure.findobj(Text) if text.get_text().strip() and text.get_visible()]


def words(figure):
    return "\n".join(text.get_text() for text in texts(figure))


def titled(result, title):
    return replace(result, case=result.case.changed(title=title))


def check_lettering(figure):
    """No text may leave the page or lie on another."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    page = figure.bbox
    shown = [axis for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)]
    hidden = [axes for axes in figure.axes if not axes.axison]
    ticks = {
        id(label)
        for axis in shown
        for label in axis.get_ticklabels(which="both")
        if axis.axes in hidden
        or not min(axis.get_view_interval()) <= _place(label, axis) <= max(axis.get_view_interval())
    }
    boxes = [
        (text.get_text(), text.get_window_extent(canvas.get_renderer()))
        for text in texts(figure)
        if id(text) not in ticks
    ]
    assert boxes
    for text, box in boxes:
        inside = page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1
        assert inside, f"{text!r} leaves the page"
    for (one, first), (other, second) in combinations(boxes, 2):
        assert not first.padded(-1).overlaps(second.padded(-1)), f"{one!r} lies on {other!r}"


def _place(label, axis):
    return label.get_position()[0 if axis.axis_name == "x" else 1]


# ------------------------------------------------------------------------------------ curves


def test_curves_are_the_steps_of_both_models(result):
    figure = plot_curves(result)
    columns = ["twist_deg", "displacement_mm", "bulge_mm"]
    labels = ["twist [deg]", "displacement [mm]", "bulge [mm]"]
    for axes, column, label in zip(figure.axes, columns, labels, strict=True):
        assert axes.get_ylabel() == label
        assert axes.get_xlabel() == "pressure [kPa]"
        curves = [line for line in axes.lines if line.get_linestyle() != "None"]
        for run in result.runs:
            expected = [(row["pressure_kPa"], row[column]) for row in run.rows]
            assert any(np.array_equal(line.get_xydata(), expected) for line in curves), (
                f"{run.model}: {column}"
            )


def test_models_differ_by_more_than_colour(result):
    fe, fast = plot_curves(result).legends[0].get_lines()
    assert fe.get_color() != fast.get_color()
    assert fe.get_linestyle() != fast.get_linestyle()
    assert fe.get_marker() != fast.get_marker()


def test_curves_file(result, tmp_path):
    before = dict(rcParams)
    draw_curves(result, tmp_path / "curves.png")
    assert dict(rcParams) == before
    with Image.open(tmp_path / "curves.png") as image:
        assert image.info["dpi"] == pytest.approx((DPI, DPI), rel=1e-3)
        assert image.size[0] == pytest.approx(plot_curves(result).get_figwidth() * DPI, abs=1)
        assert np.ptp(np.asarray(image.convert("L"))) > 200


def test_an_early_end_is_said_and_marked(result):
    stopped = Result(result.case, [cut(result.runs[0], 1), result.runs[1]])
    figure = plot_curves(stopped)
    assert "FE model: no equilibrium was found beyond 1 kPa" in words(figure)
    assert "FE model stops at 7.5 kPa" in words(figure)
    assert "fast model stops" not in words(figure)
    assert all(axes.get_xlim()[1] >= 15 for axes in figure.axes), "the demanded pressure is shown"


def test_unstable_steps_are_crosses(result):
    run = result.runs[0]
    rows = [dict(row, stable=row["step"] < 2) for row in run.rows]
    figure = plot_curves(Result(result.case, [replace(run, rows=rows)]))
    crosses = [line for line in figure.axes[0].lines if line.get_marker() == "x"]
    points = np.concatenate([line.get_xydata() for line in crosses])
    assert points.tolist() == [[15.0, rows[2]["twist_deg"]]]
    assert "unstable" in words(figure)
    assert "unstable" not in words(plot_curves(result))


def test_a_curve_of_round_off_is_drawn_flat(bare):
    assert plot_curves(bare).axes[0].get_ylim() == (-1, 1)


@pytest.mark.parametrize("title", ["Plain", " ", LONG_TITLE, "W" * 300])
@pytest.mark.parametrize("steps", [2, 0])
def test_lettering_of_curves(result, title, steps):
    runs = result.runs if steps else [cut(run, 0) for run in result.runs]
    check_lettering(plot_curves(titled(Result(result.case, runs), title)))


# ---------------------------------------------------------------------------------- 3D picture


def test_shape_file(result, tmp_path):
    draw_shape(result, tmp_path / "shape.png")
    width, height = set_scene(result).layout.page
    with Image.open(tmp_path / "shape.png") as image:
        assert image.info["dpi"] == pytest.approx((DPI, DPI), rel=1e-3)
        assert image.size == pytest.approx((width * DPI, height * DPI), abs=1)


def test_captions(result):
    figure, _ = blank(result)
    row = result.runs[0].rows[-1]
    said = words(figure)
    assert "at rest" in said
    assert f"at 15 kPa: twist {row['twist_deg']:.3g}°" in said
    assert f"displacement \N{MINUS SIGN}{-row['displacement_mm']:.3g} mm" in said
    assert f"bulge {row['bulge_mm']:.3g} mm" in said
    assert "60 mm" in said, "the length at rest"
    assert "A, +20°, 12" in said
    assert "B, \N{MINUS SIGN}30°, 12" in said


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (22.68, "22.7"),
        (-5.306, "\N{MINUS SIGN}5.31"),
        (-1e-9, "0"),
        (1234.5, "1234"),
        (999.7, "1000"),
    ],
)
def test_figures(number, text):
    assert figures(number) == text


def test_colour_bar_spans_the_tensions(result):
    figure, scene = blank(result)
    bars = [axes for axes in figure.axes if axes.get_ylabel() == "thread tension [N]"]
    greatest = max(family.tension.max() for family in result.shapes[-1].threads)
    assert len(bars) == 1
    assert bars[0].get_ylim() == (0, greatest)
    assert scene.colours.get_clim() == (0, greatest)


def test_threads_have_the_colours_of_the_bar(result):
    scene = set_scene(result)
    meshes = [layer.mesh for layer in build_layers(scene) if "colour" in layer.mesh.cell_data]
    assert len(meshes) == 1, "at rest no thread has a colour"
    (mesh,) = meshes
    lines = scene.lines[1]
    taut = lines.tension[~scene.slack(1)]
    expected = scene.colours.to_rgba(taut[mesh.cell_data["link"]], bytes=True)[:, :3]
    assert np.array_equal(mesh.cell_data["colour"], expected)
    assert set(mesh.cell_data["link"]) == set(range(len(taut)))


def test_threads_lie_on_the_wall(result):
    scene = set_scene(result)
    thick = 0.1
    wall = outer_wall(scene.poses[0].shape, result.case.tube)
    assert np.hypot(*wall.points[:, :2].T) == pytest.approx(6.5, rel=2e-3)
    tubes = thread_tubes(scene.lines[0], thick)
    from_axis = np.hypot(*tubes.points[:, :2].T)
    assert from_axis.min() > 6.5 - 0.02
    assert from_axis.max() < 6.5 + 2 * thick + 0.02


def test_dashes_cover_half_of_a_thread(result):
    lines = set_scene(result).lines[0]
    full, dashed = thread_tubes(lines, 0.05), thread_dashes(lines, 0.05, 1.0)
    assert dashed.area / full.area == pytest.approx(0.5, abs=0.05)


def test_threads_without_tension_are_explained(result, bare):
    assert "no tension" in words(blank(result)[0])
    assert "no threads" in words(blank(bare)[0])
    assert "tension" not in words(blank(bare)[0])


def test_a_run_that_ended_at_rest_is_one_tube_without_colour_bar(result):
    figure, scene = blank(Result(result.case, [cut(result.runs[0], 0)]))
    assert len(scene.poses) == 1
    assert scene.greatest == 0
    assert "thread tension" not in words(figure)
    assert "Stopped early: no equilibrium" in words(figure)


@pytest.mark.parametrize("twist", [0.4, -0.4, 7.0])
def test_index_marks(result, twist):
    base, free = (
        np.array(mark.center) for mark in index_marks(result.case.tube, height=50.0, twist=twist)
    )
    turned = math.atan2(free[1], free[0]) - math.atan2(base[1], base[0])
    assert math.remainder(turned - twist, 2 * math.pi) == pytest.approx(0, abs=1e-6)
    assert base[:2] / np.hypot(*base[:2]) == pytest.approx([math.cos(FRONT), math.sin(FRONT)])
    assert base[2] < 0 < 50 < free[2]


def test_the_mirrored_case_turns_the_other_way(result, mirrored):
    def arrow(result):
        figure, scene = blank(result)
        (line,) = figure.findobj(lambda artist: artist.get_gid() == "turn")
        return line.get_xydata() - [scene.layout.centres[1], 0]

    assert arrow(result)[-1, 0] > 0, "a positive twist goes to the right in front"
    assert arrow(mirrored) * [-1, 1] == pytest.approx(arrow(result), abs=1e-4)


def test_the_mirrored_case_is_the_mirrored_picture(result, mirrored):
    """Seen in the marks on the free end plates, which nothing hides."""

    def places(result):
        scene = set_scene(result)
        size = tuple(pixels // 4 for pixels in scene.layout.pixels)
        red, green, blue = render(build_layers(scene), scene.layout.view, size).T.astype(int)
        column, row = np.nonzero((red > 60) & (red > 3 * green) & (red > 3 * blue))
        across = column / size[0] * scene.layout.view.width - scene.layout.centres[1]
        top = row < size[1] / 2
        return across[top & (np.abs(across) < 10)]

    assert places(result).mean() > 0.5
    assert places(mirrored).mean() == pytest.approx(-places(result).mean(), abs=0.3)


def test_lettering_lies_above_the_solids(result, tmp_path):
    """Dimension lines and names would vanish under the rendered picture."""
    draw_shape(result, tmp_path / "shape.png")
    layout = set_scene(result).layout
    pixels = np.asarray(Image.open(tmp_path / "shape.png").convert("L"))
    left = round(0.35 * DPI)  # just inside the scale bar, which begins at 0.3 in
    row = len(pixels) - round((layout.below + 0.1) * DPI)
    assert pixels[row - 4 : row + 5, left].min() < 80


def test_scale_bar_is_true(result):
    figure, _ = blank(result)
    (bar,) = figure.findobj(lambda artist: artist.get_gid() == "scale")
    length = np.ptp(bar.get_xdata())
    assert length == pytest.approx(10)
    assert "10 mm" in words(figure)


FAMILIES = [
    {"name": name, "count": 6, "angle": angle, "stiffness": "200 N"}
    for name, angle in [("left", "30 deg"), ("a-name-of-just_thirty-two_letters"[:32], "0 deg")]
]


@pytest.mark.parametrize("length", ["4 mm", "160 mm"])
@pytest.mark.parametrize("families", [0, 2, 7])
def test_lettering_of_shape(make_case, length, families):
    threads = [
        dict(FAMILIES[number % 2], name=f"{FAMILIES[number % 2]['name'][:30]}_{number}")
        for number in range(families)
    ]
    case = make_case(
        title=LONG_TITLE,
        tube__length=length,
        threads=threads,
        pressure={"end": "0.5 kPa", "steps": 1},
    )
    solved = solve(case, ["fe"], "1x1x2")
    check_lettering(blank(Result(case, [cut(solved.runs[0], 1)]))[0])


# ----------------------------------------------------------------------------------- renderer


def test_projection_and_rendering_agree():
    box = pyvista.Box((-3, 5, 0, 0.01, 2, 9))
    view = View(-10, 10, -5, 15)
    image = render([Layer(box, (0, 0, 0), ambient=1.0)], view, (400, 400))
    row, column = np.nonzero(image.min(axis=2) < 128)
    pixel = 20 / 400
    low, high = project(np.array([[-3, 0, 2], [5, 0, 9]]))
    assert high[1] == pytest.approx(9 * math.cos(ELEVATION))
    assert view.left + column.min() * pixel == pytest.approx(low[0], abs=pixel)
    assert view.left + (column.max() + 1) * pixel == pytest.approx(high[0], abs=pixel)
    assert view.top - row.min() * pixel == pytest.approx(high[1], abs=2 * pixel)
    assert view.top - (row.max() + 1) * pixel == pytest.approx(low[1], abs=2 * pixel)
    assert image[0, 0].tolist() == [255, 255, 255]


def test_rendering_without_a_driver_is_an_error_not_a_crash(monkeypatch):
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    monkeypatch.setattr(rendering, "NO_DRIVER", vtkRenderWindow().GetClassName())
    monkeypatch.setattr(rendering, "_loads", lambda library: False)
    with pytest.raises(OSError, match="graphics driver"):
        render([], View(0, 1, 0, 1), (10, 10))


# ------------------------------------------------------------------------------------ console


@pytest.fixture
def say(tmp_path, monkeypatch, capsys):
    """Return a function that prints a result on a terminal of 80 columns, line by line."""
    monkeypatch.setenv("COLUMNS", "80")

    def print_it(result):
        print_result(result, tmp_path)
        lines = capsys.readouterr().out.splitlines()
        assert all(len(line) <= 80 for line in lines[:-1]), "the last names the folder"
        return lines

    return print_it


def one(result, **changes):
    """Return the result of one run with some of its fields changed."""
    return replace(result, runs=[replace(result.runs[0], **changes)])


def cells(lines, first):
    """Return the cells of the rows that begin with `first`."""
    return [line.split() for line in lines if line.split()[:1] == [first]]


def flat(lines):
    """Return the lines as one, as they were before they were broken."""
    return " ".join(" ".join(lines).split())


def test_models_stand_side_by_side_whatever_their_steps(result, say):
    lines = say(Result(result.case, [cut(result.runs[0], 1), result.runs[1]]))
    fast = result.runs[1].rows[-1]
    assert cells(lines, "15")[0][1:4] == ["-", f"{fast['twist_deg']:.2f}", "-"]
    assert "-" not in cells(lines, "7.5")[0]


@pytest.mark.parametrize("end", ["pressure", "volume"])
def test_limit_point_stands_apart_from_what_was_asked_for(make_case, say, end):
    drive = {"pressure__end": "20 kPa"}
    if end == "volume":
        drive = {"volume": {"added": "20 mL", "steps": 5}}
    solved = solve(make_case(threads=[], **drive), "fast")
    (run,) = solved.runs
    lines = say(solved)
    (limit,) = cells(lines, "limit")
    found = next(row for row in run.rows if row["limit"])
    assert limit[1] == f"{found['pressure_kPa']:.4g}"
    assert len(cells(lines, "beyond")) == sum(
        not r["demanded"] and not r["limit"] for r in run.rows
    )
    assert run.reached == (end == "volume")
    assert ("not reached" in flat(lines)) == (end == "pressure")
    assert run.limit in flat(lines)
    assert len(cells(lines, "11.8")) == 0, "the limit is no step that was asked for"


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({}, "threads A: taut from the start"),
        ({"threads__0__slack": "90 %"}, "threads A: slack throughout"),
        (
            {"threads__0__slack": "cut at 10 deg", "end": {"axial": "held"}},
            "threads A: 4.6 % too short, stretched by",
        ),
    ],
)
def test_families_are_told_when_they_tighten(make_case, say, changes, text):
    changes = {"pressure__steps": 2, "pressure__end": "5 kPa", **changes}
    assert text in flat(say(solve(make_case(**changes), "fast")))


def test_slack_threads_of_a_run_that_ended_at_rest_are_not_slack_throughout(make_case, say):
    solved = solve(make_case(threads__0__slack="90 %", pressure__steps=1), "fast")
    said = flat(say(Result(solved.case, [cut(solved.runs[0], 0)])))
    assert "threads A: slack before inflation" in said
    assert "throughout" not in said


def test_tightening_is_found_between_two_steps(cases_folder, say):
    solved = solve(Case.load(cases_folder / "seedling_lifter.toml"), "fast")
    rows = solved.runs[0].rows
    pressure, strain = (
        [row[name] for row in rows] for name in ("pressure_kPa", "thread_strain.left")
    )
    found = np.interp(0.0, strain, pressure)
    assert f"threads left: taut from {found:.3g} kPa" in say(solved)


def test_mesh_error_stands_beside_its_value(make_case, say):
    solved = solve(make_case(pressure__steps=1), "fe", "1x1x4", mesh_error=True)
    row = solved.runs[0].rows[-1]
    lines = say(solved)
    for title, name, form in [
        ("twist", "twist_deg", ".2f"),
        ("displacement", "displacement_mm", ".3f"),
        ("bulge", "bulge_mm", ".3f"),
    ]:
        (line,) = cells(lines, title)
        assert line[1:4] == [f"{row[name]:{form}}", "±", f"{row[f'{name}.mesh_error']:{form}}"]


def test_bounds_are_those_of_the_last_step_that_all_solves_reach(result, say):
    first, second, third = result.runs[0].rows
    rows = [
        {**first, "twist_deg.mesh_error": 0.0, "twist_deg.if_bonded": 0.0},
        {**second, "twist_deg.mesh_error": 0.25, "twist_deg.if_bonded": 9.0},
        {**third, "twist_deg.mesh_error": 0.5},
    ]
    shortfall = "friction: the FE model with bonded threads ended after step 1: stuck"
    lines = say(one(result, rows=rows, shortfalls=[shortfall]))
    assert "FE at 7.5 kPa, the last step that all solves reach" in lines
    (twist,) = cells(lines, "twist")
    assert twist[2:5] == ["9.00", "±", "0.25"]
    assert shortfall in flat(lines)


def test_each_solve_has_a_bar_in_the_order_of_the_work(make_case, capsys):
    case = make_case(threads__0__hold="gliding", threads__0__friction=0.2)
    seconds = companions(case, MODELS, mesh_error=True)
    with progress(MODELS, 5, seconds) as report:
        for done, second in enumerate(seconds, 2):
            report(second.solve, done, 5)
    lines = capsys.readouterr().err.splitlines()
    notes, bars = lines[:2], lines[2:]
    assert all("is then solved again" in note for note in notes)
    names = ["FE model", "FE model with bonded threads", "FE model on a coarser mesh"]
    for line, name, done in zip(bars, [*names, "fast model"], [0, 2, 3, 0], strict=True):
        assert line.startswith(f"{name} ")
        assert f"{done}/5" in line
    assert not companions(case, ["fast"], mesh_error=True)


def test_friction_is_a_bracket_with_its_capstan_ratio(make_case, say):
    case = make_case(pressure__steps=1, threads__0__hold="gliding", threads__0__friction=0.2)
    solved = solve(case, "fe", "1x1x4")
    row = solved.runs[0].rows[-1]
    lines = say(solved)
    (twist,) = cells(lines, "twist")
    assert twist[1:3] == [f"{row['twist_deg']:.2f}", f"{row['twist_deg.if_bonded']:.2f}"]
    heads = next(line for line in lines if "bonded" in line).split()
    assert heads[:2] == ["gliding", "bonded"]
    # mu phi sin(alpha) with phi = L tan(alpha) / R, of a tube of 60 mm and 6.5 mm
    exponent = 0.2 * 60 / 6.5 * math.tan(math.radians(20)) * math.sin(math.radians(20))
    assert f"factor A {math.exp(exponent):.3g}" in flat(lines)


def test_spread_threads_are_told(result, say):
    meshed = {"threads_meshed": {"A": 36, "B": 12}}
    said = flat(say(one(result, mesh=meshed)))
    assert "coarse mesh: A spread over 36 threads (12 in the case)" in said
    assert "B spread over" not in said
    assert "coarse mesh" not in flat(say(result))


@pytest.mark.parametrize(
    ("column", "value", "text"),
    [
        ("rubber_used", 0.83, "strained to 83 % of where it locks"),
        ("thread_used.A", 0.9, "90 % of the breaking load"),
        ("thread_used.A", 1.2, "BREAK at"),
    ],
)
def test_margins_are_told_where_little_is_left(result, say, column, value, text):
    def with_used(last):
        rows = [{**row, column: 0.1} for row in result.runs[0].rows]
        return one(result, rows=[*rows[:-1], {**rows[-1], column: last}])

    said = flat(say(with_used(value)))
    assert text in said
    assert not re.search(r"e[+-][0-9]+ %", said), "a share is no power of ten"
    calm = flat(say(with_used(0.5)))
    assert "locks" not in calm and "breaking" not in calm and "BREAK" not in calm


def test_narrow_bore_is_told(result, say):
    rows = result.runs[0].rows
    narrow = {**rows[-1], "bore_stretch": 0.21}
    said = flat(say(one(result, rows=[*rows[:-1], narrow])))
    assert f"bore narrowed to 0.21 of its radius at {narrow['pressure_kPa']:.3g} kPa" in said
    assert "narrowed" not in flat(say(result))


@pytest.mark.parametrize("hold", ["free path", "gliding"])
def test_limit_is_told_to_be_that_of_threads_that_slip(result, say, hold):
    case = result.case.changed(threads__1__hold=hold)
    run = replace(result.runs[0], limit="balloon limit at 8 kPa")
    fast, fe = (replace(run, model=model) for model in ("fast", "fe"))
    told = "threads B slip" in flat(say(replace(result, case=case, runs=[fe])))
    assert told == (hold == "free path")
    assert "slip" not in flat(say(replace(result, case=case, runs=[fast])))


def test_rubber_beyond_what_is_known_of_it_is_told(result, make_case, say):
    rubber = {"material": "platinum-cure silicone, Shore 00-30"}
    known = replace(result, case=make_case(rubber=rubber))
    rows = [dict(row, wall_stretch_max=2.5) for row in result.runs[0].rows]
    assert "wall stretch 2.5 is BEYOND 2," in flat(say(one(known, rows=rows)))
    assert "BEYOND" not in flat(say(known))


@pytest.mark.parametrize(
    ("drive", "first"),
    [
        ({"volume": {"added": "2 mL", "steps": 2}}, "added"),
        ({"gas": {"mass": "2 mg", "steps": 2}}, "air"),
    ],
)
def test_what_was_asked_for_comes_first(make_case, say, drive, first):
    lines = say(solve(make_case(**drive), "fast"))
    heads = [line.split() for line in lines if "pressure" in line and "fast" not in line]
    assert heads and all(head[:2] == [first, "pressure"] for head in heads)


@pytest.mark.parametrize(
    ("changes", "force", "torque"),
    [
        ({}, False, False),
        ({"end": {"axial": "held"}}, True, False),
        ({"end": {"twist_spring": "10 N mm/rad"}}, False, True),
        ({"move": {"twist": "20 deg", "steps": 1}}, False, True),
    ],
)
def test_end_loads_are_shown_where_the_end_meets_something(make_case, say, changes, force, torque):
    lines = say(solve(make_case(pressure__steps=1, **changes), "fast"))
    heads = " ".join(line for line in lines if line.startswith("pressure"))
    assert ("end force" in heads, "end torque" in heads) == (force, torque)
