"""Tables and pictures of a report, by themselves."""

import csv
import math
import re
from dataclasses import replace

import pytest
from matplotlib.figure import Figure

from fem.core.errors import InputError
from fem.report import page
from fem.report.case import asked, case_grids, family_grid
from fem.report.figures import HEAVIEST, picture
from fem.report.html_table import Head, heads_of
from fem.report.margins import balance_grid, margin_grid, power
from fem.report.page import light_enough, minus
from fem.report.panels import keys, panel_rows
from fem.report.provenance import held, history_grid, run_grid
from fem.report.result import brief_grid
from fem.results.result import Result
from fem.rubber.library import materials
from fem.solving.single import solve
from fem.wording.bounds import bounds_table
from fem.wording.tables import extra_state_tables, step_tables
from fem.wording.text_table import TextTable


def cells(grid):
    """Return the cells of a table by its first column."""
    return {row[0]: list(row[1:]) for row in grid.rows}


# ----------------------------------------------------------------------------------------- grids


def test_neighbours_with_the_same_first_line_share_a_head():
    titles = ["step", "twist\nFE, deg", "twist\nfast, deg", "stable\n", "p\nFE, "]
    upper, lower = heads_of(TextTable("", titles, [], text_columns=()))
    assert upper == [
        Head("step", rows=2),
        Head("twist", columns=2),
        Head("stable", rows=2),
        Head("p"),
    ]
    assert [head.text for head in lower] == ["FE, deg", "fast, deg", "FE"]
    columns = sum(head.columns for head in upper)
    assert columns == 5 == sum(head.rows == 2 for head in upper) + len(lower)


def test_titles_of_one_line_make_one_row():
    heads = heads_of(TextTable("", ["measure", "value"], []))
    assert heads == [[Head("measure", word=True), Head("value")]]


# ------------------------------------------------------------------------------------------ case


def test_every_value_of_the_case_stands_in_its_tables(make_case):
    case = make_case(end__force="2 N", end__axial_spring="0.5 N/mm", threads__0__friction=None)
    shown = {caption: cells(grid) for grid in case_grids(case) for caption in [grid.caption]}
    for caption, part in [
        ("Tube at rest", case.data["tube"]),
        ("Rubber", case.data["rubber"]),
        ("Drive: pressure", case.data["pressure"]),
        ("Free end", case.data["end"]),
    ]:
        for name, value in part.items():
            text = shown[caption][name.replace("_", " ")][0]
            assert text == str(value).removesuffix(".0"), (caption, name)
    families = cells(family_grid(case))
    assert families["stiffness"][:2] == ["200 N", "200 N"]
    assert families["angle"][:2] == ["20 deg", "-30 deg"]


def test_what_follows_from_a_family_is_told(make_case):
    """Slack of a thread cut at 45 deg is cos 30 / cos 45 - 1; ring and length: a right triangle."""
    case = make_case(threads__1__slack="cut at 45 deg")
    told = cells(family_grid(case))
    slack = math.cos(math.radians(30)) / math.cos(math.radians(45)) - 1
    turn = -60 * math.tan(math.radians(30)) / 6.5
    assert told["slack at this angle"][1] == f"{100 * slack:.4g} %"
    assert told["ring turn"][1] == f"{math.degrees(turn):.5g} deg"
    assert told["length"][1] == f"{60 / math.cos(math.radians(30)) * (1 + slack):.5g} mm"


def test_a_ring_turn_has_its_angle_told(make_case):
    case = make_case(threads__0__ring_turn="90 deg")
    told = cells(family_grid(case))
    assert told["ring turn"][0] == "90 deg"
    assert told["angle"][0] == f"{math.degrees(math.atan(6.5 * math.pi / 2 / 60)):.5g} deg"


def test_a_material_is_named_with_its_source(make_case):
    name, material = next(iter(materials().items()))
    (rubber,) = [
        g for g in case_grids(make_case(rubber={"material": name})) if g.caption == "Rubber"
    ]
    value, source = cells(rubber)["material of the library"]
    assert value == name and material.source in source and material.read in source


