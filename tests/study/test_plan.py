"""Definition of a study: values, combinations, designs, and errors in its file."""

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
from tests.helpers.messages import refused

A, B = "threads.A.angle", "threads.B.angle"
RANGE = {"field": A, "from": "-30 deg", "to": "30 deg", "count": 3}


@pytest.fixture
def make(cases_folder):
    """Return a function that makes a study of the wrist; None removes a key."""

    def make_study(**changes):
        data = {"title": "Trial", "case": "greenhouse_wrist.toml", "vary": [RANGE], **changes}
        given = {key: value for key, value in data.items() if value is not None}
        return Study.parse(given, str(cases_folder), "trial.study.toml")

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


def test_range_has_equal_steps_in_the_unit_of_its_start(varied):
    assert angles(varied()) == ["-30 deg", "0 deg", "30 deg"]
    half_turn = varied(from_="0 deg", to=f"{math.pi} rad", count=5)
    assert angles(half_turn) == ["0 deg", "45 deg", "90 deg", "135 deg", "180 deg"]


def test_integers_stay_integers(make):
    counts = {"field": "threads.A.count", "from": 6, "to": 12, "count": 3}
    study = make(vary=[counts])
    assert angles(study, "threads.A.count") == [6, 9, 12]
    assert study.case_of(study.settings[1]).threads[0].count == 9


def test_every_combination_is_a_case_and_successive_ones_differ_in_one_field(make):
    other = {"field": B, "values": ["10 deg", "20 deg"]}
    study = make(vary=[RANGE, other])
    pairs = [(setting[A], setting[B]) for setting in study.settings]
    assert len(set(pairs)) == len(pairs) == 6
    for one, next_one in itertools.pairwise(pairs):
        assert sum(a != b for a, b in zip(one, next_one, strict=True)) == 1


def test_families_take_equal_or_opposite_values(make):
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
    """Reference: the points of scipy.stats.qmc, scaled to the ranges."""
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


def test_fields_have_columns_with_their_units(make):
    case = Case.parse(make().base.data)
    fields = [A, "threads.B.slack", "tube.length", "pressure.steps", "end.twist_spring"]
    found = cells(case, [*fields, "end.force"])
    assert found == {
        "angle_deg.A": 20.0,
        "slack.B": "taken up",
        "tube_length_mm": 60.0,
        "pressure_steps": 5,
        "end_twist_spring_Nmm_per_rad": 0.0,
        "end_force_N.set": 0.0,  # end_force_N is a column of the step table
    }


def test_set_changes_every_case(make):
    job_list = JobList.of(make(set={"pressure.end": "7 kPa", "pressure.steps": 2}))
    assert {(case.pressure.end, case.pressure.steps) for case in job_list.cases} == {(0.007, 2)}


def test_equal_settings_are_one_case_and_invalid_ones_are_reported(varied):
    job_list = JobList.of(varied(count=None, from_=None, to=None, values=["10 deg", "10.0 deg"]))
    assert len(job_list.cases) == 1
    job_list = JobList.of(varied(from_="0 deg", to="100 deg"))
    ((setting, reason),) = job_list.unusable
    assert setting == {A: "100 deg"}
    assert "threads[1].angle" in reason


def test_the_first_setting_may_be_invalid(varied):
    job_list = JobList.of(varied(from_="100 deg", to="0 deg"))
    assert [setting for setting, _ in job_list.unusable] == [{A: "100 deg"}]
    assert job_list.study.sample == job_list.cases[0]


def test_too_many_cases_are_refused_before_they_are_made(make):
    ranges = [{**RANGE, "count": 10_000}, {**RANGE, "field": B, "count": 10_000}]
    with refused(InputError, "vary", " 100000000 ", " 1000000 "):
        make(vary=ranges)


def test_study_is_restored_from_its_data(make):
    study = make(note="As written.", set={"pressure.steps": 2}, shapes=[{A: "0 deg"}])
    again = Study.restore(json.loads(json.dumps(study.data)), study.base.data)
    assert (again.hash, again.settings) == (study.hash, study.settings)


def test_shapes_are_kept_by_some_fields_or_all(make):
    other = {"field": B, "values": ["10 deg", "20 deg"]}
    study = make(vary=[RANGE, other], shapes=[{A: "30.0 deg"}])
    kept = [study.keeps_shapes(case) for case in JobList.of(study).cases]
    assert sum(kept) == 2
    everything = make(shapes=[{}])
    assert all(everything.keeps_shapes(case) for case in JobList.of(everything).cases)


def test_schema_is_current_and_accepts_every_ready_study(cases_folder):
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
    ("changes", "facts"),
    [
        ({"vary": None}, ["vary", "missing"]),
        ({"vary": []}, ["vary", "[[vary]]"]),
        ({"vary": RANGE}, ["vary", "[[vary]]"]),
        ({"models": []}, ["models = []"]),
        ({"models": "fast"}, ['models = "fast"', "list"]),
        ({"models": ["slow"]}, ['models[1] = "slow"', "'fast' or 'fe'"]),
        ({"vary": [RANGE, RANGE]}, ["vary", A]),
        ({"set": {A: "3 deg"}}, ["vary", A]),
        ({"set": {"pressure.end": "3 mm"}}, ['pressure.end = "3 mm"', "pressure"]),
        ({"scatter": {"points": 3}}, ["scatter", "count"]),
        ({"shapes": [{"tube.wall": "1 mm"}]}, ["shapes", '"tube.wall"']),
        ({"shapes": [{A: "3 mm"}]}, ['threads[1].angle = "3 mm"', "angle"]),
        ({"colour": 1}, ["colour", "title"]),
    ],
)
def test_errors_name_file_key_value_and_what_is_allowed(make, changes, facts):
    with refused(InputError, *facts) as caught:
        make(**changes)
    (line,) = str(caught.value).splitlines()
    assert line.startswith("trial.study.toml: ")


@pytest.mark.parametrize(
    ("changes", "facts"),
    [
        ({"field": "threads.C.angle"}, ['"C"', "A, B"]),
        ({"field": "tube.colour"}, ["tube.colour"]),
        ({"to": "30 mm"}, ['vary[1].to = "30 mm"', '"deg"']),
        ({"to": "nan deg"}, ['vary[1].to = "nan deg"', "range"]),
        ({"from_": "loose"}, ['vary[1].from = "loose"', "range"]),
        ({"from_": -30}, ["range", "unit"]),
        ({"from_": -30, "to": 30}, ["threads[1].angle = -30", "unit"]),
        ({"values": ["1 deg"]}, ["values", "from"]),
        ({"to": None}, ["vary[1].to", "values"]),
        ({"count": None}, ["vary", "count", "[scatter]"]),
        ({"count": None, "from_": None, "to": None, "values": [math.nan]}, ["finite"]),
        ({"count": 1}, ["vary[1].count = 1", "2"]),
        ({"step": "1 deg"}, ["field, same, opposite, values, from, to, count"]),
    ],
)
def test_errors_of_a_range_name_key_value_and_what_is_allowed(varied, changes, facts):
    with refused(InputError, *facts) as caught:
        varied(**changes)
    assert len(str(caught.value).splitlines()) == 1


def test_impossible_shapes_and_meshes_are_refused_before_the_solves(make):
    with refused(InputError, "shapes", A, "3 deg"):
        JobList.of(make(shapes=[{A: "3 deg"}]))
    with refused(InputError, "resolution", '"rough"'):
        JobList.of(make(models=["fe"], resolution="rough"))
