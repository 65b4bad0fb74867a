"""FE solves of the live bench: real processes that are watched, stopped, killed, ended."""

import multiprocessing
import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager

import pytest

from fem.explore import fe_job as jobs_of_the_bench
from fem.explore.fe_job import Job, Jobs, TooManySolvesError, UnknownSolveError, without_friction
from fem.solving.single import solve
from tests.helpers.processes import PATIENCE, alive, wait

LONG = "2x6x120"
"""A mesh whose solve takes far longer than any test waits."""
SHORT = "1x1x6"


@contextmanager
def opened():
    jobs = Jobs()
    try:
        yield jobs
    finally:
        jobs.close()


@pytest.fixture(scope="module")
def jobs():
    """Return jobs whose workers are warm."""
    with opened() as jobs:
        yield jobs


def ended(jobs, name):
    wait(lambda: jobs.progress(name).state != "running", "the solve goes on and on")
    return jobs.progress(name)


def at_work(jobs, name):
    wait(lambda: jobs.progress(name).reason == "", "it is not begun")
    time.sleep(0.05)


def workers():
    return [process.pid for process in multiprocessing.active_children()]


def test_a_job_tells_its_steps_and_gives_what_solve_gives(jobs, make_case):
    case = make_case(pressure__steps=3)
    name = jobs.start(case, SHORT)
    assert jobs.progress(name).state == "running"
    told = ended(jobs, name)
    assert (told.state, told.done, told.steps, told.reason) == ("done", 3, 3, "")
    (run,) = jobs.result(name).runs
    (other,) = solve(case, "fe", SHORT).runs
    assert [row["twist_deg"] for row in run.rows] == pytest.approx(
        [row["twist_deg"] for row in other.rows], abs=1e-6
    )
    assert len(run.shapes) == len(other.shapes)


def test_steps_are_told_while_it_runs(jobs, make_case):
    name = jobs.start(make_case(pressure__steps=300), SHORT)
    wait(lambda: 0 < jobs.progress(name).done < 300, "no step is told")
    assert jobs.progress(name).state == "running"
    jobs.stop(name)


def test_a_job_that_is_stopped_ends_with_its_process(jobs, make_case):
    name = jobs.start(make_case(), LONG)
    at_work(jobs, name)
    before = workers()
    jobs.stop(name)
    assert jobs.progress(name).state == "stopped"
    wait(lambda: sum(map(alive, before)) < len(before), "the process goes on")
    with pytest.raises(UnknownSolveError):
        jobs.result(name)
    assert ended(jobs, jobs.start(make_case(pressure__steps=1), SHORT)).state == "done"


def test_a_job_whose_process_is_killed_says_so_and_the_next_one_is_solved(make_case):
    others = {*workers()}
    with opened() as jobs:
        name = jobs.start(make_case(), LONG)
        at_work(jobs, name)
        for pid in {*workers()} - others:
            os.kill(pid, signal.SIGKILL)
        told = ended(jobs, name)
        assert told.state == "failed"
        assert "died" in told.reason
        assert ended(jobs, jobs.start(make_case(pressure__steps=1), SHORT)).state == "done"


def test_what_cannot_be_solved_fails_in_words(jobs, make_case):
    name = jobs.start(make_case(), "finest")
    told = ended(jobs, name)
    assert told.state == "failed"
    assert told.reason.startswith('resolution "finest": allowed are coarse')


def test_a_path_that_ends_early_is_done_and_says_why(jobs, make_case):
    case = make_case(threads=[], pressure__end="30 kPa", pressure__steps=2)
    name = jobs.start(case, SHORT)
    assert ended(jobs, name).state == "done"
    assert jobs.result(name).runs[0].termination.kind == "limit_point"


def test_a_tab_has_one_solve_and_leaves_those_of_others_alone(jobs, make_case):
    first, other = (jobs.start(make_case(), LONG, tab) for tab in ["one", "two"])
    second = jobs.start(make_case(), LONG, "one")
    states = [jobs.progress(name).state for name in (first, other, second)]
    for name in (other, second):
        jobs.stop(name)
    assert states == ["stopped", "running", "running"]


