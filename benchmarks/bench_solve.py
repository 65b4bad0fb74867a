"""Times of the costly parts of a solve: run `make benchmark`. Nothing is asserted about them.

The DOLFINx forms are compiled before the clock starts: a compiled form is kept on disk, so that is
the common state of a machine. Each group holds what may be compared.
"""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from fem.case import Case
from fem.path import follow
from fem.run import build

CASE = Path(__file__).parents[1] / "cases" / "greenhouse_wrist.toml"
RESOLUTIONS = ["coarse", "standard"]


@pytest.fixture(scope="module")
def wrist() -> Case:
    """Return the ready case, its forms compiled."""
    case = Case.load(CASE)
    build(case, "fe", "1x1x2")
    return case


@pytest.fixture(scope="module", params=[*RESOLUTIONS, "fine"])
def loaded(request: pytest.FixtureRequest, wrist: Case) -> tuple[Any, Any, float]:
    """Return an FE model, and a state of it on the path with its load."""
    model = build(wrist, "fe", request.param)
    *_, state = follow(model, wrist.pressure.values[:1])
    return model, state.x, state.load


def curve(case: Case, model: str, resolution: str) -> int:
    """Build a model and follow its path; return the number of states."""
    return len(list(follow(build(case, model, resolution), case.pressure.values)))


@pytest.mark.benchmark(group="curve")
@pytest.mark.parametrize("resolution", RESOLUTIONS)
def test_fe_curve(benchmark: BenchmarkFixture, wrist: Case, resolution: str) -> None:
    states = benchmark.pedantic(curve, args=(wrist, "fe", resolution), rounds=5, warmup_rounds=1)
    assert states == wrist.pressure.steps + 1


@pytest.mark.benchmark(group="curve")
def test_fast_curve(benchmark: BenchmarkFixture, wrist: Case) -> None:
    assert benchmark(curve, wrist, "fast", "") == wrist.pressure.steps + 1


@pytest.mark.benchmark(group="residual")
def test_residual(benchmark: BenchmarkFixture, loaded: tuple[Any, Any, float]) -> None:
    model, x, load = loaded
    benchmark(model.residual, x, load)


@pytest.mark.benchmark(group="tangent, with its factors")
def test_tangent(benchmark: BenchmarkFixture, loaded: tuple[Any, Any, float]) -> None:
    model, x, load = loaded
    benchmark(model.tangent, x, load)


@pytest.mark.benchmark(group="command")
def test_command(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    command = [Path(sys.executable).with_name("tubewright"), "solve", CASE, "--out", tmp_path]
    benchmark.pedantic(
        subprocess.run,
        args=(command,),
        kwargs={"check": True, "capture_output": True},
        rounds=3,
        warmup_rounds=1,
    )
    assert (tmp_path / "steps.csv").exists()
