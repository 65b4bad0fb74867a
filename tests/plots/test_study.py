"""Pictures of a study: they draw the values of the table, and nothing else.

The tables are made from closed forms, so that the expected picture is known without a solve.
"""

import tomllib
from collections.abc import Callable
from io import BytesIO
from itertools import product

import numpy as np
import pandas
import pytest
import tomlkit
from matplotlib import rcParams
from matplotlib.collections import PolyCollection
from matplotlib.contour import ContourSet
from PIL import Image

from fem.plots.study.field import NO_SOLUTION, limit_label
from fem.plots.study.figures import NAMES, figures, save_pictures
from fem.quantities import table as quantities
from fem.quantities.case_fields import cells
from fem.quantities.column import Measure
from fem.study.plan import Study
from fem.study.plot_data import plot_data
from fem.study.study_result import StudyResult
from fem.wording.picture_text import DPI
from tests.helpers.pictures import check_lettering, words

LONG_TITLE = "A title that goes on and on, with $5 in it, " * 10
LEVELS = np.arange(6) * 3.0
SLACK = {"field": "threads.A.slack", "same": ["threads.B.slack"]}
WALLS = ["1 mm", "2 mm", "3 mm", "4 mm"]


def angle(family, count=None, start="-30 deg", end="30 deg"):
    return {"field": f"threads.{family}.angle", "from": start, "to": end} | (
        {"count": count} if count else {}
    )


GRID = [angle("A", 5), angle("B", 5)]
SLACK_RULES = ["taken up", "cut at 30 deg"]
RULES = [SLACK | {"values": SLACK_RULES}, *GRID]
SCATTER = {"vary": [angle("A"), angle("B")], "scatter": {"points": 40}}
KINDS = {
    "two slack rules": {"vary": RULES},
    "a grid": {"vary": GRID},
    "scattered": SCATTER,
    "a grid, one axis scattered": {"vary": [angle("A"), angle("B", 3)], "scatter": {"points": 9}},
    "one number": {"vary": [angle("A", 7) | {"opposite": ["threads.B.angle"]}]},
    "per cent": {"vary": [SLACK | {"values": ["0 %", "2 %", "4 %"]}]},
    "text": {"vary": [SLACK | {"values": ["taken up", "3 %", "cut at 30 deg"]}]},
    "three numbers": {"vary": [*GRID, {"field": "tube.wall", "values": WALLS}]},
    "three scattered": {
        "vary": [angle("A"), angle("B"), {"field": "tube.wall", "from": "1 mm", "to": "2 mm"}],
        "scatter": {"points": 30},
    },
}


def plane(at, level):
    """A twist that is linear in both angles, so that any interpolation between them is exact."""
    return level / 15 * (at["angle_deg.A"] + 2 * at["angle_deg.B"])


def some(at, level):
    """A twist that depends on all numbers that vary."""
    return level * sum(value for value in at.values() if isinstance(value, float)) / 10


@pytest.fixture
def make(cases_folder):
    """Return a function that makes a study and its table from closed forms.

    `twist` returns the twist from the columns that vary and the level; `reach` the number of levels
    of a curve, from the columns and the model.
    """

    def made(
        plan,
        twist: Callable = some,
        reach: Callable = lambda at, model: len(LEVELS),
        models=("fast", "fe"),
        folder=cases_folder,
        families="AB",
    ):
        data = {"title": "Reach", "case": "greenhouse_wrist.toml", "models": list(models)}
        study = Study.parse(data | plan, folder)
        rows = []
        for setting, model in product(study.settings, study.models):
            case = study.case_of(setting)
            at = cells(case, study.fields)
            for step, level in enumerate(LEVELS[: reach(at, model)]):
                turn = float(twist(at, level)) * (1.0 if model == "fe" else 1.25)
                rows.append(
                    {"case": case.key, "model": model, **at, "step": step, "pressure_kPa": level}
                    | {"requested": True, "volume_mm3": 5e3 + 100 * level, "twist_deg": turn}
                    | {"displacement_mm": level - abs(turn) / 10, "bulge_mm": level / 10}
                    | {"bore_stretch": 1.1, "wall_stretch_max": 1 + level / 10, "stable": True}
                    | {f"tension_N.{name}": abs(turn) / 100 for name in families}
                    | {f"ring_torque_Nmm.{name}": turn / 10 for name in families}
                )
        return StudyResult(study, pandas.DataFrame(rows), {})

    return made


