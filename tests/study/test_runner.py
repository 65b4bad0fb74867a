"""The run of a study: nothing lost, nothing twice, whatever becomes of its workers."""

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
from fem.results.folder import STUDY_DATABASE
from fem.results.termination import Termination
from fem.study import worker as work
from fem.study.executor import CrewLostError
from fem.study.job_list import Agenda
from fem.study.plan import Study
from fem.study.runner import SHAPES, run
from fem.study.study_result import Outcome

A, B = "threads.A.angle", "threads.B.angle"


@pytest.fixture
def agenda(cases_folder):
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
    return Agenda.of(Study.parse({**data, **changes}, folder))


class HereCrew:
    """A crew of this process alone, whose workers die and whose user breaks off as it is told."""

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


def test_table_holds_what_single_solves_give(agenda, tmp_path):
    outcome = run(agenda, tmp_path, HereCrew())
    assert outcome.complete
    for case in agenda.cases:
        for model in ("fast", "fe"):
            single = solve(case, model, "1x1x2").steps
            rows = outcome.table
            mine = rows[(rows.case == case.key) & (rows.model == model)].reset_index(drop=True)
            history = ["newton_iterations", "energy_gap"]  # how it went is not what was found
            pandas.testing.assert_frame_equal(
                mine[single.columns].drop(columns=history),
                single.drop(columns=history),
                rtol=1e-9,
                check_dtype=False,
            )
            assert (mine["angle_deg.A"] - math.degrees(case.threads[0].angle)).abs().max() < 1e-9


def test_outcome_comes_back_from_its_folder(agenda, tmp_path):
    outcome = run(agenda, tmp_path, HereCrew())
    outcome.save(tmp_path)
    again = Outcome.load(tmp_path)
    pandas.testing.assert_frame_equal(again.table, outcome.table)
    assert again.study.hash == agenda.study.hash
    assert again.varied == ["angle_deg.A", "angle_deg.B"]
    written = pandas.read_csv(tmp_path / "table.csv")
    pandas.testing.assert_frame_equal(written, outcome.table, check_dtype=False)


def test_folder_without_results_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"run\.json: there is no such file"):
        Outcome.load(tmp_path)


def test_a_table_that_is_not_of_its_record_is_refused(agenda, tmp_path):
    """As a kill between the files of a study that goes on leaves them."""
    run(agenda, tmp_path, HereCrew()).save(tmp_path)
    table = tmp_path / "table.parquet"
    pandas.read_parquet(table).iloc[1:].to_parquet(table, index=False)
    with pytest.raises(InputError, match=r"table\.parquet: run\.json does not belong to it"):
        Outcome.load(tmp_path)


def test_a_folder_with_a_result_takes_no_study(agenda, tmp_path):
    solve(agenda.cases[0], "fast").save(tmp_path)
    with pytest.raises(InputError, match="it holds the result of a case"):
        run(agenda, tmp_path, HereCrew())


def test_what_is_broken_off_goes_on_and_nothing_is_done_twice(agenda, tmp_path):
    crew = HereCrew(break_after=8)
    outcome = run(agenda, tmp_path, crew)
    assert not outcome.complete
    assert outcome.provenance["ended_early"] == "interrupted"
    rest = HereCrew()
    outcome = run(agenda, tmp_path, rest, resume=True)
    assert outcome.complete
    assert max(Counter(crew.performed + rest.performed).values()) == 1
    whole = run(agenda, tmp_path / "whole", HereCrew())
    pandas.testing.assert_frame_equal(outcome.table, whole.table)


def test_earlier_run_is_not_written_over(agenda, tmp_path, cases_folder):
    run(agenda, tmp_path, HereCrew())
    with pytest.raises(InputError, match="12 curves of an earlier run are there"):
        run(agenda, tmp_path, HereCrew())
    with pytest.raises(InputError, match='of resolution "1x1x2"'):
        run(small(cases_folder, resolution="1x1x4"), tmp_path, HereCrew(), resume=True)


