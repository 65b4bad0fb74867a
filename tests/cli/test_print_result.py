"""What a terminal shows of a solve: bars, tables, and remarks."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from fem.case.case import Case
from fem.cli.print_result import print_result, progress
from fem.continuation.termination import TerminationKind
from fem.results.additional_solve import additional_solves
from fem.results.result import Result
from fem.results.run import IncompleteSolve
from fem.results.termination import Termination
from fem.solving.single import MODELS, solve
from fem.wording.termination import limit_name, limit_text
from tests.helpers.shown import cut


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


# ----------------------------------------------------------------------------------------- bars


def test_each_solve_has_a_bar_in_the_order_of_the_work(make_case, capsys):
    case = make_case(threads__0__hold="gliding", threads__0__friction=0.2)
    seconds = additional_solves(case, MODELS, mesh_error=True)
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
    assert not additional_solves(case, ["fast"], mesh_error=True)


# --------------------------------------------------------------------------------------- tables


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
    assert limit_text(found) in flat(lines)
    assert len(cells(lines, "11.8")) == 0, "the limit is no step that was asked for"


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
    end = Termination.failed(TerminationKind.ERROR, "stuck")
    lines = say(one(result, rows=rows, incomplete=[IncompleteSolve("if_bonded", 1, end)]))
    assert "FE at 7.5 kPa, the last step that all solves reach" in lines
    (twist,) = cells(lines, "twist")
    assert twist[2:5] == ["9.00", "±", "0.25"]
    said = "friction: the FE model with bonded threads ended after step 1: stuck"
    assert said in flat(lines)


def test_friction_is_a_bracket_with_its_capstan_ratio(make_case, say):
    case = make_case(pressure__steps=1, threads__0__hold="gliding", threads__0__friction=0.2)
    solved = solve(case, "fe", "1x1x4")
    row = solved.runs[0].rows[-1]
    lines = say(solved)
    (twist,) = cells(lines, "twist")
    assert twist[1:3] == [f"{row['twist_deg']:.2f}", f"{row['twist_deg.if_bonded']:.2f}"]
    heads = next(line for line in lines if "bonded" in line).split()
    assert heads[:3] == ["measure", "gliding", "bonded"]
    # mu phi sin(alpha) with phi = L tan(alpha) / R, of a tube of 60 mm and 6.5 mm
    exponent = 0.2 * 60 / 6.5 * math.tan(math.radians(20)) * math.sin(math.radians(20))
    assert f"factor A {math.exp(exponent):.3g}" in flat(lines)


# -------------------------------------------------------------------------------------- remarks


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
        ("tension_peak_N.A", 1.8, "90 % of the breaking load"),
        ("tension_peak_N.A", 2.4, "BREAK at"),
    ],
)
def test_margins_are_told_where_little_is_left(result, say, column, value, text):
    def with_used(last):
        rows = [{**row, "rubber_used": 0.1, column: 0.1} for row in result.runs[0].rows]
        changed = one(result, rows=[*rows[:-1], {**rows[-1], column: last}])
        rubber = {"law": "Gent", "shear_modulus": "60 kPa", "limit": 30.0}
        case = result.case.changed(threads__0__breaking_load="2 N", rubber=rubber)
        return replace(changed, case=case)

    said = flat(say(with_used(value)))
    assert text in said
    assert not re.search(r"e[+-][0-9]+ %", said), "a share is no power of ten"
    calm = flat(say(with_used(0.5)))
    assert "locks" not in calm and "breaking" not in calm and "BREAK" not in calm


@pytest.mark.parametrize(("count", "told"), [(7, True), (6, False)])
def test_tube_that_is_meshed_whole_is_told(result, say, count, told):
    mesh = {"sectors_of_the_tube": 1, "threads_meshed": {"A": count, "B": 12}}
    case = result.case.changed(threads__0__count=count)
    said = flat(say(replace(one(result, mesh=mesh), case=case)))
    assert ("the full tube is meshed" in said) == told


def test_narrow_bore_is_told(result, say):
    rows = result.runs[0].rows
    narrow = {**rows[-1], "bore_stretch": 0.21}
    said = flat(say(one(result, rows=[*rows[:-1], narrow])))
    assert f"bore narrowed to 0.21 of its radius at {narrow['pressure_kPa']:.3g} kPa" in said
    assert "narrowed" not in flat(say(result))


@pytest.mark.parametrize("hold", ["free path", "gliding"])
def test_limit_is_told_to_be_that_of_threads_that_slip(result, say, hold):
    case = result.case.changed(threads__1__hold=hold)
    rows = [*result.runs[0].rows[:-1], result.runs[0].rows[-1] | {"limit": True}]
    run = replace(result.runs[0], rows=rows)
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


@pytest.mark.parametrize(("bore", "name"), [(1.7, "balloon limit"), (0.98, "pressure limit")])
def test_limit_is_a_balloon_only_where_the_bore_widens(bore, name):
    assert limit_name(bore) == name