def drawn(study_result, name="twist"):
    return dict(figures(study_result))[name].figure()


def saved(figure):
    """Return a figure as the file to which it is written."""
    file = BytesIO()
    figure.savefig(file, dpi=DPI, facecolor="white")
    return file


def panels(figure):
    """Return the panels of a figure by their titles, on one line."""
    bars = [axes for axes in figure.axes if axes.get_label() == "bar"]
    shown = [axes for axes in figure.axes if axes not in bars]
    return {axes.get_title(loc="left").replace("\n", ", "): axes for axes in shown}


def filled(axes):
    """Return the contours of a panel that are filled."""
    return [c for c in axes.collections if isinstance(c, ContourSet) and c.filled]


def band_at(axes, point):
    """Return the edges of the band that covers a point, None where none does."""
    (contours,) = filled(axes)
    found = [
        number for number, path in enumerate(contours.get_paths()) if path.contains_point(point)
    ]
    assert len(found) < 2
    return (contours.layers[found[0]], contours.levels[found[0] : found[0] + 2]) if found else None


def colour_at(axes, point):
    (contours,) = filled(axes)
    found = [path.contains_point(point) for path in contours.get_paths()]
    return contours.get_facecolor()[found.index(True)]


def marked(axes, marker):
    """Return the places of a marker, shape (n, 2), sorted."""
    places = [line.get_xydata() for line in axes.lines if line.get_marker() == marker]
    return sorted(map(tuple, np.concatenate(places))) if places else []


# ----------------------------------------------------------------------------------------- maps


@pytest.mark.parametrize("plan", ["a grid", "scattered", "a grid, one axis scattered"])
def test_contours_of_linear_values_are_exact(make, plan):
    """Linear data have straight contours, x + 2 y = level: interpolation is exact there."""
    study_result = make(KINDS[plan], plane)
    for title, axes in panels(drawn(study_result)).items():
        factor = 1.0 if title == "FE model" else 1.25
        (lines,) = [c for c in axes.collections if isinstance(c, ContourSet) and not c.filled]
        for level, path in zip(lines.levels, lines.get_paths(), strict=True):
            found = factor * path.vertices @ [1, 2]
            assert found == pytest.approx(level, abs=1e-6)
        checked = 0
        for point in np.random.default_rng(1).uniform(-25, 25, (60, 2)):
            band = band_at(axes, point)
            if band is not None:
                low, high = band[1]
                assert low - 1e-6 <= factor * point @ [1, 2] <= high + 1e-6
                checked += 1
        assert checked > 30


@pytest.mark.parametrize("plan", ["a grid", "scattered"])
def test_each_setting_has_a_dot(make, plan):
    study_result = make(KINDS[plan])
    table = study_result.of("fe").drop_duplicates("case")
    expected = sorted(zip(table["angle_deg.A"], table["angle_deg.B"], strict=True))
    assert marked(panels(drawn(study_result))["FE model"], ".") == expected


def early(at, model):
    """Two settings end before the last level in the fast model."""
    gone = at["angle_deg.A"] == 15 and at["angle_deg.B"] in (0, 15)
    return 4 if gone and model == "fast" else len(LEVELS)


def test_a_curve_that_ended_has_a_cross_and_is_not_interpolated(make):
    figure = drawn(make(KINDS["a grid"], plane, early))
    axes = panels(figure)["fast model"]
    assert marked(axes, "x") == [(15, 0), (15, 15)]
    (hatched,) = [c for c in axes.collections if isinstance(c, PolyCollection)]
    for point in [(15, 0), (15, 15), (15, 7), (11, 4), (19, 11), (15, 20)]:
        assert band_at(axes, point) is None, f"drawn at {point}"
        assert any(path.contains_point(point, radius=1e-6) for path in hatched.get_paths())
    for point in [(-15, 1), (-1, 7), (10, -14.9), (29, 29)]:
        low, high = band_at(axes, point)[1]
        assert low <= 1.25 * np.dot(point, [1, 2]) <= high
    assert not marked(panels(figure)["FE model"], "x")
    assert "ended before 15 kPa" in words(figure)
    assert "Fast model: 2 of 25 curves" in words(figure)


