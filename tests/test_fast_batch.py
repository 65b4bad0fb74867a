"""The fast model over many cases: held to the path of one case, and to a closed form."""

import numpy as np
import pytest

from fem.fast.batch import solve_batch, solve_tables
from fem.run import solve

HISTORY = {"newton_iterations", "energy_gap"}
"""Columns that depend on the steps that were taken."""


def differences(one, other):
    """Return where two runs differ by more than 1e-9 of the size of a column on that path."""
    assert list(one.rows[0]) == list(other.rows[0])
    assert [row["limit"] for row in one.rows] == [row["limit"] for row in other.rows]
    assert (one.model, one.reached, one.reason, one.limit) == (
        *(other.model, other.reached, other.reason, other.limit),
    )
    found = {}
    for name in set(one.rows[0]) - HISTORY:
        left, right = ([row[name] for row in run.rows] for run in (one, other))
        assert [type(value) for value in left] == [type(value) for value in right]
        if isinstance(left[0], float):
            gap = np.abs(np.subtract(left, right)).max()
            if gap > 1e-9 * np.abs(left).max() + 1e-13:
                found[name] = gap
        elif left != right:
            found[name] = left, right
    return found


def solved_together(cases):
    """Return the numbers of the cases that the batch solves without the path of one case."""
    return sorted(number for table in solve_tables(cases) for number in table.cases.tolist())


def check(cases):
    """Check that a batch solves all cases together, as each is solved by itself; return the runs."""
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
    "held": {"end": {"axial": "held", "twist": "held"}},
    "held axially": {"end": {"axial": "held"}},
    "springs": {"end": {"axial_spring": "0.5 N/mm", "twist_spring": "20 N mm/rad"}},
}


@pytest.mark.parametrize("end", ENDS)
def test_batch_of_any_rubber_agrees_with_the_path_of_each_case(make_case, rubbers, end):
    check([make_case(rubber=rubber, **ENDS[end]) for rubber in rubbers.values()])


def cut(make_case, first, second, **changes):
    """Return the ready case with threads cut at 30 deg, at two angles, in ten steps."""
    return make_case(
        pressure__steps=10,
        threads__0__angle=f"{first} deg",
        threads__1__angle=f"{second} deg",
        threads__0__slack="cut at 30 deg",
        threads__1__slack="cut at 30 deg",
        **changes,
    )
