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
from fem.study.runner import SHAPES, run, solve_study
from fem.study.study_result import StudyResult
from tests.helpers.messages import refused

A, B = "threads.A.angle", "threads.B.angle"


@pytest.fixture
def job_list(cases_folder):
    """Return a small study: six cases of the wrist by both models."""
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

    def __init__(self, deaths=(), interrupt_after=None):
        self.deaths, self.interrupt_after = Counter(deaths), interrupt_after
        self.solved = []

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
        if self.interrupt_after is not None and len(self.solved) >= self.interrupt_after:
            raise KeyboardInterrupt
        task = future.task
        for case in task.cases:
            if self.deaths[case.key]:
                self.deaths[case.key] -= 1
                raise WorkerLostError("process 1 died (exit code -9)")
        self.solved += [(case.key, task.model) for case in task.cases]
        return work.solve_task(task)


def test_table_agrees_with_single_solves(job_list, tmp_path):
    study_result = run(job_list, tmp_path, SerialExecutor())
    assert study_result.complete
    for case in job_list.cases:
        for model in ("fast", "fe"):
            single = solve(case, model, "1x1x2").steps
            rows = study_result.table
            curve = rows[(rows.case == case.key) & (rows.model == model)].reset_index(drop=True)
            history = ["newton_iterations", "energy_gap"]  # the work of the solver may differ
            pandas.testing.assert_frame_equal(
                curve[single.columns].drop(columns=history),
                single.drop(columns=history),
                rtol=1e-9,
                check_dtype=False,
            )
            assert (curve["angle_deg.A"] - math.degrees(case.threads[0].angle)).abs().max() < 1e-9


def test_study_result_is_read_back_from_its_folder(job_list, tmp_path):
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


def test_a_table_that_differs_from_its_record_is_refused(job_list, tmp_path):
    """A kill between two files can leave such a folder."""
    run(job_list, tmp_path, SerialExecutor()).save(tmp_path)
    table = tmp_path / "table.parquet"
    pandas.read_parquet(table).iloc[1:].to_parquet(table, index=False)
    with refused(FolderError, "table.parquet", "run.json"):
        StudyResult.load(tmp_path)


def test_a_folder_with_a_result_is_refused(job_list, tmp_path):
    solve(job_list.cases[0], "fast").save(tmp_path)
    with refused(InputError, str(tmp_path), "result of a case", "--out"):
        run(job_list, tmp_path, SerialExecutor())


def test_interrupted_run_is_resumed_and_no_curve_is_solved_twice(job_list, tmp_path):
    executor = SerialExecutor(interrupt_after=8)
    study_result = run(job_list, tmp_path, executor)
    assert not study_result.complete
    assert study_result.run_record["ended_early"] == "interrupted"
    second = SerialExecutor()
    study_result = run(job_list, tmp_path, second, resume=True)
    assert study_result.complete
    assert max(Counter(executor.solved + second.solved).values()) == 1
    uninterrupted = run(job_list, tmp_path / "uninterrupted", SerialExecutor())
    pandas.testing.assert_frame_equal(study_result.table, uninterrupted.table)


def test_earlier_run_is_not_overwritten(job_list, tmp_path, cases_folder):
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
    assert len(executor.solved) == 6
    assert study_result.run_record["curves"] == {"requested": 18, "reached": 18}


def test_folder_of_another_study_is_refused(job_list, tmp_path, cases_folder):
    run(job_list, tmp_path, SerialExecutor())
    other = small(cases_folder, set={"pressure.end": "3 kPa"})
    with refused(InputError, str(tmp_path), "another study", '"Trial"', "--out"):
        run(other, tmp_path, SerialExecutor(), resume=True)


def test_folder_of_a_version_with_other_keys_is_refused(job_list, tmp_path):
    run(job_list, tmp_path, SerialExecutor())
    with closing(sqlite3.connect(tmp_path / STUDY_DATABASE)) as base, base:
        base.execute("""UPDATE curves SET "case" = 'x' || substr("case", 2)""")
    with refused(InputError, str(tmp_path), "an earlier version", "--out"):
        run(job_list, tmp_path, SerialExecutor(), resume=True)


def test_after_a_change_of_title_no_curve_is_solved_again(job_list, tmp_path, cases_folder):
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
    assert not executor.solved


def test_curves_of_removed_values_are_ignored(job_list, tmp_path, cases_folder):
    run(job_list, tmp_path, SerialExecutor())
    fewer = [{"field": A, "values": ["10 deg"]}, {"field": B, "values": ["-20 deg"]}]
    study_result = run(small(cases_folder, vary=fewer), tmp_path, SerialExecutor(), resume=True)
    assert study_result.complete
    assert study_result.table.case.nunique() == 1
    assert study_result.run_record["other_curves"] == 10


def test_curves_of_removed_models_are_ignored(job_list, tmp_path, cases_folder):
    run(job_list, tmp_path, SerialExecutor())
    study_result = run(small(cases_folder, models=["fe"]), tmp_path, SerialExecutor(), resume=True)
    assert study_result.complete
    assert study_result.run_record["curves"] == {"requested": 6, "reached": 6}
    assert study_result.run_record["other_curves"] == 6
    assert set(study_result.table.model) == {"fe"}


def test_run_that_loses_its_executor_keeps_the_finished_curves(job_list, tmp_path):
    class Leaving(SerialExecutor):
        def result(self, future):
            if len(self.solved) >= 7:
                raise NoWorkersError("the scheduler is gone")
            return super().result(future)

    executor = Leaving()
    study_result = run(job_list, tmp_path, executor)
    assert study_result.run_record["ended_early"] == "the scheduler is gone"
    assert study_result.run_record["curves"] == {
        "requested": 12,
        "reached": len(executor.solved),
    }
    assert len(executor.solved) < 12


