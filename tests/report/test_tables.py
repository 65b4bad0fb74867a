"""Tables and pictures of a report, one by one."""

import csv
import math
import re
from dataclasses import replace

import pytest
from matplotlib.figure import Figure

from fem.core.errors import InputError
from fem.quantities import table
from fem.report import page
from fem.report.case import case_tables, family_table, problem_sentences
from fem.report.html_table import Head, heads_of
from fem.report.limits import RESIDUALS, equilibrium_table, limits_table, scientific
from fem.report.page import first_within_limit, minus
from fem.report.panels import legend, panel_rows
from fem.report.pictures import MAX_SVG_BYTES, picture
from fem.report.provenance import history_table, runs_table, validation_summary
from fem.report.result import summary_table
from fem.results.result import Result
from fem.rubber.library import materials
from fem.solving.single import solve
from fem.wording.bounds import bounds_table
from fem.wording.tables import extra_state_tables, step_tables
from fem.wording.text_table import TextTable
from tests.helpers.messages import assert_states, refused


def cells(table):
    """Return the cells of a table by its first column."""
    return {row[0]: list(row[1:]) for row in table.rows}


# ----------------------------------------------------------------------------------------- tables


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


def test_the_tables_of_a_case_have_all_its_values(make_case):
    case = make_case(end__force="2 N", end__axial_spring="0.5 N/mm", threads__0__friction=None)
    shown = {table.caption: cells(table) for table in case_tables(case)}
    for caption, part in [
        ("Tube at rest", case.data["tube"]),
        ("Rubber", case.data["rubber"]),
        ("Drive: pressure", case.data["pressure"]),
        ("Free end", case.data["end"]),
    ]:
        for name, value in part.items():
            text = shown[caption][name.replace("_", " ")][0]
            assert text == str(value).removesuffix(".0"), (caption, name)
    families = cells(family_table(case))
    assert families["stiffness"][:2] == ["200 N", "200 N"]
    assert families["angle"][:2] == ["20 deg", "-30 deg"]


def test_the_table_of_families_has_slack_ring_turn_and_length(make_case):
    """Slack of a thread cut at 45 deg is cos 30 / cos 45 - 1; ring and length: a right triangle."""
    case = make_case(threads__1__slack="cut at 45 deg")
    shown = cells(family_table(case))
    slack = math.cos(math.radians(30)) / math.cos(math.radians(45)) - 1
    turn = -60 * math.tan(math.radians(30)) / 6.5
    assert shown["slack at this angle"][1] == f"{100 * slack:.4g} %"
    assert shown["ring turn"][1] == f"{math.degrees(turn):.5g} deg"
    assert shown["length"][1] == f"{60 / math.cos(math.radians(30)) * (1 + slack):.5g} mm"


def test_the_helix_angle_of_a_ring_turn_is_shown(make_case):
    case = make_case(threads__0__ring_turn="90 deg")
    shown = cells(family_table(case))
    assert shown["ring turn"][0] == "90 deg"
    assert shown["angle"][0] == f"{math.degrees(math.atan(6.5 * math.pi / 2 / 60)):.5g} deg"


def test_a_material_is_named_with_its_source(make_case):
    name, material = next(iter(materials().items()))
    (rubber,) = [
        g for g in case_tables(make_case(rubber={"material": name})) if g.caption == "Rubber"
    ]
    value, source = cells(rubber)["library material"]
    assert value == name and material.source in source and material.read in source


@pytest.mark.parametrize(
    ("changes", "facts"),
    [
        ({}, ["gauge pressure", "15 kPa", "5 equal steps", "free to rotate"]),
        ({"volume": {"added": "3 mL", "steps": 1}}, ["3 mL of liquid", "one step"]),
        ({"gas": {"mass": "2 mg", "steps": 4}}, ["2 mg of air", "4 equal steps"]),
        ({"end__axial": "held", "end__twist": "held"}, ["free end is fixed"]),
        ({"end__axial": "held", "end__torque": "4 N mm"}, ["fixed along the axis", "4 N mm"]),
        ({"move": {"twist": "90 deg", "steps": 3}}, ["about the axis", "90 deg", "3 equal steps"]),
    ],
)
def test_the_problem_states_drive_end_and_move(make_case, changes, facts):
    assert_states(" ".join(problem_sentences(make_case(**changes))), *facts)


# ----------------------------------------------------------------------------------------- steps


