"""Time of a study compared with its solves alone, with one worker and with two.

The same curves of the ready study, with forms compiled before the measurement: solved one after
another in this process, then by a study with one worker and with two. The time of the study
includes the start of its processes, which matters less for longer studies.
"""

from collections.abc import Callable
from itertools import count
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from fem.core.cache import MeshCache
from fem.core.processes import WorkerPool
from fem.solving.single import solve
from fem.study.job_list import JobList
from fem.study.plan import Study
from fem.study.runner import run

STUDY = Path(__file__).parents[1] / "cases" / "greenhouse_wrist.study.toml"
EVERY = 7
"""Every seventh curve of the study is used: 49 of them."""


@pytest.fixture(scope="module")
def job_list() -> JobList:
    """Return the study with FE only, and fewer cases."""
    study = Study.load(STUDY)
    whole = JobList.of(
        Study.restore({**study.data, "models": ["fe"], "shapes": []}, study.base.data)
    )
    solve(whole.cases[0], "fe", study.resolution)
    return JobList(whole.study, whole.cases[::EVERY], [])


def one_by_one(job_list: JobList) -> None:
    """Solve all cases in this process."""
    mesh_cache = MeshCache()
    for case in job_list.cases:
        solve(case, "fe", job_list.study.resolution, mesh_cache=mesh_cache)


def by_study(workers: int, folder: Path) -> Callable[[JobList], None]:
    """Return the function that solves all cases by `workers`, in a new folder each time."""
    numbers = count()

    def solve_all(job_list: JobList) -> None:
        assert run(job_list, folder / str(next(numbers)), WorkerPool(workers)).complete

    return solve_all


@pytest.mark.benchmark(group="study")
@pytest.mark.parametrize("way", ["one by one", "1 worker", "2 workers"])
def test_study(benchmark: BenchmarkFixture, job_list: JobList, way: str, tmp_path: Path) -> None:
    solve_all = by_study(int(way[0]), tmp_path) if way != "one by one" else one_by_one
    benchmark.pedantic(solve_all, args=(job_list,), rounds=2)
