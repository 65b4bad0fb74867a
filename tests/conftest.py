"""Fixtures: variations of the ready case, models, finite differences."""

import os
import tomllib
from functools import cache
from pathlib import Path

import pytest
import tomlkit
from hypothesis import settings

import fem.fe  # noqa: F401 - the wheel of the solver must be imported before dolfinx
from fem.case.case import Case, CaseError
from fem.core.processes import use_one_thread
from fem.solving.single import solve

# The same examples in every run, and no time limit, so that no test fails on a busy machine.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")

# Output has the width of a file, not of the terminal that readline, which pytest imports, names to
# child processes such as those of pytest-xdist.
for name in ("COLUMNS", "LINES"):
    os.environ.pop(name, None)
    os.unsetenv(name)  # readline sets it outside os.environ

use_one_thread()  # threads of several test processes would wait for each other

CASES = Path(__file__).parents[1] / "cases"

RUBBERS = {
    "neo-Hookean": {"law": "neo-Hookean", "shear_modulus": "60 kPa"},
    "Mooney-Rivlin": {"law": "Mooney-Rivlin", "c1": "20 kPa", "c2": "10 kPa"},
    "Yeoh": {"law": "Yeoh", "c1": "30 kPa", "c2": "-1 kPa", "c3": "100 Pa"},
    "Gent": {"law": "Gent", "shear_modulus": "60 kPa", "limit": 40.0},
    "Ogden": {
        "law": "Ogden",
        "terms": [
            {"modulus": "60 kPa", "exponent": 1.3},
            {"modulus": "1 kPa", "exponent": 5.0},
            {"modulus": "-5 kPa", "exponent": -1.5},
        ],
    },
}


@pytest.fixture(scope="session")
def cases_folder():
    return CASES


@pytest.fixture(scope="session")
def ready_cases():
    """Return the files of the ready cases, without the studies in the same folder."""
    return sorted(set(CASES.glob("*.toml")) - set(CASES.glob("*.study.toml")))


@pytest.fixture(scope="session")
def rubbers():
    """Return the table of one rubber of each law, by the name of the law."""
    return RUBBERS


@pytest.fixture(scope="session")
def make_case():
    """Return a function that returns the ready case with changed keys."""
    ready = Case.load(CASES / "greenhouse_wrist.toml")

    def make(**changes):
        return ready.changed(**changes)

    return make


@pytest.fixture(scope="session")
def result(make_case):
    """Return the result of both models for the ready case in two steps, on a coarse mesh."""
    return solve(make_case(pressure__steps=2), resolution="1x1x6")


@pytest.fixture
def ready(cases_folder):
    """Return the data of the ready case, as read from its file."""
    return tomllib.loads((cases_folder / "greenhouse_wrist.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def put():
    """Return a function that sets a dotted key, such as ``threads.0.angle``, in the data of a case.

    A value of None removes it.
    """

    def set_key(data, key, value):
        *parents, last = (int(part) if part.isdigit() else part for part in key.split("."))
        for parent in parents:
            data = data[parent]
        if value is None:
            del data[last]
        else:
            data[last] = value

    return set_key


@pytest.fixture
def refuse(tmp_path):
    """Return a function that writes data to a file and returns the lines of its error message."""

    def load(data):
        path = tmp_path / "wrist.toml"
        path.write_text(data if isinstance(data, str) else tomlkit.dumps(data), encoding="utf-8")
        with pytest.raises(CaseError) as refusal:
            Case.load(path)
        lines = str(refusal.value).split("\n")
        assert all(line.startswith(f"{path}: ") for line in lines)
        return [line.removeprefix(f"{path}: ") for line in lines]

    return load


@pytest.fixture(scope="module")
def make_model():
    """Return a function that returns the FE model of a case, each created once."""
    from fem.fe.model import FEModel

    @cache
    def make(case, resolution, full=False):
        return FEModel(case, resolution, full=full)

    return make


@pytest.fixture(scope="module", params=["neo-Hookean", "Mooney-Rivlin"])
def model(request, make_case, make_model, rubbers):
    """Return the FE model of a coarse sector of the ready tube, for each rubber."""
    return make_model(make_case(rubber=rubbers[request.param]), "1x1x2")


@pytest.fixture(scope="session")
def derivative():
    """Return a function that differentiates `function` along `direction` by central differences.

    The error is of fourth order in `step`, so it is near round-off for smooth functions.
    """

    def differentiate(function, x, direction, step):
        def pair(k):
            return function(x + k * step * direction) - function(x - k * step * direction)

        return (8 * pair(1) - pair(2)) / (12 * step)

    return differentiate