def test_triangles_of_a_scattered_curve_that_ended_are_not_filled(make):
    plan, gone = KINDS["scattered"], []

    def reach(at, model):
        inner = abs(at["angle_deg.A"]) < 9 and abs(at["angle_deg.B"]) < 9
        gone.extend([(at["angle_deg.A"], at["angle_deg.B"])] * inner)
        return 4 if inner else len(LEVELS)

    axes = panels(drawn(make(plan, plane, reach, models=["fe"])))["FE model"]
    assert gone
    assert marked(axes, "x") == sorted(gone)
    assert all(band_at(axes, point) is None for point in gone)


def test_settings_without_a_solution_differ_from_curves_that_ended(make):
    study_result = make(
        KINDS["a grid"],
        plane,
        lambda at, _: 0 if at["angle_deg.A"] == at["angle_deg.B"] == 15 else len(LEVELS),
    )
    figure = drawn(study_result)
    axes = panels(figure)["FE model"]
    assert marked(axes, "o") == [(15, 15)]
    assert not marked(axes, "x")
    assert band_at(axes, (15, 15)) is None
    assert f"FE model: {NO_SOLUTION} for 1 of 25" in words(figure)


def test_mirrored_data_give_a_mirrored_picture(make):
    """An odd twist only changes its sign if both angles do."""

    def odd(at, level):
        a, b = at["angle_deg.A"], at["angle_deg.B"]
        return level * (np.sin(a / 10) + b**3 / 5e3)

    figure = drawn(make(KINDS["a grid"], odd))
    axes = panels(figure)["FE model"]
    (contours,) = filled(axes)
    colours = [tuple(colour) for colour in contours.get_facecolor()]
    for point in np.random.default_rng(2).uniform(-29, 29, (80, 2)):
        here, there = (colours.index(tuple(colour_at(axes, p))) for p in (point, -point))
        assert here == len(colours) - 1 - there


def test_values_of_the_other_sign_have_the_other_colour(make):
    """Orange pixels become purple and vice versa, at the same places."""

    def shades(sign):
        study_result = make(KINDS["a grid"], lambda at, p: sign * plane(at, p), models=["fe"])
        figure = drawn(study_result, "twist_steps")  # without numbers on its lines
        with Image.open(saved(figure)) as image:
            seen = np.asarray(image.convert("RGB"), dtype=int)[:, :-400]  # without the colour bar
        return seen[..., 0] - seen[..., 2] > 5, seen[..., 2] - seen[..., 0] > 5

    (orange, purple), (other_orange, other_purple) = shades(1), shades(-1)
    assert orange.sum() > 1e4
    for mine, other in ((orange, other_purple), (purple, other_orange)):
        wrong = (mine != other).sum()
        assert wrong < 0.02 * mine.sum()  # edges of lines are 1 %, one band is above 5 %


def test_diagonals_are_where_angles_are_equal_and_opposite(make):
    axes = panels(drawn(make(KINDS["a grid"])))["FE model"]
    lines = {line.get_gid(): line.get_xydata() for line in axes.lines if line.get_gid()}
    assert np.array_equal(lines["equal angles"] @ [1, -1], [0, 0])
    assert np.array_equal(lines["opposite angles"] @ [1, 1], [0, 0])
    walls = [angle("A", 3), {"field": "tube.wall", "values": WALLS}]
    assert "equal angles" not in words(drawn(make({"vary": walls})))


def test_a_picture_has_title_measure_level_axes_and_panel_titles(make):
    figure = drawn(make(KINDS["two slack rules"]))
    text = words(figure)
    for part in ("Reach", "Twist at 15 kPa", "twist [deg]", "helix angle of A [deg]"):
        assert part in text
    both = ["taken up", "cut at 30 deg"]
    expected = [
        f"{model}, slack of A, B: {rule}" for rule in both for model in ("fast model", "FE model")
    ]
    assert list(panels(figure)) == expected
    steps = drawn(make(KINDS["a grid"]), "twist_steps")
    assert [title.rpartition(", ")[2] for title in panels(steps)][:3] == [
        "at 6 kPa",
        "at 9 kPa",
        "at 15 kPa",
    ]


