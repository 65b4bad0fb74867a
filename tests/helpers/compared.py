"""A small study, a bench file for it, and its result by the fast model."""

import itertools
from functools import cache
from pathlib import Path

import numpy as np
import pandas

from fem.compare.altered import with_added_slack
from fem.measurements.bench import read_bench
from fem.study.plan import Study
from fem.study.study_result import StudyResult, tabulate
from fem.study.worker import Task, solve_task
from tests.helpers.records import study_record

CASES = Path(__file__).parents[2] / "cases"
RULES = ("taken up", "cut at 30 deg")
PAIRS = [(20, -25), (-10, 25), (15, 10), (-25, 20)]
PRESSURES = [3.0, 4.0, 6.0, 7.5, 9.0, 10.0, 12.0, 13.0]
STD = {"twist": 1.0, "displacement": 0.08}
COLUMNS = {"twist": "twist_deg", "displacement": "displacement_mm"}
HEAD = [
    *("angle.A [deg]", "angle.B [deg]", "slack", "pressure [kPa]"),
    *("twist [deg]", "twist.std [deg]", "displacement [mm]", "displacement.std [mm]"),
]


def make_study(**changes):
    """Return a study of the ready case over both slack rules and some pairs of angles."""
    data = {
        "title": "Reach of an invented wrist",
        "case": "greenhouse_wrist.toml",
        "resolution": "1x1x6",
        "set": {"pressure.end": "13 kPa", "pressure.steps": 13},
        "vary": [
            {"field": "threads.A.slack", "same": ["threads.B.slack"], "values": list(RULES)},
            {"field": "threads.A.angle", "values": ["20 deg", "-10 deg", "15 deg", "-25 deg"]},
            {"field": "threads.B.angle", "values": ["-25 deg", "25 deg", "10 deg", "20 deg"]},
        ],
    }
    return Study.parse({**data, **changes}, CASES)


def setting(first, second, rule):
    """Return a setting of the study."""
    return {
        "threads.A.angle": f"{first} deg",
        "threads.B.angle": f"{second} deg",
        "threads.A.slack": rule,
        "threads.B.slack": rule,
    }


@cache
def make_study_result():
    """Return the result of the small study by the fast model."""
    return solve_study(make_study())


def solve_study(study):
    """Return the result of a study solved by the fast model."""
    cases = [study.case_of(each) for each in study.settings]
    curves = [solved.curve for solved in solve_task(Task("fast", tuple(cases), "1x1x6"))]
    ended = [
        {"case": curve.case, "model": "fast", "status": curve.status, "tries": 1}
        | {"termination": curve.termination.data()}
        for curve in curves
        if curve.status != "reached"
    ]
    return StudyResult(study, tabulate(study, cases, curves), study_record(study, ended))


@cache
def fast_rows(left=0.0):
    """Return the rows of the bench file by the fast model, with slack (%) in rows "taken up"."""
    study = make_study()
    settings = [(*pair, rule) for rule, pair in itertools.product(RULES, PAIRS)]
    cases = []
    for place in settings:
        case = study.case_of(setting(*place)).changed(pressure={"end": "13 kPa", "steps": 26})
        has_slack = left and place[-1] == "taken up"
        cases.append(with_added_slack(["A", "B"])(case, left) if has_slack else case)
    rows = []
    for place, solved in zip(
        settings, solve_task(Task("fast", tuple(cases), "coarse")), strict=True
    ):
        steps = pandas.DataFrame(solved.curve.steps).set_index("pressure_kPa")
        for pressure in PRESSURES:
            values = [steps[column][pressure] for column in COLUMNS.values()]
            rows.append((*place, pressure, *values))
    return rows


def write_bench(path, rows, seed=None):
    """Write a bench file of rows of :func:`fast_rows`, with noise if there is a seed."""
    rng = np.random.default_rng(seed)
    lines = ["# invented", ",".join(HEAD)]
    for *place, twist, displacement in rows:
        noise = rng.normal(size=2) if seed is not None else (0.0, 0.0)
        twist, displacement = twist + noise[0], displacement + 0.08 * noise[1]
        lines.append(",".join(map(str, [*place, twist, 1.0, displacement, 0.08])))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def make_bench(folder, rows, seed=None):
    """Return the bench data of such a file."""
    return read_bench(write_bench(folder / "wrist.bench.csv", rows, seed), make_study().base)