def test_more_values_are_added_to_an_earlier_run(agenda, tmp_path, cases_folder):
    run(agenda, tmp_path, HereCrew())
    more = [
        {"field": A, "from": "10 deg", "to": "30 deg", "count": 3},
        {"field": B, "values": ["-20 deg", "-25 deg", "-30 deg"]},
    ]
    crew = HereCrew()
    outcome = run(small(cases_folder, vary=more), tmp_path, crew, resume=True)
    assert outcome.complete
    assert len(crew.performed) == 6
    assert outcome.provenance["curves"] == {"asked": 18, "reached": 18}


def test_folder_of_another_study_is_left_alone(agenda, tmp_path, cases_folder):
    run(agenda, tmp_path, HereCrew())
    other = small(cases_folder, set={"pressure.end": "3 kPa"})
    with pytest.raises(InputError, match='the curves there are of another study, "Trial"'):
        run(other, tmp_path, HereCrew(), resume=True)


def test_folder_of_a_version_that_named_cases_otherwise_is_left_alone(agenda, tmp_path):
    run(agenda, tmp_path, HereCrew())
    with closing(sqlite3.connect(tmp_path / STUDY_DATABASE)) as base, base:
        base.execute("""UPDATE curves SET "case" = 'x' || substr("case", 2)""")
    with pytest.raises(InputError, match="an earlier version, which named cases otherwise"):
        run(agenda, tmp_path, HereCrew(), resume=True)


def test_new_titles_and_notes_solve_nothing_again(agenda, tmp_path, cases_folder):
    run(agenda, tmp_path, HereCrew())
    text = (cases_folder / "greenhouse_wrist.toml").read_text(encoding="utf-8")
    retitled = tmp_path / "cases"
    retitled.mkdir()
    (retitled / "greenhouse_wrist.toml").write_text(
        text.replace('title = "Greenhouse wrist"', 'title = "Wrist"', 1), "utf-8"
    )
    other, crew = small(retitled, title="Another"), HereCrew()
    assert other.study.base.title == "Wrist"
    assert run(other, tmp_path, crew, resume=True).complete
    assert not crew.performed


def test_curves_of_values_that_are_taken_away_are_left_aside(agenda, tmp_path, cases_folder):
    run(agenda, tmp_path, HereCrew())
    fewer = [{"field": A, "values": ["10 deg"]}, {"field": B, "values": ["-20 deg"]}]
    outcome = run(small(cases_folder, vary=fewer), tmp_path, HereCrew(), resume=True)
    assert outcome.complete
    assert outcome.table.case.nunique() == 1
    assert outcome.provenance["curves_not_asked_for"] == 10


def test_models_that_are_taken_away_are_left_aside(agenda, tmp_path, cases_folder):
    run(agenda, tmp_path, HereCrew())
    outcome = run(small(cases_folder, models=["fe"]), tmp_path, HereCrew(), resume=True)
    assert outcome.complete
    assert outcome.provenance["curves"] == {"asked": 6, "reached": 6}
    assert outcome.provenance["curves_not_asked_for"] == 6
    assert set(outcome.table.model) == {"fe"}


def test_run_whose_crew_is_lost_keeps_what_is_done(agenda, tmp_path):
    class Leaving(HereCrew):
        def result(self, future):
            if len(self.performed) >= 7:
                raise CrewLostError("the scheduler is gone")
            return super().result(future)

    crew = Leaving()
    outcome = run(agenda, tmp_path, crew)
    assert outcome.provenance["ended_early"] == "the scheduler is gone"
    assert outcome.provenance["curves"] == {"asked": 12, "reached": len(crew.performed)}
    assert len(crew.performed) < 12


def test_batch_that_fails_is_solved_one_by_one_and_told(agenda, tmp_path, monkeypatch):
    def broken(cases):
        raise TypeError("not so")

    monkeypatch.setattr("fem.solving.batch.solve_batch", broken)
    outcome = run(agenda, tmp_path, HereCrew())
    assert outcome.complete
    assert outcome.provenance["not_in_batch"] == ["TypeError: not so"]


def test_results_of_another_version_are_refused(agenda, tmp_path):
    outcome = run(agenda, tmp_path, HereCrew())
    replace(outcome, table=outcome.table.drop(columns="angle_deg.B")).save(tmp_path)
    with pytest.raises(InputError, match=r"the table has no column angle_deg\.B"):
        Outcome.load(tmp_path)


