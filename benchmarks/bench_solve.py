"""Times of the expensive parts of a solve: run `make benchmark`. Nothing is tested.

The DOLFINx forms are compiled before the measurement, because compiled forms are kept on disk. The
times of a group can be compared.
"""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from fem.case.case import Case
from fem.continuation.load_steps import loading_of, stages_of
from fem.continuation.newton import BorderedSystem, evaluate
from fem.continuation.path import follow
from fem.core.arrays import Array
from fem.solving.single import build

CASE = Path(__file__).parents[1] / "cases" / "greenhouse_wrist.toml"
RESOLUTIONS = ["coarse", "standard"]


@pytest.fixture(scope="module")
def wrist() -> Case:
    """Return the ready case, its forms compiled."""
    case = Case.load(CASE)
    build(case, "fe", "1x1x2")
    return case


@pytest.fixture(scope="module", params=[*RESOLUTIONS, "fine"])
def loaded(request: pytest.FixtureRequest, wrist: Case) -> tuple[Any, Array, Array]:
    """Return an FE model, and a state of it on the path with its loads."""
    case = wrist.changed(pressure__end="3 kPa", pressure__steps=1)
    model = build(case, "fe", request.param)
    *_, state = follow(model, loading_of(case), stages_of(case))
    return model, state.x, state.loads


def curve(case: Case, model: str, resolution: str) -> int:
    """Build a model and follow its path; return the number of states."""
    built = build(case, model, resolution)
    return len(list(follow(built, loading_of(case), stages_of(case))))


@pytest.mark.benchmark(group="curve")
@pytest.mark.parametrize("resolution", RESOLUTIONS)
def test_fe_curve(benchmark: BenchmarkFixture, wrist: Case, resolution: str) -> None:
    states = benchmark.pedantic(curve, args=(wrist, "fe", resolution), rounds=5, warmup_rounds=1)
    assert states == wrist.drive.steps + 1


@pytest.mark.benchmark(group="curve")
def test_fast_curve(benchmark: BenchmarkFixture, wrist: Case) -> None:
    assert benchmark(curve, wrist, "fast", "") == wrist.drive.steps + 1


@pytest.mark.benchmark(group="residual")
def test_residual(benchmark: BenchmarkFixture, loaded: tuple[Any, Array, Array]) -> None:
    model, x, loads = loaded
    loading = loading_of(model.case)

    def residual() -> None:
        evaluate(model, loading, x.copy(), loads)  # a copy, because a model caches its latest state

    benchmark(residual)


@pytest.mark.benchmark(group="tangent, with its factors")
def test_tangent(benchmark: BenchmarkFixture, loaded: tuple[Any, Array, Array]) -> None:
    model, x, loads = loaded
    benchmark(lambda: model.tangent(x.copy(), loads))


def hold(value: str) -> dict[str, Any]:
    """Return the changes that set `hold` of both families."""
    return {"threads__0__hold": value, "threads__1__hold": value}


OPTIONS: dict[str, dict[str, Any]] = {
    "bonded": {},
    "sliding": hold("sliding"),
    "geodesic": hold("geodesic"),
    "slack": {"threads__0__slack": "1 %", "threads__1__slack": "1 %"},
    "ends held": {"end": {"axial": "held", "twist": "held"}},
    "spring": {"end": {"axial_spring": "1 N/mm", "twist_spring": "10 N mm/rad"}},
    "volume": {"pressure": None, "volume": {"added": "0.5 mL", "steps": 1}},
    "gas": {"pressure": None, "gas": {"mass": "0.5 mg", "steps": 1}},
}


@pytest.mark.benchmark(group="one Newton iteration, by option")
@pytest.mark.parametrize("option", OPTIONS)
def test_iteration(benchmark: BenchmarkFixture, wrist: Case, option: str) -> None:
    case = wrist.changed(pressure__end="3 kPa", pressure__steps=1).changed(**OPTIONS[option])
    model = build(case, "fe", "standard")
    loading = loading_of(case)
    stages = stages_of(case)
    loading = loading.with_driven(stages[-1].pair, stages[-1].device)
    *_, state = follow(model, loading_of(case), stages)

    def iteration() -> None:
        trial = evaluate(model, loading, state.x.copy(), state.loads)
        residuals = loading.residuals(trial.loads, trial.conjugates)
        BorderedSystem(model, loading, trial).solve(-trial.residual, -residuals)

    benchmark(iteration)


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