def test_the_values_of_the_steps_are_those_of_the_file(result, tmp_path):
    """The values shown are compared with steps.csv, rounded here to the decimals given below."""
    result.save(tmp_path)
    with open(tmp_path / "steps.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    by_model = {model: [row for row in rows if row["model"] == model] for model in ("fe", "fast")}
    motion, *others = step_tables(result, brief=False)
    tables = {table.caption: table for table in others}
    places = {"twist_deg": 2, "displacement_mm": 3, "bulge_mm": 3}
    assert len(motion.rows) == len(by_model["fe"]) == 3
    for number, cell in enumerate(motion.rows):
        assert float(cell[0]) == float(by_model["fe"][number]["pressure_kPa"])
        found = iter(cell[1:])
        for name, digits in places.items():
            for model in ("fe", "fast"):
                value = float(by_model[model][number][name])
                assert abs(float(next(found)) - value) <= 0.5000001 * 10**-digits
    threads = tables["Threads A: +20°, 12 threads"]
    assert float(threads.rows[-1][1]) == round(float(by_model["fe"][-1]["tension_N.A"]), 4)


def test_without_a_state_at_rest_there_are_no_steps(make_case):
    """No requested row is reached, whatever drives the tube."""
    for drive in ({}, {"volume": {"added": "3 mL", "steps": 2}}):
        result = solve(make_case(end__force="-60 N", **drive), "fe", "1x1x6")
        assert not any(row["requested"] for row in result.runs[0].rows)
        assert all(not table.rows for table in step_tables(result, brief=False))
        assert "last state" in summary_table(result).caption
        (found,) = extra_state_tables(result)
        assert found.rows[0][0] == "last"


def test_limit_points_and_states_beyond_have_a_table(make_case):
    result = solve(make_case(threads=[], pressure__end="20 kPa"), "fast")
    (extra,) = extra_state_tables(result)
    assert extra.caption.startswith("fast: balloon limit at 11.8 kPa")
    assert extra.rows[0][0] == "limit"
    assert extra_state_tables(replace(result, runs=[])) == []


def test_a_requested_mesh_error_has_a_table(make_case):
    case = make_case(pressure__steps=1)
    result = solve(case, "fe", "1x1x4", mesh_error=True)
    table = bounds_table(result.runs[0], case)
    assert table.titles == ["quantity", "value", "mesh error", "unit"]
    assert cells(table)["twist"][1].startswith(("±", "<"))


def test_without_additional_solves_there_is_no_table_of_bounds(result):
    assert bounds_table(result.runs[0], result.case) is None


# ------------------------------------------------------------------------ limits and equilibrium


def test_limits_are_the_worst_of_the_path(make_case):
    case = make_case(threads__0__breaking_load="3 N", pressure__steps=3)
    result = solve(case, "fast")
    shown = cells(limits_table(result))
    rows = result.runs[0].rows
    stretch = table.wall_stretch_max
    assert shown[stretch.label][0] == f"{rows[-1][stretch.column]:.4g}"
    assert shown["peak tension of threads A"][2].startswith("3 N ")
    assert shown["peak tension of threads B"][1] == "15 kPa"
    assert shown["peak tension of threads B"][2].startswith("no ")


def test_the_equilibrium_checks_have_value_expected_and_verdict(result):
    energy = cells(equilibrium_table(result))[RESIDUALS["energy_gap"]]
    assert energy[:2] == [scientific(run.balance["energy_gap"]) for run in result.runs]
    assert energy[2].startswith("0;") and energy[3] == "yes"


def test_a_failed_equilibrium_check_is_marked(result):
    run = result.runs[0]
    off = replace(run, balance={**run.balance, "end_force_gap": 0.02})
    shown = cells(equilibrium_table(Result(result.case, [off])))
    assert shown[RESIDUALS["end_force_gap"]][2] == "NO"


def test_an_older_result_without_equilibrium_checks_has_dashes(result):
    run = replace(result.runs[0], balance={})
    shown = equilibrium_table(Result(result.case, [run]))
    assert {row[1] for row in shown.rows} == {"-"}
    assert {row[3] for row in shown.rows[:3]} == {"-"}


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "0"), (4.349e-5, "4.3 × 10⁻⁵"), (0.02, "2.0 × 10⁻²"), (150, "1.5 × 10²")],
)
def test_small_values_are_in_scientific_notation(value, text):
    assert scientific(value) == text


def test_the_solver_history_is_that_of_the_rows(result):
    history = history_table(result)
    assert len(history.rows) == 3
    iterations = [run.rows[1]["newton_iterations"] for run in result.runs]
    assert history.rows[1][3:5] == [str(number) for number in iterations]
    total = [str(sum(row["newton_iterations"] for row in run.rows)) for run in result.runs]
    assert cells(runs_table(result))["Newton iterations"] == total


# ------------------------------------------------------------------------------ pictures and size


def test_each_panel_is_a_picture(result):
    (row,) = panel_rows(result)
    assert [p.caption.split()[0] for p in row.pictures] == ["twist", "displacement", "bulge"]
    for drawn in row.pictures:
        assert drawn.markup.startswith("<svg role=") and "<text" in drawn.markup
        assert not re.findall(r'<g id="', drawn.markup)
    assert [label for _, label in legend(result)] == ["FE model", "fast model"]


def test_a_large_figure_becomes_a_png():
    figure = Figure(figsize=(4, 3))
    axes = figure.add_subplot()
    axes.scatter(range(3000), range(3000), c=range(3000), s=[1 + n / 3000 for n in range(3000)])
    drawn = picture(figure, 'points "of" <b>')
    assert drawn.markup.startswith("<img") and "data:image/png" in drawn.markup
    assert "&lt;b&gt;" in drawn.markup and drawn.width == 384
    assert len(drawn.markup) < MAX_SVG_BYTES


def test_the_first_page_within_the_limit_is_returned(monkeypatch):
    monkeypatch.setattr(page, "MAX_BYTES", 10)
    made = []

    def pages():
        for size in (12, 11, 6, 5):
            made.append(size)
            yield size * "a"

    assert first_within_limit(pages()) == "aaaaaa"
    assert made == [12, 11, 6], "smaller pages made"
    with refused(InputError, "1e-05 MB"):
        first_within_limit(["a" * 11])


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
def test_numbers_have_true_minus_signs(text, shown):
    assert minus(text) == shown


def test_chapters_of_the_last_validation_are_listed():
    from validation.renew import TABLE, summary_of
    from validation.suite import chapters

    summary, listed = validation_summary()
    assert summary == " ".join(summary_of(TABLE.read_text(encoding="utf-8")).split())
    known = {name: chapter.title.removesuffix(".") for name, chapter in chapters().items()}
    assert {name: title for name, title, _ in listed.rows} == known
