"""Additional solves of a run: mesh error, bounds of friction, and their early ends."""

import json

import pytest

from fem.continuation.loading import PRESSURE
from fem.continuation.newton import DivergedError, solve_equilibrium
from fem.continuation.termination import TerminationKind
from fem.fe.mesh.body import resolve
from fem.solving.single import MODELS, solve
from fem.wording.termination import SOLVED_HOW, incomplete, reason
from tests.helpers.messages import assert_states
from tests.helpers.paths import replace_newton

MESH = "1x1x4"
WITH_FRICTION = {"threads__0__hold": "sliding", "threads__0__friction": 0.3, "pressure__steps": 2}
ADDITIONAL = ("fe.if_bonded", "fe.mesh_error")


@pytest.fixture
def on_coarser_mesh(monkeypatch):
    """Return a function that replaces the equilibrium solver on the coarser mesh of MESH."""

    def replace(other):
        def search(model, loading, x, loads):
            coarse = model.mesh.get("cells_along_axis") == 2
            return (other if coarse else solve_equilibrium)(model, loading, x, loads)

        replace_newton(monkeypatch, search)

    return replace


def has(row, solve):
    return any(name.endswith(solve.removeprefix("fe")) for name in row)


def test_mesh_error_is_the_difference_to_a_coarser_mesh(make_case):
    case = make_case(pressure__steps=1)
    row = solve(case, "fe", "2x2x6", mesh_error=True).rows[-1]
    other = solve(case, "fe", "1x1x3").rows[-1]
    for name in ("twist_deg", "displacement_mm", "tension_N.A"):
        assert row[f"{name}.mesh_error"] == pytest.approx(abs(row[name] - other[name]), rel=1e-6)
        assert row[f"{name}.mesh_error"] > 0


def test_bonded_threads_are_the_other_bound_of_friction(make_case):
    case = make_case(pressure__steps=1, threads__0__hold="sliding", threads__0__friction=0.3)
    row = solve(case, "fe", MESH).rows[-1]
    bonded = solve(make_case(pressure__steps=1), "fe", MESH).rows[-1]
    assert row["twist_deg.if_bonded"] == pytest.approx(bonded["twist_deg"], rel=1e-6)
    assert row["twist_deg"] != pytest.approx(bonded["twist_deg"], rel=1e-3)


def test_regrouped_threads_are_the_same_on_both_meshes(make_case):
    """31 and 12 threads are meshed as 33 and 11, on the coarser mesh as well."""
    case = make_case(threads__0__count=31, tube__length="12 mm", pressure__steps=1)
    regrouped = case.changed(
        threads__0__count=33,
        threads__0__stiffness=f"{200 * 31 / 33!r} N",
        threads__1__count=11,
        threads__1__stiffness=f"{200 * 12 / 11!r} N",
    )
    assert regrouped.sectors > case.sectors
    cells = resolve(regrouped, "coarse", regrouped.sectors)
    counts = f"{cells.radial}x{cells.around}x{cells.axial}"
    row, expected = (
        solve(case, "fe", mesh, mesh_error=True).rows[-1]
        for case, mesh in ((case, "coarse"), (regrouped, counts))
    )
    for name in ("twist_deg.mesh_error", "displacement_mm.mesh_error"):
        assert row[name] == pytest.approx(expected[name], rel=1e-6)
        assert row[name] > 0


def test_solves_report_their_progress_in_order(make_case):
    reports = []
    case = make_case(**WITH_FRICTION)
    solve(case, MODELS, MESH, mesh_error=True, report=lambda *news: reports.append(news))
    assert reports == [(name, done, 2) for name in ("fe", *ADDITIONAL, "fast") for done in range(3)]