@pytest.mark.parametrize(
    ("changes", "sentences"),
    [
        ({}, ["raised from zero to 15 kPa in 5 equal steps", "free to turn"]),
        ({"volume": {"added": "3 mL", "steps": 1}}, ["3 mL of liquid are pushed in one step"]),
        ({"gas": {"mass": "2 mg", "steps": 4}}, ["2 mg of air are let in 4 equal steps"]),
        ({"end__axial": "held", "end__twist": "held"}, ["neither moves nor turns"]),
        ({"end__axial": "held", "end__torque": "4 N mm"}, ["held along the axis", "4 N mm"]),
        ({"move": {"twist": "90 deg", "steps": 3}}, ["round the axis to 90 deg", "3 equal steps"]),
    ],
)
def test_what_is_asked_is_said(make_case, changes, sentences):
    said = " ".join(asked(make_case(**changes)))
    assert all(sentence in said for sentence in sentences), said


# ----------------------------------------------------------------------------------------- steps


def test_every_figure_of_the_steps_is_that_of_the_file(result, tmp_path):
    """What is shown is held against steps.csv, rounded here by decimal places of its own."""
    result.save(tmp_path)
    with open(tmp_path / "steps.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    by_model = {model: [row for row in rows if row["model"] == model] for model in ("fe", "fast")}
    grids = {grid.caption: grid for grid in step_tables(result, brief=False)}
    motion = grids["Motion of the free end, and bulge"]
    places = {"twist_deg": 2, "displacement_mm": 3, "bulge_mm": 3}
    assert len(motion.rows) == len(by_model["fe"]) == 3
    for number, cell in enumerate(motion.rows):
        assert float(cell[0]) == float(by_model["fe"][number]["pressure_kPa"])
        found = iter(cell[1:])
        for name, digits in places.items():
            for model in ("fe", "fast"):
                there = float(by_model[model][number][name])
                assert abs(float(next(found)) - there) <= 0.5000001 * 10**-digits
    threads = grids["Threads A: +20°, 12 threads"]
    assert float(threads.rows[-1][1]) == round(float(by_model["fe"][-1]["tension_N.A"]), 4)


def test_a_way_to_rest_that_ends_early_has_no_steps(make_case):
    """Nothing was asked for there: no row, whatever drives the tube."""
    for drive in ({}, {"volume": {"added": "3 mL", "steps": 2}}):
        result = solve(make_case(end__force="-60 N", **drive), "fe", "1x1x6")
        assert not any(row["requested"] for row in result.runs[0].rows)
        assert all(not grid.rows for grid in step_tables(result, brief=False))
        assert brief_grid(result).caption == "The last state found"
        (found,) = extra_state_tables(result)
        assert found.rows[0][0] == "last"


def test_limit_points_and_what_follows_are_told(make_case):
    result = solve(make_case(threads=[], pressure__end="20 kPa"), "fast")
    (besides,) = extra_state_tables(result)
    assert besides.caption.startswith("fast: balloon limit at 11.8 kPa")
    assert besides.rows[0][0] == "limit"
    assert extra_state_tables(replace(result, runs=[])) == []


def test_the_mesh_error_is_told_where_it_was_asked_for(make_case):
    case = make_case(pressure__steps=1)
    result = solve(case, "fe", "1x1x4", mesh_error=True)
    grid = bounds_table(result.runs[0], case)
    assert grid.titles == ["measure", "value", "mesh error", "unit"]
    assert cells(grid)["twist"][1].startswith(("±", "<"))


def test_without_a_second_solve_there_is_no_such_table(result):
    assert bounds_table(result.runs[0], result.case) is None


# --------------------------------------------------------------------------- margins and balance


def test_margins_are_the_worst_of_the_path(make_case):
    case = make_case(threads__0__breaking_load="3 N", pressure__steps=3)
    result = solve(case, "fast")
    told = cells(margin_grid(result))
    rows = result.runs[0].rows
    assert told["greatest stretch in the wall"][0] == f"{rows[-1]['wall_stretch_max']:.4g}"
    assert told["peak tension of threads A"][2] == "3 N, where a thread breaks"
    assert told["peak tension of threads B"][1:] == ["15 kPa", "no breaking load is given"]


def test_balance_is_told_with_what_it_ought_to_be(result):
    told = cells(balance_grid(result))
    energy = told["work of the loads that is not stored, as a share of all work"]
    assert energy[:2] == [power(run.balance["energy_gap"]) for run in result.runs]
    assert energy[2].startswith("0;") and energy[3] == "yes"


def test_what_is_out_of_balance_is_told(result):
    run = result.runs[0]
    off = replace(run, balance={**run.balance, "end_force_gap": 0.02})
    told = cells(balance_grid(Result(result.case, [off])))
    assert told["axial force at the base less thrust and end force, as a share of them"][2] == "NO"


def test_an_older_result_without_balance_has_gaps(result):
    run = replace(result.runs[0], balance={})
    told = balance_grid(Result(result.case, [run]))
    assert {row[1] for row in told.rows} == {"-"}
    assert {row[3] for row in told.rows[:3]} == {"-"}


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "0"), (4.349e-5, "4.3 × 10⁻⁵"), (0.02, "2.0 × 10⁻²"), (150, "1.5 × 10²")],
)
def test_small_figures_are_written_as_powers(value, text):
    assert power(value) == text


