"""The fast model for many cases, compared with single cases and with a closed form."""

from collections import Counter

import numpy as np
import pytest

from fem.continuation.stepper import MAX_STRETCH
from fem.continuation.termination import TerminationKind
from fem.fast.grouping import SinglePath, batch_groups, single_path_reason
from fem.results.termination import ballooned
from fem.solving.batch import solve_batch, solve_many, solve_together
from fem.solving.single import solve
from fem.wording.termination import reason

HISTORY = {"newton_iterations", "energy_gap"}
"""Columns that depend on the steps of the path."""

ROUND_OFF = 1e-12
"""Round-off of a column of zeros, such as the twist of a fixed end (deg)."""


def differences(one, other):
    """Return the columns of two runs that differ by more than 1e-9 of their size on that path."""
    assert list(one.rows[0]) == list(other.rows[0])
    assert [row["limit"] for row in one.rows] == [row["limit"] for row in other.rows]
    assert (one.model, one.termination.kind) == (other.model, other.termination.kind)
    assert reason(one.termination) == reason(other.termination)
    assert one.termination.data().keys() == other.termination.data().keys()
    found = {}
    for name in set(one.rows[0]) - HISTORY:
        left, right = ([row[name] for row in run.rows] for run in (one, other))
        assert [type(value) for value in left] == [type(value) for value in right]
        if isinstance(left[0], float):
            gap = np.abs(np.subtract(left, right)).max()
            if gap > 1e-9 * np.abs(left).max() + ROUND_OFF:
                found[name] = gap
        elif left != right:
            found[name] = left, right
    return found


def solved_together(cases):
    """Return the numbers of the cases that are solved in the batch."""
    return sorted(solve_together(cases))


def check(cases):
    """Check that all cases are solved in the batch, with the results of single cases."""
    assert solved_together(cases) == list(range(len(cases)))
    runs = solve_batch(cases)
    for case, run in zip(cases, runs, strict=True):
        (one,) = solve(case, "fast").runs
        assert not differences(one, run)
        assert run.balance.keys() == one.balance.keys()
        assert run.balance["stored_energy_Nmm"] == pytest.approx(
            one.balance["stored_energy_Nmm"], rel=1e-9
        )
        assert run.balance["energy_gap"] < 2e-3
        assert max(run.balance["end_force_gap"], run.balance["end_torque_gap"]) < 1e-8
        assert sum(row["newton_iterations"] for row in run.rows) > 0
    return runs


ENDS = {
    "free": {},
    "fixed": {"end": {"axial": "held", "twist": "held"}},
    "fixed axially": {"end": {"axial": "held"}},
    "springs": {"end": {"axial_spring": "0.5 N/mm", "twist_spring": "20 N mm/rad"}},
}


@pytest.mark.parametrize("end", ENDS)
def test_batch_of_any_rubber_agrees_with_single_cases(make_case, rubbers, end):
    check([make_case(rubber=rubber, **ENDS[end]) for rubber in rubbers.values()])


def cut(make_case, first, second, **changes):
    """Return the ready case in ten steps, with threads cut at 30 deg and set at two angles."""
    return make_case(
        pressure__steps=10,
        threads__0__angle=f"{first} deg",
        threads__1__angle=f"{second} deg",
        threads__0__slack="cut at 30 deg",
        threads__1__slack="cut at 30 deg",
        **changes,
    )


# At small angles the long threads let the tube balloon, or the wall reaches its stretch limit. With
# -15 and -20 deg, pressure falls very little and rises again.
HARD = {
    (0, 0): TerminationKind.LIMIT_POINT,
    (-15, -20): TerminationKind.LIMIT_POINT,
    (20, 20): TerminationKind.LIMIT_POINT,
    (0, 5): TerminationKind.STRETCH_LIMIT,
    (-15, -10): TerminationKind.STRETCH_LIMIT,
    (5, -10): TerminationKind.REACHED,
    (-15, 5): TerminationKind.REACHED,
    (30, -30): TerminationKind.REACHED,
}