@pytest.mark.parametrize(
    ("interrupted", "purpose"), [("fe.if_bonded", "friction"), ("fe.mesh_error", "mesh error")]
)
def test_interruption_of_an_additional_solve_keeps_the_run(
    make_case, tmp_path, interrupted, purpose
):
    names = []

    def interrupt(name, done, steps):
        names.append(name)
        if (name, done) == (interrupted, 1):
            raise KeyboardInterrupt

    result = solve(make_case(**WITH_FRICTION), MODELS, MESH, mesh_error=True, report=interrupt)
    (run,) = result.runs
    assert names[-1] == interrupted, "another solve was started"
    assert result.interrupted and result.reached
    assert [has(row, interrupted) for row in run.rows] == [True, True, False]
    (other,) = run.incomplete
    assert other.termination.kind is TerminationKind.INTERRUPTED
    assert (f"fe.{other.solve}", other.steps) == (interrupted, 1)
    assert_states(incomplete(other), f"{purpose}: ", SOLVED_HOW[other.solve], "interrupted")
    result.save(tmp_path)
    (written,) = json.loads((tmp_path / "run.json").read_text(encoding="utf-8"))["runs"]
    (entry,) = written["incomplete"]
    assert (entry["solve"], entry["termination"]["kind"]) == (other.solve, "interrupted")


def test_interruption_before_the_first_row_of_an_additional_solve_keeps_the_run(
    make_case, on_coarser_mesh
):
    def interrupt(*_):
        raise KeyboardInterrupt

    on_coarser_mesh(interrupt)
    (run,) = solve(make_case(pressure__steps=1), MODELS, MESH, mesh_error=True).runs
    assert run.interrupted and run.reached and len(run.rows) == 2
    (other,) = run.incomplete
    assert other.termination.interrupted and other.steps == 0


def test_an_interrupted_run_has_no_additional_solve(make_case):
    names = []

    def interrupt(name, done, steps):
        names.append(name)
        if done == 1:
            raise KeyboardInterrupt

    (run,) = solve(make_case(**WITH_FRICTION), MODELS, MESH, mesh_error=True, report=interrupt).runs
    assert run.interrupted and not run.reached and not run.incomplete
    assert set(names) == {"fe"}


def test_an_additional_solve_without_rest_keeps_the_run(make_case, on_coarser_mesh):
    def fail(*_):
        raise DivergedError(3)

    on_coarser_mesh(fail)
    fe, fast = solve(make_case(**WITH_FRICTION), MODELS, MESH, mesh_error=True).runs
    assert fe.reached and fast.reached and not fe.interrupted
    assert all(has(row, "fe.if_bonded") and not has(row, "fe.mesh_error") for row in fe.rows)
    (other,) = fe.incomplete
    assert other.termination.kind is TerminationKind.NO_REST and other.termination.error
    assert_states(incomplete(other), "mesh error: ", "at rest", other.termination.error)


@pytest.mark.parametrize(
    ("bound", "end", "steps"), [(8e-3, "after step 1", 1), (0.0, "before step 1", 0)]
)
def test_an_additional_solve_that_ends_early_has_a_reason(
    make_case, on_coarser_mesh, bound, end, steps
):
    def fail(model, loading, x, loads):
        trial, iterations = solve_equilibrium(model, loading, x, loads)
        if trial.loads[PRESSURE] > bound:
            raise DivergedError(iterations)
        return trial, iterations

    on_coarser_mesh(fail)
    (run,) = solve(make_case(pressure__steps=3), "fe", MESH, mesh_error=True).runs
    assert run.reached and len(run.rows) == 4
    assert [has(row, "fe.mesh_error") for row in run.rows] == [i <= steps for i in range(4)]
    (other,) = run.incomplete
    assert (other.solve, other.steps) == ("mesh_error", steps)
    assert other.termination.kind is TerminationKind.NOT_CONVERGED
    assert_states(incomplete(other), "mesh error: ", end, reason(other.termination))


def test_an_additional_solve_that_ends_at_the_same_step_is_complete(make_case):
    """Both meshes end at a balloon limit below the last step."""
    case = make_case(threads=[], pressure={"end": "20 kPa", "steps": 2})
    result = solve(case, MODELS, MESH, mesh_error=True)
    fe, fast = result.runs
    assert fe.limit_row and not fe.reached and not fe.incomplete
    assert not any(has(row, name) for row in fast.rows for name in ADDITIONAL)
    errors = result.steps["twist_deg.mesh_error"]
    assert errors[result.steps["model"] == "fast"].isna().all()