def test_the_level_shown_is_the_highest_that_most_curves_reach(make):
    plan = {"vary": [angle("A", 5)]}
    counts = {-30: 6, -15: 6, 0: 5, 15: 5, 30: 3}
    study_result = make(plan, reach=lambda at, _: counts[at["angle_deg.A"]])
    assert plot_data(study_result).main_level == LEVELS[4]
    assert plot_data(study_result).levels == LEVELS.tolist()


def test_a_third_number_has_a_panel_for_each_of_three_values(make):
    figure = drawn(make(KINDS["three numbers"], models=["fe"]))
    assert list(panels(figure)) == [f"FE model, tube wall: {wall} mm" for wall in (1, 3, 4)]
    assert "3 of 4 values of tube wall" in words(figure)


def test_a_fourth_number_is_fixed_at_its_middle_value(make):
    more = [{"field": "tube.length", "values": ["50 mm", "60 mm", "70 mm"]}]
    study_result = make({"vary": [*KINDS["three numbers"]["vary"], *more]}, models=["fe"])
    assert "tube length: 60 mm" in words(drawn(study_result)).lower()
    title, axes = next(iter(panels(drawn(study_result)).items()))
    table = study_result.of("fe")
    rows = table[(table["tube_wall_mm"] == 1) & (table["tube_length_mm"] == 60)]
    assert title == "FE model, tube wall: 1 mm"
    assert len(marked(axes, ".")) == rows.case.nunique() == 25


def test_further_scattered_numbers_are_separate_dots(make):
    study_result = make(KINDS["three scattered"], models=["fe"])
    shown = panels(drawn(study_result))
    assert len(shown) == 3
    places = []
    for axes in shown.values():
        assert not filled(axes)
        (dots,) = axes.collections
        places += map(tuple, dots.get_offsets())
    table = study_result.of("fe").drop_duplicates("case")
    assert sorted(places) == sorted(zip(table["angle_deg.A"], table["angle_deg.B"], strict=True))


# ------------------------------------------------------------------------ reach, curves, bars


def test_reach_shows_each_setting_at_each_level(make):
    study_result = make(KINDS["two slack rules"], plane, models=["fe"])
    for title, axes in panels(drawn(study_result, "reach")).items():
        rule = title.rpartition(": ")[2]
        rows = study_result.of("fe")
        rows = rows[rows["slack.A"] == rule]
        for level in LEVELS:
            (dots,) = [line for line in axes.lines if line.get_gid() == f"reach {level:g}"]
            expected = rows[rows.pressure_kPa == level][["twist_deg", "displacement_mm"]]
            assert sorted(map(tuple, dots.get_xydata())) == sorted(
                expected.itertuples(index=False, name=None)
            )
            (mesh,) = [c for c in axes.collections if c.get_gid() == f"mapped {level:g}"]
            assert len(mesh.get_paths()) == 4 * 4
        behind = study_result.of("fe")[study_result.of("fe")["slack.A"] != rule]
        assert len(behind) == len(axes.lines[0].get_xydata()) == 25 * len(LEVELS)
        assert (axes.get_xlabel() or "twist [deg]", axes.get_ylabel() or "displacement [mm]") == (
            "twist [deg]",
            "displacement [mm]",
        )


def test_reach_leaves_out_cells_without_one_of_their_corners(make):
    """A map that stretches the angles by 2.5 and 1 turns each cell of 15 x 15 into 37.5 x 15."""
    study_result = make(
        KINDS["a grid"], lambda at, p: p / 15 * 2 * at["angle_deg.A"], early, ["fast"]
    )
    study_result.table["displacement_mm"] = study_result.table["angle_deg.B"]
    (axes,) = panels(drawn(study_result, "reach")).values()
    (mesh,) = [c for c in axes.collections if c.get_gid() == "mapped 15"]
    cells_drawn = [path.to_polygons()[0] for path in mesh.get_paths()]
    assert len(cells_drawn) == 16 - 6  # of two settings that ended, each has 4 cells, 2 shared
    for corners in cells_drawn:
        assert np.ptp(corners, axis=0) == pytest.approx([37.5, 15])
    (whole,) = [c for c in axes.collections if c.get_gid() == "mapped 9"]
    assert len(whole.get_paths()) == 16