def test_worker_that_dies_costs_one_case_one_retry(agenda, tmp_path):
    key = agenda.cases[3].key
    crew = HereCrew(deaths={key: 1})
    told = []
    outcome = run(agenda, tmp_path, crew, report=told.extend)
    assert outcome.complete
    assert len(crew.performed) == len(set(crew.performed)) == agenda.curves
    assert {c.tries for c in told if c.case != key and c.model == "fe"} == {1}


def test_case_that_kills_its_workers_fails_alone(agenda, tmp_path):
    key = agenda.cases[3].key
    outcome = run(agenda, tmp_path, HereCrew(deaths={key: 4}))
    failed = outcome.provenance["not_reached"]
    assert [(e["case"], e["status"], e["tries"]) for e in failed] == [(key, "failed", 2)] * 2
    assert all("exit code -9" in entry["termination"]["error"] for entry in failed)
    assert not outcome.complete
    crew = HereCrew()
    assert not run(agenda, tmp_path, crew, resume=True).complete
    assert not crew.performed
    assert run(agenda, tmp_path, crew, retry=True).complete
    assert {case for case, _ in crew.performed} == {key}


def test_case_that_cannot_be_solved_fails_alone(agenda, tmp_path, monkeypatch):
    key = agenda.cases[2].key

    def solve_but_one(case, model, *rest, **options):
        if case.key == key:
            raise ArithmeticError("the stiffness is singular")
        return solve(case, model, *rest, **options)

    monkeypatch.setattr(work, "solve", solve_but_one)
    outcome = run(agenda, tmp_path, HereCrew())
    end = {"kind": "no_rest", "error": "the stiffness is singular"}
    for entry in outcome.provenance["not_reached"]:
        assert (entry["case"], entry["termination"]) == (key, end)
    assert outcome.provenance["curves"]["reached"] == 11


def test_curve_that_ends_at_a_limit_is_no_failure(cases_folder, tmp_path):
    slack = {"field": "threads.A.slack", "same": ["threads.B.slack"], "values": ["cut at 30 deg"]}
    along = {A: "0 deg", B: "0 deg", "pressure.end": "15 kPa"}
    changes = {"vary": [slack], "models": ["fast"], "set": along}
    outcome = run(small(cases_folder, **changes), tmp_path, HereCrew())
    (entry,) = outcome.provenance["not_reached"]
    assert entry["status"] == "ended"
    assert entry["termination"]["kind"] == "limit_point"
    assert entry["termination"]["bore_stretch"] > 1.3
    assert outcome.complete


def test_shapes_that_are_asked_for_are_kept(cases_folder, tmp_path):
    agenda = small(cases_folder)
    run(agenda, tmp_path, HereCrew())
    assert not (tmp_path / SHAPES).exists()
    chosen = small(cases_folder, shapes=[{A: "20 deg", B: "-25 deg"}])
    crew = HereCrew()
    run(chosen, tmp_path, crew, resume=True)
    ((key, model),) = crew.performed
    assert model == "fe"
    names = {path.name for path in (tmp_path / SHAPES / key).iterdir()}
    assert {"shape.pvd", "shape_000.vtu", "shape_002.vtu", "steps.csv", "run.json"} <= names
    assert [path.name for path in (tmp_path / SHAPES).iterdir()] == [key]


@pytest.mark.parametrize(
    ("kind", "status"),
    [(TerminationKind.NOT_CONVERGED, "failed"), (TerminationKind.STABILITY_LOST, "ended")],
)
def test_path_that_is_lost_is_a_failure_that_keeps_its_steps(agenda, monkeypatch, kind, status):
    (case, *_) = agenda.cases

    def solve_half(case, model, *rest, **options):
        result = solve(case, model, *rest, **options)
        (run,) = result.runs
        end = Termination.at(kind, run.rows[-1], step=3, steps=4)
        return replace(result, runs=[replace(run, termination=end)])

    monkeypatch.setattr(work, "solve", solve_half)
    (done,) = work.perform(work.Task("fe", (case,), "1x1x2"))
    assert (done.curve.status, done.curve.termination.kind) == (status, kind)
    assert len(done.curve.steps["step"]) == 3
