"""The run of a study: each curve is solved once, even if workers die or the user interrupts."""

import math
import sqlite3
from collections import Counter
from concurrent.futures import Future
from contextlib import closing
from dataclasses import replace

import pandas
import pytest

from fem import solve
from fem.continuation.termination import TerminationKind
from fem.core.errors import InputError
from fem.core.processes import WorkerLostError
from fem.results.folder import STUDY_DATABASE, FolderError
from fem.results.termination import Termination
from fem.study import worker as work
from fem.study.executor import NoWorkersError
from fem.study.job_list import JobList
from fem.study.plan import Study
from fem.study.runner import SHAPES, run
from fem.study.study_result import StudyResult
from tests.helpers.messages import refused

A, B = "threads.A.angle", "threads.B.angle"


@pytest.fixture
def job_list(cases_folder):
    """Return a small study: six cases of the wrist by the fast model, three of them by FE too."""
    return small(cases_folder)


def small(folder, **changes):
    data = {
        "title": "Trial",
        "case": "greenhouse_wrist.toml",
        "models": ["fast", "fe"],
        "resolution": "1x1x2",
        "set": {"pressure.steps": 2, "pressure.end": "4 kPa"},
        "vary": [
            {"field": A, "from": "10 deg", "to": "30 deg", "count": 3},
            {"field": B, "values": ["-20 deg", "-25 deg"]},
        ],
    }
    return JobList.of(Study.parse({**data, **changes}, folder))


class SerialExecutor:
    """Run tasks in this process; a test sets when a worker dies or the user interrupts."""

    size = 2

    def __init__(self, deaths=(), break_after=None):
        self.deaths, self.break_after = Counter(deaths), break_after
        self.performed = []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def submit(self, _work, task):
        future = Future()
        future.task = task
        future.set_result(None)
        return future

    def result(self, future):
        if self.break_after is not None and len(self.performed) >= self.break_after:
            raise KeyboardInterrupt
        task = future.task
        for case in task.cases:
            if self.deaths[case.key]:
                self.deaths[case.key] -= 1
                raise WorkerLostError("process 1 died (exit code -9)")
        self.performed += [(case.key, task.model) for case in task.cases]
        return work.perform(task)


def test_table_holds_what_single_solves_give(job_list, tmp_path):
    study_result = run(job_list, tmp_path, SerialExecutor())
    assert study_result.complete
    for case in job_list.cases:
        for model in ("fast", "fe"):
            single = solve(case, model, "1x1x2").steps
            rows = study_result.table
            mine = rows[(rows.case == case.key) & (rows.model == model)].reset_index(drop=True)
            history = ["newton_iterations", "energy_gap"]  # how it went is not what was found
            pandas.testing.assert_frame_equal(
                mine[single.columns].drop(columns=history),
                single.drop(columns=history),
                rtol=1e-9,
                check_dtype=False,
            )
            assert (mine["angle_deg.A"] - math.degrees(case.threads[0].angle)).abs().max() < 1e-9


def test_study_result_comes_back_from_its_folder(job_list, tmp_path):
    study_result = run(job_list, tmp_path, SerialExecutor())
    study_result.save(tmp_path)
    again = StudyResult.load(tmp_path)
    pandas.testing.assert_frame_equal(again.table, study_result.table)
    assert again.study.hash == job_list.study.hash
    assert again.varied == ["angle_deg.A", "angle_deg.B"]
    written = pandas.read_csv(tmp_path / "table.csv")
    pandas.testing.assert_frame_equal(written, study_result.table, check_dtype=False)


def test_folder_without_results_is_refused(tmp_path):
    with refused(FolderError, str(tmp_path / "run.json")):
        StudyResult.load(tmp_path)


def test_a_table_that_is_not_of_its_record_is_refused(job_list, tmp_path):
    """As a kill between the files of a study that goes on leaves them."""
    run(job_list, tmp_path, SerialExecutor()).save(tmp_path)
    table = tmp_path / "table.parquet"
    pandas.read_parquet(table).iloc[1:].to_parquet(table, index=False)
    with refused(FolderError, "table.parquet", "run.json"):
        StudyResult.load(tmp_path)


def test_a_folder_with_a_result_takes_no_study(job_list, tmp_path):
    solve(job_list.cases[0], "fast").save(tmp_path)
    with refused(InputError, str(tmp_path), "result of a case", "--out"):
        run(job_list, tmp_path, SerialExecutor())


def test_what_is_broken_off_goes_on_and_nothing_is_done_twice(job_list, tmp_path):
    executor = SerialExecutor(break_after=8)
    study_result = run(job_list, tmp_path, executor)
    assert not study_result.complete
    assert study_result.provenance["ended_early"] == "interrupted"
    rest = SerialExecutor()
    study_result = run(job_list, tmp_path, rest, resume=True)
    assert study_result.complete
    assert max(Counter(executor.performed + rest.performed).values()) == 1
    whole = run(job_list, tmp_path / "whole", SerialExecutor())
    pandas.testing.assert_frame_equal(study_result.table, whole.table)