def is_balloon(run):
    """Return whether a path ended at the limit point of a balloon."""
    end = run.termination
    return end.kind is TerminationKind.LIMIT_POINT and ballooned(end.bore_stretch)


def test_early_ends_agree_with_single_cases(make_case):
    runs = check([cut(make_case, *angles) for angles in HARD])
    for expected, run in zip(HARD.values(), runs, strict=True):
        assert run.termination.kind is expected
        assert run.reached == (expected is TerminationKind.REACHED)
        assert is_balloon(run) == (expected is TerminationKind.LIMIT_POINT)
        assert any(row["limit"] for row in run.rows) == is_balloon(run)


def test_all_curves_of_a_study_are_solved_in_the_batch(make_case):
    """The expected numbers of early ends were found with single cases."""
    angles = np.linspace(-30, 30, 13).tolist()
    cases = [
        make_case(
            pressure__steps=10,
            threads__0__angle=f"{first!r} deg",
            threads__1__angle=f"{second!r} deg",
            threads__0__slack=slack,
            threads__1__slack=slack,
        )
        for slack in ("taken up", "cut at 30 deg")
        for first in angles
        for second in angles
    ]
    assert solved_together(cases) == list(range(338))
    runs = solve_batch(cases)
    assert Counter(run.termination.kind for run in runs) == {
        TerminationKind.REACHED: 313,
        TerminationKind.LIMIT_POINT: 13,
        TerminationKind.STRETCH_LIMIT: 12,
    }
    assert sum(map(is_balloon, runs)) == 13


def test_last_state_is_at_the_stretch_limit_of_the_wall(make_case):
    (run,) = check([cut(make_case, 10, 15)])
    assert run.rows[-1]["wall_stretch_max"] == pytest.approx(MAX_STRETCH, rel=1e-9)
    assert not run.rows[-1]["requested"]


def family(name, rng):
    """Return a random family of threads without negative slack."""
    angle = rng.uniform(-80, 80)
    slack = ["taken up", f"{rng.uniform(0, 8):.2f} %", f"cut at {min(abs(angle) + 9, 85):.1f} deg"]
    return {
        "name": name,
        "count": int(rng.integers(1, 25)),
        "angle": f"{angle:.2f} deg",
        "stiffness": f"{10 ** rng.uniform(1, 4.5):.2f} N",
        "slack": str(rng.choice(slack)),
        "toe": float(10 ** rng.uniform(-4, -1.5)),
        "breaking_load": "20 N" if rng.random() < 0.5 else None,
    }


def some_case(make_case, rubbers, rng):
    """Return a random case."""
    families = [family(name, rng) for name in "ABC"[: rng.integers(0, 4)]]
    return make_case(
        tube={
            "bore_radius": "5 mm",
            "wall": f"{10 ** rng.uniform(-0.7, 0.9):.3f} mm",
            "length": f"{rng.uniform(20, 150):.1f} mm",
        },
        rubber=rubbers[str(rng.choice(list(rubbers)))],
        threads=[{k: v for k, v in data.items() if v is not None} for data in families],
        pressure={
            "end": f"{10 ** rng.uniform(0.3, 1.5):.2f} kPa",
            "steps": int(rng.integers(1, 9)),
        },
        end=ENDS[str(rng.choice(list(ENDS)))].get("end", {}),
    )


def agree(make_case, rubbers, seed, count):
    rng = np.random.default_rng(seed)
    cases = [some_case(make_case, rubbers, rng) for _ in range(count)]
    for case, run in zip(cases, solve_batch(cases), strict=True):
        (one,) = solve(case, "fast").runs
        assert not differences(one, run)
    assert len(solved_together(cases)) > 0.9 * count


def test_random_cases_agree(make_case, rubbers):
    agree(make_case, rubbers, 11, 12)


@pytest.mark.exhaustive
@pytest.mark.parametrize("seed", range(10))
def test_many_random_cases_agree(make_case, rubbers, seed):
    agree(make_case, rubbers, 100 + seed, 40)


