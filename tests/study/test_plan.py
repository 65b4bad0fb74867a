"""What a study asks: values, combinations, designs, and what is wrong with its file."""

import itertools
import json
import math
import tomllib

import jsonschema
import pytest
from scipy.stats import qmc

from fem import Case
from fem.core.errors import InputError
from fem.core.schema_base import schema_of_file
from fem.quantities.case_fields import cells
from fem.study.job_list import JobList
from fem.study.plan import Study

A, B = "threads.A.angle", "threads.B.angle"
RANGE = {"field": A, "from": "-30 deg", "to": "30 deg", "count": 3}


@pytest.fixture
def make(cases_folder):
    """Return a function that makes a study of the wrist; a None takes a key away."""

    def make_study(**changes):
        data = {"title": "Trial", "case": "greenhouse_wrist.toml", "vary": [RANGE], **changes}
        given = {key: value for key, value in data.items() if value is not None}
        return Study.parse(given, cases_folder, "trial.study.toml")

    return make_study


@pytest.fixture
def varied(make):
    """Return a function that makes a study of one range with other keys."""

    def make_study(**changes):
        table = {**RANGE, **{key.rstrip("_"): value for key, value in changes.items()}}
        return make(vary=[{key: value for key, value in table.items() if value is not None}])

    return make_study


def angles(study, field=A):
    return [setting[field] for setting in study.settings]


def test_range_has_equal_steps_in_the_unit_of_its_beginning(varied):
    assert angles(varied()) == ["-30 deg", "0 deg", "30 deg"]
    half_turn = varied(from_="0 deg", to=f"{math.pi} rad", count=5)
    assert angles(half_turn) == ["0 deg", "45 deg", "90 deg", "135 deg", "180 deg"]


def test_whole_numbers_stay_whole(make):
    counts = {"field": "threads.A.count", "from": 6, "to": 12, "count": 3}
    study = make(vary=[counts])
    assert angles(study, "threads.A.count") == [6, 9, 12]
    assert study.case_of(study.settings[1]).threads[0].count == 9


def test_every_combination_is_a_case_and_neighbours_differ_in_one_step(make):
    other = {"field": B, "values": ["10 deg", "20 deg"]}
    study = make(vary=[RANGE, other])
    pairs = [(setting[A], setting[B]) for setting in study.settings]
    assert len(set(pairs)) == len(pairs) == 6
    for one, next_one in itertools.pairwise(pairs):
        assert sum(a != b for a, b in zip(one, next_one, strict=True)) == 1


def test_families_are_tied_or_mirrored(make):
    mirrored = make(vary=[{**RANGE, "opposite": [B]}])
    assert [s[B] for s in mirrored.settings] == ["30 deg", "0 deg", "-30 deg"]
    slack = {"field": "threads.A.slack", "same": ["threads.B.slack"], "values": ["3 %"]}
    (setting,) = make(vary=[slack]).settings
    assert setting == {"threads.A.slack": "3 %", "threads.B.slack": "3 %"}


@pytest.mark.parametrize(
    ("method", "design"),
    [("Sobol", qmc.Sobol), ("Halton", qmc.Halton), ("Latin hypercube", qmc.LatinHypercube)],
)
def test_scattered_points_are_those_of_scipy(make, method, design):
    """The general library is the reference: its points, scaled to the ranges."""
    lengths = {"field": "tube.length", "from": "40 mm", "to": "80 mm"}
    ranges = [{key: RANGE[key] for key in ("field", "from", "to")}, lengths]
    study = make(vary=ranges, scatter={"method": method, "points": 8, "seed": 3})
    expected = qmc.scale(design(d=2, rng=3).random(8), [-30, 40], [30, 80])
    found = [list(cells(study.case_of(s), [A, "tube.length"]).values()) for s in study.settings]
    assert found == pytest.approx(expected, rel=1e-10)


def test_scattered_points_are_combined_with_lists(make):
    ranged = {key: RANGE[key] for key in ("field", "from", "to")}
    listed = {"field": "threads.B.slack", "values": ["taken up", "2 %", "4 %"]}
    assert len(make(vary=[ranged, listed], scatter={"points": 5}).settings) == 15


def test_fields_stand_in_columns_with_their_units(make):
    case = Case.parse(make().base.data)
    fields = [A, "threads.B.slack", "tube.length", "pressure.steps", "end.twist_spring"]
    told = cells(case, [*fields, "end.force"])
    assert told == {
        "angle_deg.A": 20.0,
        "slack.B": "taken up",
        "tube_length_mm": 60.0,
        "pressure_steps": 5,
        "end_twist_spring_Nmm_per_rad": 0.0,
        "end_force_N.set": 0.0,  # the step table has a column end_force_N
    }


def test_what_is_set_holds_for_every_case(make):
    job_list = JobList.of(make(set={"pressure.end": "7 kPa", "pressure.steps": 2}))
    assert {(case.pressure.end, case.pressure.steps) for case in job_list.cases} == {(0.007, 2)}


def test_equal_settings_are_one_case_and_impossible_ones_are_told(varied):
    job_list = JobList.of(varied(count=None, from_=None, to=None, values=["10 deg", "10.0 deg"]))
    assert len(job_list.cases) == 1
    job_list = JobList.of(varied(from_="0 deg", to="100 deg"))
    ((setting, why),) = job_list.unusable
    assert setting == {A: "100 deg"}
    assert "threads[1].angle" in why


