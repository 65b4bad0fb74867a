"""Real workers: killed processes, a killed run, a Dask cluster."""

import multiprocessing
import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pandas
import pytest

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.processes import WorkerLostError, WorkerPool
from fem.results.folder import STUDY_DATABASE
from fem.study.executor import ClusterExecutor
from fem.study.job_list import JobList
from fem.study.plan import Study
from fem.study.runner import run
from fem.study.study_result import StudyResult
from fem.study.worker import Task, solve_task
from tests.helpers.messages import refused

STUDY = """
title = "Trial"
case = "greenhouse_wrist.toml"
models = ["fe"]
resolution = "1x1x4"

[set]
"pressure.end" = "4 kPa"
"pressure.steps" = 2

[[vary]]
field = "threads.A.angle"
from = "10 deg"
to = "30 deg"
count = 8
"""


@pytest.fixture
def study_file(tmp_path, cases_folder):
    """Return the file of a study with eight short curves."""
    (tmp_path / "greenhouse_wrist.toml").write_bytes(
        (cases_folder / "greenhouse_wrist.toml").read_bytes()
    )
    file = tmp_path / "trial.study.toml"
    file.write_text(STUDY, encoding="utf-8")
    return file


def wait_until(condition, seconds=60.0):
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "timeout"
        time.sleep(0.02)


def curves_in(folder):
    """Return case and seconds of the stored curves, while the run may still write."""
    try:
        database = sqlite3.connect(f"file:{folder / STUDY_DATABASE}?mode=ro", uri=True)
        with closing(database):
            return dict(database.execute('SELECT "case", seconds FROM curves').fetchall())
    except sqlite3.OperationalError:  # it does not exist yet
        return {}


def test_killed_worker_fails_only_its_own_task(cases_folder):
    wrist = Case.load(cases_folder / "greenhouse_wrist.toml")
    long, short = Task("fe", (wrist,), "1x8x60"), Task("fe", (wrist,), "1x1x2")
    with WorkerPool(1) as executor:
        killed, other = executor.submit(solve_task, long), executor.submit(solve_task, short)
        wait_until(killed.running)
        (worker,) = multiprocessing.active_children()
        os.kill(worker.pid, signal.SIGKILL)
        with pytest.raises(WorkerLostError, match="exit code -9"):
            executor.result(killed)
        (solved,) = executor.result(other)
    assert solved.curve.status == "reached"


def test_run_continues_if_an_idle_worker_is_killed(cases_folder):
    wrist = Case.load(cases_folder / "greenhouse_wrist.toml")
    task = Task("fast", (wrist,), "")
    with WorkerPool(1) as executor:
        executor.result(executor.submit(solve_task, task))
        (worker,) = multiprocessing.active_children()
        os.kill(worker.pid, signal.SIGKILL)
        time.sleep(0.5)
        (solved,) = executor.result(executor.submit(solve_task, task))
    assert solved.curve.status == "reached"


def test_killed_run_is_resumed_without_solving_a_curve_twice(study_file, tmp_path):
    folder = tmp_path / "out"
    command = [Path(sys.executable).with_name("tubewright"), "study", study_file, "--out", folder]
    command += ["--no-pictures"]
    first = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    wait_until(lambda: len(curves_in(folder)) >= 2)
    os.kill(first.pid, signal.SIGKILL)
    first.wait()
    before = curves_in(folder)
    assert 2 <= len(before) < 8
    done = subprocess.run([*command, "--resume"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    after = curves_in(folder)
    assert len(after) == 8
    assert before.items() <= after.items()  # the same seconds: not solved again
    assert set(StudyResult.load(folder).table.case) == set(after)


def test_terminated_run_writes_its_finished_curves(study_file, tmp_path):
    folder = tmp_path / "out"
    command = [Path(sys.executable).with_name("tubewright"), "study", study_file, "--out", folder]
    command += ["--no-pictures"]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    wait_until(lambda: curves_in(folder))
    process.terminate()
    out, _ = process.communicate()
    assert process.returncode == 3
    assert "--resume" in out
    assert set(StudyResult.load(folder).table.case) == set(curves_in(folder))


def test_cluster_gives_the_same_table(study_file, tmp_path):
    distributed = pytest.importorskip("distributed")
    job_list = JobList.of(Study.load(study_file))
    local = run(job_list, tmp_path / "local", WorkerPool(2))
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=":0"
    ) as cluster:
        remote = run(job_list, tmp_path / "cluster", ClusterExecutor(cluster.scheduler_address))
    assert remote.complete
    pandas.testing.assert_frame_equal(remote.table, local.table, rtol=1e-9)


def test_cluster_with_several_threads_per_worker_is_refused():
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=2, dashboard_address=":0"
        ) as cluster,
        pytest.raises(InputError, match="--nthreads 1"),
    ):
        ClusterExecutor(cluster.scheduler_address).__enter__()


def test_scheduler_that_does_not_answer_is_refused():
    pytest.importorskip("distributed")
    address = "tcp://127.0.0.1:9"
    with refused(InputError, "--scheduler", address):
        ClusterExecutor(address, timeout=0.5).__enter__()