def test_curves_over_one_number_have_the_values_of_the_table_and_gaps(make):
    study_result = make(
        KINDS["one number"],
        plane,
        reach=lambda at, _: 4 if at["angle_deg.A"] == 0 else len(LEVELS),
    )
    figure = drawn(study_result)
    (axes,) = panels(figure).values()
    assert "helix angle of A (B opposite) [deg]" in words(figure)
    for model, level in product(("fast", "fe"), (3.0, 15.0)):
        (curve,) = [line for line in axes.lines if line.get_gid() == f"{model} {level:g}"]
        rows = study_result.of(model)
        rows = rows[rows.pressure_kPa == level].set_index("angle_deg.A").twist_deg
        expected = rows.reindex(np.linspace(-30, 30, 7))
        assert np.array_equal(curve.get_xdata(), expected.index)
        assert np.array_equal(curve.get_ydata(), expected, equal_nan=True)
        assert np.isnan(curve.get_ydata()).sum() == (level == 15)
    assert set(marked(axes, "x")) == {(0, 0)}
    assert "ended before 15 kPa" in words(figure)


def test_slack_in_per_cent_is_a_number(make):
    figure = drawn(make(KINDS["per cent"]))
    assert "slack of A, B [%]" in words(figure)


def test_bars_have_the_values_of_the_table(make):
    rules = KINDS["text"]["vary"][0]["values"]
    sizes = dict(zip(rules, (10.0, -20.0, 5.0), strict=True))
    study_result = make(
        KINDS["text"],
        lambda at, level: level / 15 * sizes[at["slack.A"]],
        lambda at, model: 3 if at["slack.A"] == "3 %" and model == "fe" else len(LEVELS),
    )
    figure = drawn(study_result)
    (axes,) = panels(figure).values()
    widths = [bar.get_width() for bar in axes.patches]
    assert sorted(widths) == pytest.approx(sorted([12.5, -25, 6.25, 10, 5]))
    assert words(figure).count("ended before") == 2  # instead of the bar, and in the note
    names = [label.get_text() for label in axes.get_yticklabels()]
    assert names == [f"slack of A, B: {rule}" for rule in rules]


def test_a_study_driven_by_volume_shows_the_pressures(make, cases_folder, tmp_path):
    case = tomllib.loads((cases_folder / "greenhouse_wrist.toml").read_text(encoding="utf-8"))
    case["volume"] = {"added": "1.5 mL", "steps": case.pop("pressure")["steps"]}
    (tmp_path / "pushed.toml").write_text(tomlkit.dumps(case), encoding="utf-8")
    study_result = make(KINDS["a grid"] | {"case": "pushed.toml"}, folder=tmp_path)
    study_result.table["pressure_kPa"] *= 1 + (study_result.table["angle_deg.A"] > 0)
    assert "Twist at 1.5 mL added, 15 to 30 kPa" in words(drawn(study_result))
    assert "pressure [kPa]" in words(drawn(study_result, "pressure"))
    assert "volume added [mL]" in words(drawn(study_result, "reach"))


def test_a_fixed_free_end_shows_its_load_instead_of_its_motion(make):
    study_result = make(KINDS["a grid"] | {"set": {"end.twist": "held"}})
    study_result.table["end_torque_Nmm"] = study_result.table.twist_deg
    names = dict(figures(study_result))
    assert "end_torque" in names and "twist" not in names


def test_margins_show_utilisation_and_its_limit(make):
    study_result = make(KINDS["a grid"], plane)
    study_result.table["rubber_utilisation"] = study_result.table.wall_stretch_max / 2
    study_result.table["thread_utilisation.A"] = study_result.table["tension_N.A"] * 2
    assert "wall_stretch" in dict(figures(study_result))
    figure = drawn(study_result, "margins")
    assert "utilisation [%]" in words(figure)
    assert limit_label(100) in words(figure)
    titles = [title.partition(", ")[2] for title in panels(figure)]
    expected = [
        Measure(quantities.rubber_utilisation).title,
        Measure(quantities.thread_utilisation, "A").title,
    ]
    assert titles[::2] == expected
    lines = [c for c in panels(figure)[f"FE model, {expected[1]}"].collections]
    (lines,) = [c for c in lines if isinstance(c, ContourSet) and not c.filled]
    (path,) = [p for at, p in zip(lines.levels, lines.get_paths(), strict=True) if at == 100]
    assert np.abs(path.vertices @ [1, 2]) == pytest.approx(50), "2 |x + 2 y| / 100 = 1"