# Tube A = 6 mm, B = 8 mm, mu = 0.1 MPa, free closed ends, threads on B that stretch: a (mm),
# lambda, psi (rad/mm) and tension of a thread (N) by the closed forms of a neo-Hookean tube (Rivlin
# 1949, doi 10.1098/rsta.1949.0009) with threads (Adkins & Rivlin 1955, doi 10.1098/rsta.1955.0014);
# formulas from memory, re-derived; solved, and minimised, both independently of the code.
ELASTIC = {5: (6.18121119, 1.01231426, -5.42651168e-3, 0.04077948)}
ELASTIC[20] = (6.83516841, 1.07004168, -2.45729483e-2, 0.20336356)


def test_closed_form_of_a_tube_with_one_family(make_case):
    threads = [{"name": "A", "count": 8, "angle": "70 deg", "stiffness": "500 N", "toe": 1e-9}]
    changes = {
        "tube": {"bore_radius": "6 mm", "wall": "2 mm", "length": "60 mm"},
        "rubber": {"law": "neo-Hookean", "shear_modulus": "100 kPa"},
        "threads": threads,
    }
    case = make_case(**changes, pressure={"end": "20 kPa", "steps": 4})
    assert solved_together([case]) == [0]
    (run,) = solve_batch([case])
    for pressure, (a, lam, psi, tension) in ELASTIC.items():
        (row,) = (row for row in run.rows if row["pressure_kPa"] == pressure)
        # nine digits are given; the toe region reduces the strain by 1e-9/2
        assert row["bore_stretch"] == pytest.approx(a / 6, rel=2e-8)
        assert row["stretch"] == pytest.approx(lam, rel=2e-8)
        assert np.radians(row["twist_deg"]) / 60 == pytest.approx(psi, rel=2e-8)
        assert row["tension_N.A"] == pytest.approx(tension, rel=2e-5)


def test_shallow_dip_of_the_pressure_is_found_in_batch_and_single_case(make_case, rubbers):
    """The pressure rises before and beyond the dip, so a long step could pass over it."""
    threads = [{"name": "A", "count": 15, "angle": "-40.42 deg", "stiffness": "5.8 kN"}]
    case = make_case(
        tube={"bore_radius": "5 mm", "wall": "0.453 mm", "length": "60 mm"},
        rubber=rubbers["Ogden"],
        threads=[{**threads[0], "slack": "cut at 58 deg", "toe": 3e-4}],
        pressure={"end": "8.718 kPa", "steps": 11},
    )
    (run,) = check([case])
    top = next(row for row in run.rows if row["limit"])
    assert run.rows[-1]["pressure_kPa"] > top["pressure_kPa"] > run.rows[-2]["pressure_kPa"]


def test_limit_point_with_exactly_zero_stiffness(make_case):
    """In these bare tubes the search ends where the stiffness is exactly zero."""
    springs = {"axial_spring": "0.5 N/mm", "twist_spring": "20 N mm/rad"}
    tubes = [
        {"bore_radius": "5 mm", "wall": f"{wall} mm", "length": "97 mm"}
        for wall in (0.6, 0.61, 0.621, 0.64)
    ]
    bare = {"threads": [], "pressure": {"end": "12.34 kPa", "steps": 6}}
    runs = check([make_case(tube=tube, end=end, **bare) for tube in tubes for end in ({}, springs)])
    assert all(map(is_balloon, runs))


OTHERS = {
    "volume": {"pressure": None, "volume": {"added": "1 mL", "steps": 2}},
    "gas": {"pressure": None, "gas": {"mass": "1 mg", "steps": 2}},
    "moved": {"move": {"displacement": "1 mm", "steps": 1}, "pressure__steps": 1},
    "dead load": {"end": {"force": "1 N"}, "pressure__steps": 1},
    "too short": {"threads__0__slack": "cut at 15 deg", "pressure__steps": 1},
}


