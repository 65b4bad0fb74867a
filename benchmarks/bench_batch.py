"""Rate of the fast model over many cases at once: run `make benchmark`, or this file by itself.

The studies vary both angles of the ready case from -30 to 30 deg, with slack taken up and with
threads cut at 30 deg, in ten pressure steps; some of the latter reach the balloon or the stretch
limit. The rate counts the requested equilibria except that at rest. The time to make the cases is
not included; nothing is tested.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.continuation.batch.paths import follow
from fem.fast.grouping import batch_groups
from fem.fast.outputs import read
from fem.solving.batch import CHUNK, solve_together

CASE = Path(__file__).parents[1] / "cases" / "greenhouse_wrist.toml"


def study(angles: int) -> list[Case]:
    """Return the cases with `angles` values of both angles and both slack rules."""
    base = Case.load(CASE).changed(pressure__steps=10)
    degrees = np.linspace(-30, 30, angles).tolist()
    by_rule = [
        [
            [
                ThreadFamily.model_validate(data | {"angle": f"{angle!r} deg", "slack": slack})
                for angle in degrees
            ]
            for data in base.data["threads"]
        ]
        for slack in ("taken up", "cut at 30 deg")
    ]
    return [
        Case.parse(dict(base) | {"threads": (first, second)})
        for firsts, seconds in by_rule
        for first in firsts
        for second in seconds
    ]


def rates(cases: Sequence[Case]) -> dict[str, float]:
    """Return requested equilibria per second on one core: in total, and by part."""
    began = time.process_time()
    found, _ = batch_groups(cases)
    times = {"gathering": time.process_time() - began, "equilibria": 0.0, "outputs": 0.0}
    count, single = 0, len(cases)
    for part in (part for group in found for part in group.chunks(CHUNK)):
        began = time.process_time()
        paths = follow(part.tubes, part.pressures)
        between = time.process_time()
        outputs = read(part.tubes, paths)
        times["equilibria"] += between - began
        times["outputs"] += time.process_time() - between
        tubes = int(outputs.states.first.sum())
        count += int(outputs.step.requested.sum()) - tubes
        single -= tubes
    if single:
        print(f"{single} curves are not included: they are solved one by one")
    return {name: count / spent for name, spent in {"all": sum(times.values()), **times}.items()}


@pytest.mark.benchmark(group="study of the fast model")
@pytest.mark.parametrize("angles", [13, 61])
def test_study(benchmark: BenchmarkFixture, angles: int) -> None:
    cases = study(angles)
    rounds = 5 if angles < 20 else 2
    runs = benchmark.pedantic(solve_together, args=(cases,), rounds=rounds, warmup_rounds=1)
    assert len(runs) == len(cases)


def main() -> None:
    """Print the rates of both studies, the best of several rounds."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    for angles in (13, 61):
        cases = study(angles)
        best = max((rates(cases) for _ in range(rounds)), key=lambda found: found["all"])
        text = ", ".join(f"{name} {rate:,.0f}/s" for name, rate in best.items())
        print(f"{angles} x {angles} x 2 curves: {text}")


if __name__ == "__main__":
    main()
