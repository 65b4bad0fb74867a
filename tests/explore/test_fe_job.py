"""FE solves of the live explorer in real processes: progress, stop, kill, close."""

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

from fem.explore import fe_job as module
from fem.explore.fe_job import Job, Jobs, TooManySolvesError, UnknownSolveError, without_friction
from fem.solving.single import solve
from tests.helpers.messages import assert_states, refused
from tests.helpers.processes import TIME_LIMIT, alive, wait

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
    """Return jobs whose workers have imported the packages."""
    with opened() as jobs:
        yield jobs


def ended(jobs, name):
    wait(lambda: jobs.progress(name).state != "running", "the solve does not end")
    return jobs.progress(name)


def wait_for_start(jobs, name):
    wait(lambda: jobs.progress(name).reason == "", "it does not start")
    time.sleep(0.05)


def workers():
    return [process.pid for process in multiprocessing.active_children()]


def test_a_job_reports_its_steps_and_returns_what_solve_returns(jobs, make_case):
    case = make_case(pressure__steps=3)
    name = jobs.start(case, SHORT)
    assert jobs.progress(name).state == "running"
    progress = ended(jobs, name)
    assert (progress.state, progress.done, progress.steps, progress.reason) == ("done", 3, 3, "")
    (run,) = jobs.result(name).runs
    (other,) = solve(case, "fe", SHORT).runs
    assert [row["twist_deg"] for row in run.rows] == pytest.approx(
        [row["twist_deg"] for row in other.rows], abs=1e-6
    )
    assert len(run.shapes) == len(other.shapes)


def test_steps_are_reported_while_it_runs(jobs, make_case):
    name = jobs.start(make_case(pressure__steps=300), SHORT)
    wait(lambda: 0 < jobs.progress(name).done < 300, "no step is reported")
    assert jobs.progress(name).state == "running"
    jobs.stop(name)


def test_stopping_a_job_ends_its_process(jobs, make_case):
    name = jobs.start(make_case(), LONG)
    wait_for_start(jobs, name)
    before = workers()
    jobs.stop(name)
    assert jobs.progress(name).state == "stopped"
    wait(lambda: sum(map(alive, before)) < len(before), "the process still runs")
    with pytest.raises(UnknownSolveError):
        jobs.result(name)
    assert ended(jobs, jobs.start(make_case(pressure__steps=1), SHORT)).state == "done"


def test_a_job_whose_process_is_killed_fails_and_the_next_one_is_solved(make_case):
    others = {*workers()}
    with opened() as jobs:
        name = jobs.start(make_case(), LONG)
        wait_for_start(jobs, name)
        for pid in {*workers()} - others:
            os.kill(pid, signal.SIGKILL)
        progress = ended(jobs, name)
        assert progress.state == "failed"
        assert "died" in progress.reason
        assert ended(jobs, jobs.start(make_case(pressure__steps=1), SHORT)).state == "done"


def test_a_bad_resolution_fails_by_name_and_what_is_allowed(jobs, make_case):
    name = jobs.start(make_case(), "finest")
    progress = ended(jobs, name)
    assert progress.state == "failed"
    assert_states(progress.reason, "resolution", "finest", "coarse")


def test_a_job_whose_path_ends_early_is_done(jobs, make_case):
    case = make_case(threads=[], pressure__end="30 kPa", pressure__steps=2)
    name = jobs.start(case, SHORT)
    assert ended(jobs, name).state == "done"
    assert jobs.result(name).runs[0].termination.kind == "limit_point"


def test_a_new_solve_stops_the_earlier_one_of_its_tab_only(jobs, make_case):
    first, other = (jobs.start(make_case(), LONG, tab) for tab in ["one", "two"])
    second = jobs.start(make_case(), LONG, "one")
    states = [jobs.progress(name).state for name in (first, other, second)]
    for name in (other, second):
        jobs.stop(name)
    assert states == ["stopped", "running", "running"]


def test_too_many_solves_are_refused(jobs, make_case):
    names = [jobs.start(make_case(), LONG) for _ in range(module.MAX_SOLVES)]
    with refused(TooManySolvesError, "4 FE solves"):
        jobs.start(make_case(), LONG)
    for name in names:
        jobs.stop(name)
    assert ended(jobs, jobs.start(make_case(pressure__steps=1), SHORT)).state == "done"


def test_only_the_last_ended_solves_are_kept(make_case, monkeypatch):
    monkeypatch.setattr(module, "MAX_ENDED", 2)
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
        wait_for_start(jobs, jobs.start(make_case(), LONG))
        own = {*workers()} - others
    assert own
    wait(lambda: not any(map(alive, own)), "a process still runs")


def test_workers_end_with_a_parent_that_is_killed(cases_folder):
    """A killed parent runs no handler: the worker must notice by itself."""
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


def test_a_case_without_friction_needs_no_additional_solve(make_case):
    case = make_case(threads__0__hold="sliding", threads__0__friction=0.3)
    assert without_friction(case) == make_case(threads__0__hold="sliding")
    assert without_friction(make_case()) == make_case()


def test_idle_workers_that_die_are_replaced(make_case):
    others = {*workers()}
    with opened() as jobs:
        ended(jobs, jobs.start(make_case(pressure__steps=1), SHORT))
        own = {*workers()} - others
        for pid in own:
            os.kill(pid, signal.SIGKILL)
        wait(lambda: not any(map(alive, own)), "a worker survives")
        time.sleep(0.5)  # until the pool notices
        assert ended(jobs, jobs.start(make_case(pressure__steps=1), SHORT)).state == "done"


def test_start_does_not_wait_for_the_end_of_a_broken_pool(make_case):
    """The server answers from one thread: a pool that ends slowly must not block it."""
    ended, may_end = threading.Event(), threading.Event()

    class Broken:
        def schedule(self, *_, **__):
            raise RuntimeError("the pool is broken")

        def stop(self):
            may_end.wait(TIME_LIMIT)

        def join(self):
            ended.set()

    with opened() as jobs:
        jobs._pool._pool = Broken()
        name = jobs.start(make_case(pressure__steps=1), SHORT)
        assert not ended.is_set()
        may_end.set()
        assert ended.wait(TIME_LIMIT)
        jobs.stop(name)


@pytest.mark.parametrize(
    ("failure", "fact"),
    [
        (ArithmeticError("it buckles"), "it buckles"),
        (ModuleNotFoundError("no dolfinx"), "no dolfinx"),
        (BrokenProcessPool("gone"), "died"),
        (KeyError("z"), "KeyError: 'z'"),
    ],
)
def test_any_error_is_reported_as_the_reason(jobs, failure, fact):
    future = Future()
    future.set_exception(failure)
    jobs._jobs["bad"] = Job("", 0, 5, future)
    progress = jobs.progress("bad")
    assert progress.state == "failed"
    assert fact in progress.reason