REASONS = {
    "volume": SinglePath.DRIVE,
    "gas": SinglePath.DRIVE,
    "moved": SinglePath.MOVE,
    "dead load": SinglePath.DEAD_LOAD,
    "too short": SinglePath.PRESTRESS,
}


def test_reasons_for_solving_a_single_case(make_case):
    cases = {name: make_case(**changes) for name, changes in OTHERS.items()}
    assert {name: single_path_reason(case) for name, case in cases.items()} == REASONS
    assert single_path_reason(make_case()) is None
    assert batch_groups([make_case(), *cases.values()])[1] == dict(enumerate(REASONS.values(), 1))


def test_other_cases_are_solved_one_by_one(make_case):
    cases = [make_case(**changes) for changes in OTHERS.values()]
    cases.insert(2, make_case())
    assert solved_together(cases) == [2]
    for case, run in zip(cases, solve_batch(cases), strict=True):
        (one,) = solve(case, "fast").runs
        assert not differences(one, run)


def test_case_that_fails_in_the_batch_is_solved_alone(make_case, monkeypatch):
    """No step of volume control is allowed; then no state meets a tolerance of zero."""
    cases = [cut(make_case, 0, 0), cut(make_case, 30, -30)]
    monkeypatch.setattr("fem.continuation.batch.volume_control.MAX_STEPS", 0)
    assert solved_together(cases) == [1]
    reached = [run.reached for run in solve_batch(cases)]
    monkeypatch.setattr("fem.fast.outputs.TOLERANCE", 0.0)
    assert solved_together(cases) == []
    assert [run.reached for run in solve_batch(cases)] == reached == [False, True]


def test_buckling_is_left_to_the_single_case(make_case):
    case = make_case(end={"axial": "held"}, pressure={"end": "40 kPa", "steps": 3})
    (run,), (one,) = solve_batch([case]), solve(case, "fast").runs
    assert not differences(one, run)


def test_no_cases_have_no_runs():
    assert solve_batch([]) == []


def test_cases_keep_their_order_and_may_come_twice(make_case, rubbers):
    first, second = make_case(), make_case(rubber=rubbers["Gent"], pressure__steps=3)
    runs = solve_batch([first, second, first])
    assert [len(run.rows) for run in runs] == [6, 4, 6]
    assert not differences(runs[0], runs[2])
    assert "rubber_utilisation" in runs[1].rows[0] and "rubber_utilisation" not in runs[0].rows[0]


def test_chunks_of_a_group_make_no_difference(make_case, monkeypatch):
    cases = [cut(make_case, angle, -20) for angle in (-30, -10, 10, 20, 30)]
    one_chunk = solve_batch(cases)
    monkeypatch.setattr("fem.solving.batch.CHUNK", 2)
    chunks = solve_batch(cases)
    for one, other in zip(one_chunk, chunks, strict=True):
        assert not differences(one, other)


# ------------------------------------------------------------------------------ results of many


def test_many_cases_have_the_results_of_each(make_case):
    cases = [make_case(), make_case(volume={"added": "1 mL", "steps": 2}), make_case(threads=[])]
    results = solve_many(case for case in cases)
    assert [result.case for result in results] == cases
    for case, result in zip(cases, results, strict=True):
        assert not differences(solve(case, "fast").runs[0], *result.runs)


def test_what_is_no_case_is_named(make_case):
    with pytest.raises(TypeError, match=r"cases\[1\]: str"):
        solve_many([make_case(), "greenhouse_wrist.toml"])


def test_a_case_without_equilibrium_is_named(make_case, monkeypatch):
    def no_rest(case, models):
        raise ArithmeticError("no rest")

    monkeypatch.setattr("fem.solving.batch.solve", no_rest)
    cases = [make_case(), make_case(volume={"added": "1 mL", "steps": 2}, title="Syringe")]
    with pytest.raises(ArithmeticError, match="no rest") as caught:
        solve_many(cases)
    assert caught.value.__notes__ == ['cases[1], "Syringe"']
