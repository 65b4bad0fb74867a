"""Terminal output of the command `solve`: progress bars, tables and remarks."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from fem.case.case import Case
from fem.cli.print_result import print_result, progress
from fem.continuation.termination import TerminationKind
from fem.quantities.column import IF_BONDED
from fem.results.additional_solve import additional_solves
from fem.results.result import Result
from fem.results.run import IncompleteSolve
from fem.results.termination import Termination
from fem.solving.single import MODELS, solve
from fem.wording.termination import PURPOSES, SOLVED_HOW, limit_name, limit_text
from tests.helpers.messages import assert_states
from tests.helpers.pictures import cut


@pytest.fixture
def printed(tmp_path, monkeypatch, capsys):
    """Return a function that returns the printed lines of a result at 80 columns."""
    monkeypatch.setenv("COLUMNS", "80")

    def lines_of(result):
        print_result(result, tmp_path)
        lines = capsys.readouterr().out.splitlines()
        assert all(len(line) <= 80 for line in lines[:-1]), "the last names the folder"
        return lines

    return lines_of


def with_run(result, **changes):
    """Return the result of one run with some of its fields changed."""
    return replace(result, runs=[replace(result.runs[0], **changes)])


def cells(lines, first):
    """Return the cells of the rows that begin with `first`."""
    return [line.split() for line in lines if line.split()[:1] == [first]]


def flat(lines):
    """Return the lines as one, without line breaks."""
    return " ".join(" ".join(lines).split())


# ----------------------------------------------------------------------------------------- bars


def test_each_solve_has_a_bar_in_the_order_of_the_solves(make_case, capsys):
    case = make_case(threads__0__hold="sliding", threads__0__friction=0.2)
    additional = additional_solves(case, MODELS, mesh_error=True)
    with progress(MODELS, 5, additional) as report:
        for done, solve in enumerate(additional, 2):
            report(solve.solve, done, 5)
    lines = capsys.readouterr().err.splitlines()
    notes, bars = lines[:2], lines[2:]
    columns = [solve.column for solve in additional]
    for note, column in zip(notes, columns, strict=True):
        assert_states(note, f"{PURPOSES[column]}: ", SOLVED_HOW[column])
    names = ["FE model", *(f"FE model {SOLVED_HOW[column]}" for column in columns), "fast model"]
    for line, name, done in zip(bars, names, [0, 2, 3, 0], strict=True):
        assert line.startswith(f"{name} ")
        assert f"{done}/5" in line
    assert not additional_solves(case, ["fast"], mesh_error=True)


# --------------------------------------------------------------------------------------- tables


def test_models_are_side_by_side_where_one_has_fewer_steps(result, printed):
    lines = printed(Result(result.case, [cut(result.runs[0], 1), result.runs[1]]))
    fast = result.runs[1].rows[-1]
    assert cells(lines, "15")[0][1:4] == ["-", f"{fast['twist_deg']:.2f}", "-"]
    assert "-" not in cells(lines, "7.5")[0]


@pytest.mark.parametrize("end", ["pressure", "volume"])
def test_a_limit_point_is_apart_from_the_requested_steps(make_case, printed, end):
    drive = {"pressure__end": "20 kPa"}
    if end == "volume":
        drive = {"volume": {"added": "20 mL", "steps": 5}}
    solved = solve(make_case(threads=[], **drive), "fast")
    (run,) = solved.runs
    lines = printed(solved)
    (limit,) = cells(lines, "limit")
    found = next(row for row in run.rows if row["limit"])
    assert limit[1] == f"{found['pressure_kPa']:.4g}"
    assert len(cells(lines, "beyond")) == sum(
        not r["requested"] and not r["limit"] for r in run.rows
    )
    assert run.reached == (end == "volume")
    assert ("stopped early" in flat(lines)) == (end == "pressure")
    assert limit_text(found) in flat(lines)
    assert len(cells(lines, "11.8")) == 0, "listed as a step"


@pytest.mark.parametrize(
    ("drive", "first"),
    [
        ({"volume": {"added": "2 mL", "steps": 2}}, "added"),
        ({"gas": {"mass": "2 mg", "steps": 2}}, "air"),
    ],
)
def test_the_requested_drive_is_the_first_column(make_case, printed, drive, first):
    lines = printed(solve(make_case(**drive), "fast"))
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
def test_end_loads_are_shown_where_the_end_is_not_free(make_case, printed, changes, force, torque):
    lines = printed(solve(make_case(pressure__steps=1, **changes), "fast"))
    heads = " ".join(line for line in lines if line.startswith("pressure"))
    assert ("end force" in heads, "end torque" in heads) == (force, torque)


def test_the_mesh_error_is_beside_its_value(make_case, printed):
    solved = solve(make_case(pressure__steps=1), "fe", "1x1x4", mesh_error=True)
    row = solved.runs[0].rows[-1]
    lines = printed(solved)
    for title, name, form in [
        ("twist", "twist_deg", ".2f"),
        ("displacement", "displacement_mm", ".3f"),
        ("bulge", "bulge_mm", ".3f"),
    ]:
        (line,) = cells(lines, title)
        assert line[1:4] == [f"{row[name]:{form}}", "±", f"{row[f'{name}.mesh_error']:{form}}"]


def test_bounds_are_of_the_last_step_that_all_solves_reach(result, printed):
    first, second, third = result.runs[0].rows
    rows = [
        {**first, "twist_deg.mesh_error": 0.0, "twist_deg.if_bonded": 0.0},
        {**second, "twist_deg.mesh_error": 0.25, "twist_deg.if_bonded": 9.0},
        {**third, "twist_deg.mesh_error": 0.5},
    ]
    end = Termination.failed(TerminationKind.ERROR, "stuck")
    lines = printed(with_run(result, rows=rows, incomplete=[IncompleteSolve("if_bonded", 1, end)]))
    assert any(line.startswith("FE at 7.5 kPa, ") for line in lines)
    (twist,) = cells(lines, "twist")
    assert twist[2:5] == ["9.00", "±", "0.25"]
    solve = f"{PURPOSES[IF_BONDED]}: the FE model {SOLVED_HOW[IF_BONDED]}"
    assert_states(flat(lines), solve, "after step 1: stuck")


def test_friction_is_bracketed_and_its_capstan_ratio_given(make_case, printed):
    case = make_case(pressure__steps=1, threads__0__hold="sliding", threads__0__friction=0.2)
    solved = solve(case, "fe", "1x1x4")
    row = solved.runs[0].rows[-1]
    lines = printed(solved)
    (twist,) = cells(lines, "twist")
    assert twist[1:3] == [f"{row['twist_deg']:.2f}", f"{row['twist_deg.if_bonded']:.2f}"]
    heads = next(line for line in lines if "bonded" in line).split()
    assert heads[:3] == ["quantity", "sliding", "bonded"]
    # mu phi sin(alpha) with phi = L tan(alpha) / R, of a tube of 60 mm and 6.5 mm
    exponent = 0.2 * 60 / 6.5 * math.tan(math.radians(20)) * math.sin(math.radians(20))
    assert f"factor {math.exp(exponent):.3g} (A)" in flat(lines)


# -------------------------------------------------------------------------------------- remarks


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({}, ": taut from the start"),
        ({"threads__0__slack": "90 %"}, "threads A: slack throughout"),
        (
            {"threads__0__slack": "cut at 10 deg", "end": {"axial": "held"}},
            "threads A: 4.6 % too short, stretched by",
        ),
    ],
)
def test_the_output_states_when_families_tighten(make_case, printed, changes, text):
    changes = {"pressure__steps": 2, "pressure__end": "5 kPa", **changes}
    assert text in flat(printed(solve(make_case(**changes), "fast")))


def test_a_run_that_ended_at_rest_does_not_call_its_threads_slack_throughout(make_case, printed):
    solved = solve(make_case(threads__0__slack="90 %", pressure__steps=1), "fast")
    shown = flat(printed(Result(solved.case, [cut(solved.runs[0], 0)])))
    assert "threads A: slack " in shown
    assert "throughout" not in shown


def test_tightening_is_found_between_two_steps(cases_folder, printed):
    solved = solve(Case.load(cases_folder / "seedling_lifter.toml"), "fast")
    rows = solved.runs[0].rows
    pressure, strain = (
        [row[name] for row in rows] for name in ("pressure_kPa", "thread_strain.left")
    )
    found = np.interp(0.0, strain, pressure)
    assert f"threads left: taut from {found:.3g} kPa" in printed(solved)


def test_families_with_other_counts_in_the_mesh_are_named(result, printed):
    meshed = {"threads_meshed": {"A": 36, "B": 12}}
    shown = flat(printed(with_run(result, mesh=meshed)))
    assert_states(shown, "coarse mesh", "family A", "36 threads", "12")
    assert "family B" not in shown
    assert "coarse mesh" not in flat(printed(result))


@pytest.mark.parametrize(
    ("column", "value", "text"),
    [
        ("rubber_utilisation", 0.83, "83 %"),
        ("tension_peak_N.A", 1.8, "90 %"),
        ("tension_peak_N.A", 2.4, "BREAK at"),
    ],
)
def test_a_limit_is_named_when_a_run_comes_near(result, printed, column, value, text):
    def with_used(last):
        rows = [{**row, "rubber_utilisation": 0.1, column: 0.1} for row in result.runs[0].rows]
        changed = with_run(result, rows=[*rows[:-1], {**rows[-1], column: last}])
        rubber = {"law": "Gent", "shear_modulus": "60 kPa", "limit": 30.0}
        case = result.case.changed(threads__0__breaking_load="2 N", rubber=rubber)
        return replace(changed, case=case)

    shown = flat(printed(with_used(value)))
    assert text in shown
    assert not re.search(r"e[+-][0-9]+ %", shown), "powers of ten"
    far = flat(printed(with_used(0.5)))
    assert "locking" not in far and "breaking" not in far and "BREAK" not in far


@pytest.mark.parametrize(("count", "named"), [(7, True), (6, False)])
def test_a_mesh_of_the_full_tube_is_named(result, printed, count, named):
    mesh = {"sectors_of_the_tube": 1, "threads_meshed": {"A": count, "B": 12}}
    case = result.case.changed(threads__0__count=count)
    shown = flat(printed(replace(with_run(result, mesh=mesh), case=case)))
    assert ("full tube" in shown) == named


def test_a_narrow_bore_is_named_with_its_stretch_and_pressure(result, printed):
    rows = result.runs[0].rows
    narrow = {**rows[-1], "bore_stretch": 0.21}
    shown = flat(printed(with_run(result, rows=[*rows[:-1], narrow])))
    assert_states(shown, "bore (FE)", "0.21", f"{narrow['pressure_kPa']:.3g} kPa")
    assert "bore (FE)" not in flat(printed(result))


@pytest.mark.parametrize("hold", ["geodesic", "sliding"])
def test_threads_that_slip_are_named_as_a_possible_cause_of_a_limit(result, printed, hold):
    case = result.case.changed(threads__1__hold=hold)
    rows = [*result.runs[0].rows[:-1], result.runs[0].rows[-1] | {"limit": True}]
    run = replace(result.runs[0], rows=rows)
    fast, fe = (replace(run, model=model) for model in ("fast", "fe"))
    named = "threads B (FE) slide" in flat(printed(replace(result, case=case, runs=[fe])))
    assert named == (hold == "geodesic")
    assert "slide" not in flat(printed(replace(result, case=case, runs=[fast])))


def test_a_stretch_beyond_the_valid_range_of_the_rubber_is_named(result, make_case, printed):
    rubber = {"material": "platinum-cure silicone, Shore 00-30"}
    known = replace(result, case=make_case(rubber=rubber))
    rows = [dict(row, wall_stretch_max=2.5) for row in result.runs[0].rows]
    assert "wall stretch 2.5 EXCEEDS 2," in flat(printed(with_run(known, rows=rows)))
    assert "EXCEEDS" not in flat(printed(known))


@pytest.mark.parametrize(("bore", "name"), [(1.7, "balloon limit"), (0.98, "pressure limit")])
def test_a_limit_is_a_balloon_limit_only_where_the_bore_widens(bore, name):
    assert limit_name(bore) == name