def test_earlier_run_is_not_written_over(job_list, tmp_path, cases_folder):
    run(job_list, tmp_path, SerialExecutor())
    with refused(InputError, str(tmp_path), "12 curves", "--resume", "--out"):
        run(job_list, tmp_path, SerialExecutor())
    with refused(InputError, str(tmp_path), "resolution", '"1x1x2"', '"1x1x4"'):
        run(small(cases_folder, resolution="1x1x4"), tmp_path, SerialExecutor(), resume=True)


def test_more_values_are_added_to_an_earlier_run(job_list, tmp_path, cases_folder):
    run(job_list, tmp_path, SerialExecutor())
    more = [
        {"field": A, "from": "10 deg", "to": "30 deg", "count": 3},
        {"field": B, "values": ["-20 deg", "-25 deg", "-30 deg"]},
    ]
    executor = SerialExecutor()
    study_result = run(small(cases_folder, vary=more), tmp_path, executor, resume=True)
    assert study_result.complete
    assert len(executor.performed) == 6
    assert study_result.provenance["curves"] == {"asked": 18, "reached": 18}


def test_folder_of_another_study_is_left_alone(job_list, tmp_path, cases_folder):
    run(job_list, tmp_path, SerialExecutor())
    other = small(cases_folder, set={"pressure.end": "3 kPa"})
    with refused(InputError, str(tmp_path), "another study", '"Trial"', "--out"):
        run(other, tmp_path, SerialExecutor(), resume=True)


def test_folder_of_a_version_that_named_cases_otherwise_is_left_alone(job_list, tmp_path):
    run(job_list, tmp_path, SerialExecutor())
    with closing(sqlite3.connect(tmp_path / STUDY_DATABASE)) as base, base:
        base.execute("""UPDATE curves SET "case" = 'x' || substr("case", 2)""")
    with refused(InputError, str(tmp_path), "an earlier version", "--out"):
        run(job_list, tmp_path, SerialExecutor(), resume=True)


def test_new_titles_and_notes_solve_nothing_again(job_list, tmp_path, cases_folder):
    run(job_list, tmp_path, SerialExecutor())
    text = (cases_folder / "greenhouse_wrist.toml").read_text(encoding="utf-8")
    retitled = tmp_path / "cases"
    retitled.mkdir()
    (retitled / "greenhouse_wrist.toml").write_text(
        text.replace('title = "Greenhouse wrist"', 'title = "Wrist"', 1), "utf-8"
    )
    other, executor = small(retitled, title="Another"), SerialExecutor()
    assert other.study.base.title == "Wrist"
    assert run(other, tmp_path, executor, resume=True).complete
    assert not executor.performed


def test_curves_of_values_that_are_taken_away_are_left_aside(job_list, tmp_path, cases_folder):
    run(job_list, tmp_path, SerialExecutor())
    fewer = [{"field": A, "values": ["10 deg"]}, {"field": B, "values": ["-20 deg"]}]
    study_result = run(small(cases_folder, vary=fewer), tmp_path, SerialExecutor(), resume=True)
    assert study_result.complete
    assert study_result.table.case.nunique() == 1
    assert study_result.provenance["curves_not_asked_for"] == 10


def test_models_that_are_taken_away_are_left_aside(job_list, tmp_path, cases_folder):
    run(job_list, tmp_path, SerialExecutor())
    study_result = run(small(cases_folder, models=["fe"]), tmp_path, SerialExecutor(), resume=True)
    assert study_result.complete
    assert study_result.provenance["curves"] == {"asked": 6, "reached": 6}
    assert study_result.provenance["curves_not_asked_for"] == 6
    assert set(study_result.table.model) == {"fe"}


def test_run_that_loses_its_executor_keeps_the_finished_curves(job_list, tmp_path):
    class Leaving(SerialExecutor):
        def result(self, future):
            if len(self.performed) >= 7:
                raise NoWorkersError("the scheduler is gone")
            return super().result(future)

    executor = Leaving()
    study_result = run(job_list, tmp_path, executor)
    assert study_result.provenance["ended_early"] == "the scheduler is gone"
    assert study_result.provenance["curves"] == {"asked": 12, "reached": len(executor.performed)}
    assert len(executor.performed) < 12


def test_batch_that_fails_is_solved_one_by_one_and_told(job_list, tmp_path, monkeypatch):
    def broken(cases):
        raise TypeError("not so")

    monkeypatch.setattr("fem.solving.batch.solve_batch", broken)
    study_result = run(job_list, tmp_path, SerialExecutor())
    assert study_result.complete
    assert study_result.provenance["not_in_batch"] == ["TypeError: not so"]