def test_no_more_than_a_few_are_taken(jobs, make_case):
    names = [jobs.start(make_case(), LONG) for _ in range(jobs_of_the_bench.MOST)]
    with pytest.raises(TooManySolvesError, match="4 FE solves run or wait"):
        jobs.start(make_case(), LONG)
    for name in names:
        jobs.stop(name)
    assert ended(jobs, jobs.start(make_case(pressure__steps=1), SHORT)).state == "done"


def test_only_the_last_few_are_known(make_case, monkeypatch):
    monkeypatch.setattr(jobs_of_the_bench, "KEPT", 2)
    with opened() as jobs:
        names = [jobs.start(make_case(), SHORT) for _ in range(4)]
        for name in names:
            jobs.stop(name)
        last = jobs.start(make_case(), SHORT)
        for name in names[:2]:
            with pytest.raises(UnknownSolveError):
                jobs.progress(name)
        assert jobs.progress(names[3]).state == "stopped"
        jobs.stop(last)
    with pytest.raises(UnknownSolveError):
        jobs.stop("none")


def test_closing_ends_all_processes(make_case):
    others = {*workers()}
    with opened() as jobs:
        at_work(jobs, jobs.start(make_case(), LONG))
        mine = {*workers()} - others
    assert mine
    wait(lambda: not any(map(alive, mine)), "a process goes on")


def test_workers_end_with_a_parent_that_is_killed(cases_folder):
    """Nothing of ours runs in the parent then; the worker has to notice."""
    script = f"""
        import multiprocessing, time
        from fem.case.case import Case
        from fem.explore.fe_job import Jobs

        if __name__ == "__main__":
            jobs = Jobs()
            name = jobs.start(Case.load({str(cases_folder / "greenhouse_wrist.toml")!r}), "{LONG}")
            while jobs.progress(name).reason:
                time.sleep(0.01)
            print(*(child.pid for child in multiprocessing.active_children()), flush=True)
            time.sleep(60)
    """
    with subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(script)], stdout=subprocess.PIPE, text=True
    ) as parent:
        children = [int(pid) for pid in parent.stdout.readline().split()]
        parent.kill()
    assert children
    wait(lambda: not any(map(alive, children)), "a worker outlives its parent")


def test_friction_asks_for_no_second_solve(make_case):
    case = make_case(threads__0__hold="gliding", threads__0__friction=0.3)
    assert without_friction(case) == make_case(threads__0__hold="gliding")
    assert without_friction(make_case()) == make_case()


def test_workers_that_die_with_nothing_in_hand_are_replaced(make_case):
    others = {*workers()}
    with opened() as jobs:
        ended(jobs, jobs.start(make_case(pressure__steps=1), SHORT))
        mine = {*workers()} - others
        for pid in mine:
            os.kill(pid, signal.SIGKILL)
        wait(lambda: not any(map(alive, mine)), "a worker survives")
        time.sleep(0.5)  # till the pool has noticed
        assert ended(jobs, jobs.start(make_case(pressure__steps=1), SHORT)).state == "done"


def test_nobody_waits_for_the_end_of_a_broken_pool(make_case):
    """The server answers from one thread: a pool that ends slowly must not hold it up."""
    ended, let_go = threading.Event(), threading.Event()

    class Broken:
        def schedule(self, *_, **__):
            raise RuntimeError("the pool is broken")

        def stop(self):
            let_go.wait(PATIENCE)

        def join(self):
            ended.set()

    with opened() as jobs:
        jobs._pool._pool = Broken()
        name = jobs.start(make_case(pressure__steps=1), SHORT)
        assert not ended.is_set()
        let_go.set()
        assert ended.wait(PATIENCE)
        jobs.stop(name)


@pytest.mark.parametrize(
    ("failure", "said"),
    [
        (ArithmeticError("it buckles"), "the case has no solution even at rest: it buckles"),
        (ModuleNotFoundError("no dolfinx"), "(no dolfinx); see tubewright check-install"),
        (BrokenProcessPool("gone"), "the process that solved it died; try again"),
        (KeyError("z"), "KeyError: 'z'"),
    ],
)
def test_whatever_goes_wrong_is_told_in_words(jobs, make_case, failure, said):
    future = Future()
    future.set_exception(failure)
    jobs._jobs["bad"] = Job("", 0, 5, future)
    told = jobs.progress("bad")
    assert told.state == "failed"
    assert told.reason.endswith(said)