def test_the_course_of_the_solver_is_that_of_the_rows(result):
    grid = history_grid(result)
    assert len(grid.rows) == 3
    iterations = [run.rows[1]["newton_iterations"] for run in result.runs]
    assert grid.rows[1][3:5] == [str(number) for number in iterations]
    total = [str(sum(row["newton_iterations"] for row in run.rows)) for run in result.runs]
    assert cells(run_grid(result))["Newton iterations"] == total


# --------------------------------------------------------------------------- pictures and weight


def test_curves_are_drawn_a_picture_to_a_panel(result):
    (row,) = panel_rows(result)
    assert [p.caption.split()[0] for p in row.pictures] == ["twist", "displacement", "bulge"]
    for drawn in row.pictures:
        assert drawn.markup.startswith("<svg role=") and "<text" in drawn.markup
        assert not re.findall(r'<g id="', drawn.markup)
    assert [words for _, words in keys(result)] == ["FE model", "fast model"]


def test_a_heavy_figure_becomes_pixels():
    figure = Figure(figsize=(4, 3))
    axes = figure.add_subplot()
    axes.scatter(range(3000), range(3000), c=range(3000), s=[1 + n / 3000 for n in range(3000)])
    drawn = picture(figure, 'points "of" <b>')
    assert drawn.markup.startswith("<img") and "data:image/png" in drawn.markup
    assert "&lt;b&gt;" in drawn.markup and drawn.width == 384
    assert len(drawn.markup) < HEAVIEST


def test_the_first_page_that_is_light_enough_is_taken(monkeypatch):
    monkeypatch.setattr(page, "MOST_BYTES", 10)
    made = []

    def pages():
        for size in (12, 11, 6, 5):
            made.append(size)
            yield size * "a"

    assert light_enough(pages()) == "aaaaaa"
    assert made == [12, 11, 6], "lighter ones are not made in vain"
    with pytest.raises(InputError, match="fewer steps or settings"):
        light_enough(["a" * 11])


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("-5.3 mm", "−5.3 mm"),
        ("-", "–"),
        ("2e-05", "2e-05"),
        ("from -3 to -.5", "from −3 to −.5"),
        ("neo-Hookean, 1-2, x86-64", "neo-Hookean, 1-2, x86-64"),
    ],
)
def test_minus_signs_are_set_as_such(text, shown):
    assert minus(text) == shown


def test_the_last_validation_is_told_chapter_by_chapter():
    """The sum of the checks by chapter is not in the table itself; each title is one of it."""
    from validation.book import chapters
    from validation.renew import TABLE, summary_of

    summary, chapters_shown = held()
    assert summary == " ".join(summary_of(TABLE.read_text(encoding="utf-8")).split())
    assert {row[1] for row in chapters_shown.rows} <= {*chapters()}
    assert f"of {len(chapters_shown.rows)} chapters" in summary