def test_cases_of_a_failed_batch_are_solved_one_by_one(job_list, tmp_path, monkeypatch):
    def broken(cases):
        raise TypeError("not so")

    monkeypatch.setattr("fem.solving.batch.solve_batch", broken)
    study_result = run(job_list, tmp_path, SerialExecutor())
    assert study_result.complete
    assert study_result.run_record["batch_errors"] == ["TypeError: not so"]


def test_table_without_a_varied_column_is_refused(job_list, tmp_path):
    study_result = run(job_list, tmp_path, SerialExecutor())
    replace(study_result, table=study_result.table.drop(columns="angle_deg.B")).save(tmp_path)
    with refused(FolderError, "table.parquet", "angle_deg.B"):
        StudyResult.load(tmp_path)


def test_worker_that_dies_costs_one_case_one_retry(job_list, tmp_path):
    key = job_list.cases[3].key
    executor = SerialExecutor(deaths={key: 1})
    reported = []
    study_result = run(job_list, tmp_path, executor, report=reported.extend)
    assert study_result.complete
    assert len(executor.solved) == len(set(executor.solved)) == job_list.curves
    assert {c.tries for c in reported if c.case != key and c.model == "fe"} == {1}


def test_case_that_kills_its_workers_is_the_only_failure(job_list, tmp_path):
    key = job_list.cases[3].key
    study_result = run(job_list, tmp_path, SerialExecutor(deaths={key: 4}))
    failed = study_result.run_record["not_reached"]
    assert [(e["case"], e["status"], e["tries"]) for e in failed] == [(key, "failed", 2)] * 2
    assert all("exit code -9" in entry["termination"]["error"] for entry in failed)
    assert not study_result.complete
    executor = SerialExecutor()
    assert not run(job_list, tmp_path, executor, resume=True).complete
    assert not executor.solved
    assert run(job_list, tmp_path, executor, retry=True).complete
    assert {case for case, _ in executor.solved} == {key}


def test_case_without_a_solution_is_the_only_failure(job_list, tmp_path, monkeypatch):
    key = job_list.cases[2].key

    def solve_but_one(case, model, *rest, **options):
        if case.key == key:
            raise ArithmeticError("the stiffness is singular")
        return solve(case, model, *rest, **options)

    monkeypatch.setattr(work, "solve", solve_but_one)
    study_result = run(job_list, tmp_path, SerialExecutor())
    end = {"kind": "no_rest", "error": "the stiffness is singular"}
    for entry in study_result.run_record["not_reached"]:
        assert (entry["case"], entry["termination"]) == (key, end)
    assert study_result.run_record["curves"]["reached"] == 11


def test_curve_that_ends_at_a_limit_is_not_a_failure(cases_folder, tmp_path):
    slack = {"field": "threads.A.slack", "same": ["threads.B.slack"], "values": ["cut at 30 deg"]}
    along = {A: "0 deg", B: "0 deg", "pressure.end": "15 kPa"}
    changes = {"vary": [slack], "models": ["fast"], "set": along}
    study_result = run(small(cases_folder, **changes), tmp_path, SerialExecutor())
    (entry,) = study_result.run_record["not_reached"]
    assert entry["status"] == "ended"
    assert entry["termination"]["kind"] == "limit_point"
    assert entry["termination"]["bore_stretch"] > 1.3
    assert study_result.complete


def test_requested_shapes_are_kept(cases_folder, tmp_path):
    job_list = small(cases_folder)
    run(job_list, tmp_path, SerialExecutor())
    assert not (tmp_path / SHAPES).exists()
    chosen = small(cases_folder, shapes=[{A: "20 deg", B: "-25 deg"}])
    executor = SerialExecutor()
    run(chosen, tmp_path, executor, resume=True)
    ((key, model),) = executor.solved
    assert model == "fe"
    names = {path.name for path in (tmp_path / SHAPES / key).iterdir()}
    assert {"shape.pvd", "shape_000.vtu", "shape_002.vtu", "steps.csv", "run.json"} <= names
    assert [path.name for path in (tmp_path / SHAPES).iterdir()] == [key]


@pytest.mark.parametrize(
    ("kind", "status"),
    [(TerminationKind.NOT_CONVERGED, "failed"), (TerminationKind.STABILITY_LOST, "ended")],
)
def test_status_of_a_path_that_ends_early_and_its_steps(job_list, monkeypatch, kind, status):
    (case, *_) = job_list.cases

    def solve_half(case, model, *rest, **options):
        result = solve(case, model, *rest, **options)
        (run,) = result.runs
        end = Termination.at(kind, run.rows[-1], step=3, steps=4)
        return replace(result, runs=[replace(run, termination=end)])

    monkeypatch.setattr(work, "solve", solve_half)
    (solved,) = work.solve_task(work.Task("fe", (case,), "1x1x2"))
    assert (solved.curve.status, solved.curve.termination.kind) == (status, kind)
    assert len(solved.curve.steps["step"]) == 3


def test_a_study_is_solved_and_saved_in_one_call(cases_folder, tmp_path):
    study = small(cases_folder, models=["fast"]).study
    study_result = solve_study(study, tmp_path / "reach", workers=1)
    pandas.testing.assert_frame_equal(
        StudyResult.load(tmp_path / "reach").table, study_result.table
    )
    assert study_result.complete
    with refused(InputError, str(tmp_path / "reach"), "--resume"):
        solve_study(study, tmp_path / "reach")
    again = solve_study(study, tmp_path / "reach", workers=1, resume=True)
    pandas.testing.assert_frame_equal(again.table, study_result.table)