def test_unstable_points_are_marked(make):
    study_result = make(KINDS["a grid"])
    table = study_result.table
    table.loc[(table["angle_deg.A"] == 15) & (table["angle_deg.B"] == 0), "stable"] = False
    figure = drawn(study_result)
    assert marked(panels(figure)["FE model"], "s") == [(15, 0)]
    assert "unstable" in words(figure)


# ---------------------------------------------------------------------------------------- files


COMMON = {"twist", "displacement", "bulge", "tension", "ring_torque", "margins", "reach"}
MAPS = {kind for kind in KINDS if kind not in ("one number", "per cent", "text")}


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_of_study_has_its_pictures(make, kind):
    steps = {"twist_steps", "displacement_steps"} if kind in MAPS else set()
    assert set(dict(figures(make(KINDS[kind])))) == COMMON | steps
    assert steps | COMMON <= set(NAMES)


def check_files(study_result, folder):
    for name in NAMES:
        (folder / f"{name}.png").write_text("old", encoding="utf-8")
    files = save_pictures(study_result, folder)
    assert [path.stem for path in files] == list(dict(figures(study_result)))
    assert sorted(folder.iterdir()) == sorted(files)  # files of another study are removed
    for path in files:
        with Image.open(path) as image:
            assert image.info["dpi"] == pytest.approx((DPI, DPI), rel=1e-3)
            assert np.ptp(np.asarray(image.convert("L"))) > 100


def test_files_of_one_kind(make, tmp_path):
    check_files(make(KINDS["text"], models=["fast"]), tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_files_of_each_kind(make, tmp_path, kind):
    check_files(make(KINDS[kind]), tmp_path)


@pytest.mark.parametrize("kind", ["a grid", "scattered"])
def test_the_same_study_gives_the_same_picture(make, kind):
    before = dict(rcParams)
    one, two = (saved(drawn(make(KINDS[kind], models=["fe"]))).getvalue() for _ in range(2))
    assert one == two
    assert dict(rcParams) == before


def test_a_study_without_solutions_has_no_pictures(make, tmp_path):
    assert save_pictures(make(KINDS["a grid"], reach=lambda *_: 0), tmp_path) == []


NAMED = [
    {"count": 6, "angle": "30 deg", "stiffness": "200 N", "name": name}
    for name in ("A", "B", "a-name-of-just_thirty-two_letters"[:32])
]


@pytest.mark.parametrize("kind", KINDS)
def test_lettering(make, kind):
    study_result = make(KINDS[kind] | {"title": LONG_TITLE})
    check_lettering(drawn(study_result, "tension"))


@pytest.mark.slow
@pytest.mark.parametrize("title", ["Plain", LONG_TITLE, "W" * 300])
@pytest.mark.parametrize("kind", KINDS)
def test_lettering_of_all(make, kind, title):
    for layout in dict(figures(make(KINDS[kind] | {"title": title}))).values():
        check_lettering(layout.figure())


def test_lettering_of_long_names(make, cases_folder, tmp_path):
    case = tomllib.loads((cases_folder / "greenhouse_wrist.toml").read_text(encoding="utf-8"))
    (tmp_path / "named.toml").write_text(tomlkit.dumps(case | {"threads": NAMED}), encoding="utf-8")
    name = NAMED[-1]["name"]
    rules = {"field": f"threads.{name}.slack", "values": SLACK_RULES}
    plan = {"vary": [angle(name, 3), angle("A", 3), rules], "case": "named.toml"}
    study_result = make(plan, models=["fast"], folder=tmp_path, families=["A", "B", name])
    for picture in ("tension", "reach"):
        figure = drawn(study_result, picture)
        check_lettering(figure)
        assert name in words(figure).replace("\n", "")