def test_results_of_another_version_are_refused(job_list, tmp_path):
    study_result = run(job_list, tmp_path, SerialExecutor())
    replace(study_result, table=study_result.table.drop(columns="angle_deg.B")).save(tmp_path)
    with refused(FolderError, "table.parquet", "angle_deg.B"):
        StudyResult.load(tmp_path)


def test_worker_that_dies_costs_one_case_one_retry(job_list, tmp_path):
    key = job_list.cases[3].key
    executor = SerialExecutor(deaths={key: 1})
    told = []
    study_result = run(job_list, tmp_path, executor, report=told.extend)
    assert study_result.complete
    assert len(executor.performed) == len(set(executor.performed)) == job_list.curves
    assert {c.tries for c in told if c.case != key and c.model == "fe"} == {1}


def test_case_that_kills_its_workers_fails_alone(job_list, tmp_path):
    key = job_list.cases[3].key
    study_result = run(job_list, tmp_path, SerialExecutor(deaths={key: 4}))
    failed = study_result.provenance["not_reached"]
    assert [(e["case"], e["status"], e["tries"]) for e in failed] == [(key, "failed", 2)] * 2
    assert all("exit code -9" in entry["termination"]["error"] for entry in failed)
    assert not study_result.complete
    executor = SerialExecutor()
    assert not run(job_list, tmp_path, executor, resume=True).complete
    assert not executor.performed
    assert run(job_list, tmp_path, executor, retry=True).complete
    assert {case for case, _ in executor.performed} == {key}


def test_case_that_cannot_be_solved_fails_alone(job_list, tmp_path, monkeypatch):
    key = job_list.cases[2].key

    def solve_but_one(case, model, *rest, **options):
        if case.key == key:
            raise ArithmeticError("the stiffness is singular")
        return solve(case, model, *rest, **options)

    monkeypatch.setattr(work, "solve", solve_but_one)
    study_result = run(job_list, tmp_path, SerialExecutor())
    end = {"kind": "no_rest", "error": "the stiffness is singular"}
    for entry in study_result.provenance["not_reached"]:
        assert (entry["case"], entry["termination"]) == (key, end)
    assert study_result.provenance["curves"]["reached"] == 11


def test_curve_that_ends_at_a_limit_is_no_failure(cases_folder, tmp_path):
    slack = {"field": "threads.A.slack", "same": ["threads.B.slack"], "values": ["cut at 30 deg"]}
    along = {A: "0 deg", B: "0 deg", "pressure.end": "15 kPa"}
    changes = {"vary": [slack], "models": ["fast"], "set": along}
    study_result = run(small(cases_folder, **changes), tmp_path, SerialExecutor())
    (entry,) = study_result.provenance["not_reached"]
    assert entry["status"] == "ended"
    assert entry["termination"]["kind"] == "limit_point"
    assert entry["termination"]["bore_stretch"] > 1.3
    assert study_result.complete


def test_shapes_that_are_asked_for_are_kept(cases_folder, tmp_path):
    job_list = small(cases_folder)
    run(job_list, tmp_path, SerialExecutor())
    assert not (tmp_path / SHAPES).exists()
    chosen = small(cases_folder, shapes=[{A: "20 deg", B: "-25 deg"}])
    executor = SerialExecutor()
    run(chosen, tmp_path, executor, resume=True)
    ((key, model),) = executor.performed
    assert model == "fe"
    names = {path.name for path in (tmp_path / SHAPES / key).iterdir()}
    assert {"shape.pvd", "shape_000.vtu", "shape_002.vtu", "steps.csv", "run.json"} <= names
    assert [path.name for path in (tmp_path / SHAPES).iterdir()] == [key]


@pytest.mark.parametrize(
    ("kind", "status"),
    [(TerminationKind.NOT_CONVERGED, "failed"), (TerminationKind.STABILITY_LOST, "ended")],
)
def test_path_that_is_lost_is_a_failure_that_keeps_its_steps(job_list, monkeypatch, kind, status):
    (case, *_) = job_list.cases

    def solve_half(case, model, *rest, **options):
        result = solve(case, model, *rest, **options)
        (run,) = result.runs
        end = Termination.at(kind, run.rows[-1], step=3, steps=4)
        return replace(result, runs=[replace(run, termination=end)])

    monkeypatch.setattr(work, "solve", solve_half)
    (done,) = work.perform(work.Task("fe", (case,), "1x1x2"))
    assert (done.curve.status, done.curve.termination.kind) == (status, kind)
    assert len(done.curve.steps["step"]) == 3