def test_a_setting_that_makes_no_case_may_stand_first(varied):
    job_list = JobList.of(varied(from_="100 deg", to="0 deg"))
    assert [setting for setting, _ in job_list.unusable] == [{A: "100 deg"}]
    assert job_list.study.sample == job_list.cases[0]


def test_too_many_cases_are_refused_before_they_are_made(make):
    ranges = [{**RANGE, "count": 10_000}, {**RANGE, "field": B, "count": 10_000}]
    with pytest.raises(InputError, match="vary: 100000000 cases; at most 1000000 are allowed"):
        make(vary=ranges)


def test_study_comes_back_from_what_is_written_down(make):
    study = make(note="As written.", set={"pressure.steps": 2}, shapes=[{A: "0 deg"}])
    again = Study.restore(json.loads(json.dumps(study.data)), study.base.data)
    assert (again.hash, again.settings) == (study.hash, study.settings)


def test_shapes_are_asked_by_some_fields_or_none(make):
    other = {"field": B, "values": ["10 deg", "20 deg"]}
    study = make(vary=[RANGE, other], shapes=[{A: "30.0 deg"}])
    wanted = [study.wants_shapes(case) for case in JobList.of(study).cases]
    assert sum(wanted) == 2
    everything = make(shapes=[{}])
    assert all(everything.wants_shapes(case) for case in JobList.of(everything).cases)


def test_schema_is_current_and_takes_every_ready_study(cases_folder):
    stored = json.loads((cases_folder / "study.schema.json").read_text(encoding="utf-8"))
    assert stored == schema_of_file(Study)
    checker = jsonschema.Draft202012Validator
    checker.check_schema(schema_of_file(Study))
    files = list(cases_folder.glob("*.study.toml"))
    assert files
    for file in files:
        checker(schema_of_file(Study)).validate(tomllib.loads(file.read_text(encoding="utf-8")))
        assert JobList.of(Study.load(file)).curves


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"vary": None}, "vary: this key is missing"),
        ({"vary": []}, "vary: there must be one table [[vary]] at least"),
        ({"vary": RANGE}, "vary: write each entry as a table [[vary]]"),
        ({"models": []}, "models = []: there must be one at least"),
        ({"models": "fast"}, 'models = "fast": write a list in brackets'),
        ({"models": ["slow"]}, "models[1] = \"slow\": it must be 'fast' or 'fe'"),
        ({"vary": [RANGE, RANGE]}, f'vary: the field "{A}" is set more than once'),
        ({"set": {A: "3 deg"}}, f'vary: the field "{A}" is set more than once'),
        ({"set": {"pressure.end": "3 mm"}}, 'pressure.end = "3 mm": this is not a pressure'),
        ({"scatter": {"points": 3}}, "scatter: every range has a count"),
        ({"shapes": [{"tube.wall": "1 mm"}]}, 'shapes: the field "tube.wall" does not vary'),
        ({"shapes": [{A: "3 mm"}]}, 'threads[1].angle = "3 mm": this is not an angle'),
        ({"colour": 1}, "colour: unknown key; allowed here: title"),
    ],
)
def test_what_is_wrong_is_named(make, changes, told):
    with pytest.raises(InputError) as caught:
        make(**changes)
    (line,) = str(caught.value).splitlines()
    assert line.startswith("trial.study.toml: ")
    assert told in line


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"field": "threads.C.angle"}, 'the case has no family "C"; it has A, B'),
        ({"field": "tube.colour"}, "tube.colour: unknown key"),
        ({"to": "30 mm"}, 'vary[1].to = "30 mm": "30 mm" is not a multiple of "deg"'),
        ({"to": "nan deg"}, 'vary[1].to = "nan deg": a range goes from one quantity to another'),
        ({"from_": "loose"}, 'vary[1].from = "loose": a range goes from one quantity to another'),
        ({"from_": -30}, "either both ends of a range have a unit or none"),
        ({"from_": -30, "to": 30}, "threads[1].angle = -30: a bare number has no unit"),
        ({"values": ["1 deg"]}, "values are given too"),
        ({"to": None}, "vary[1].to: this key is missing, or else values"),
        ({"count": None}, "vary: a range has no count; give it one, or a table [scatter]"),
        ({"count": None, "from_": None, "to": None, "values": [math.nan]}, "a finite number"),
        ({"count": 1}, "vary[1].count = 1: it must be greater than or equal to 2"),
        ({"step": "1 deg"}, "allowed here: field, same, opposite, values, from, to, count"),
    ],
)
def test_what_is_wrong_with_a_range_is_named(varied, changes, told):
    with pytest.raises(InputError) as caught:
        varied(**changes)
    (line,) = str(caught.value).splitlines()
    assert told in line


def test_what_cannot_be_done_is_told_before_the_work(make):
    with pytest.raises(InputError, match="no case has"):
        JobList.of(make(shapes=[{A: "3 deg"}]))
    with pytest.raises(InputError, match='resolution "rough"'):
        JobList.of(make(models=["fe"], resolution="rough"))
