"""The fast model over many cases at once.

Cases that are driven by pressure from rest are followed together, as arrays
(:mod:`fem.continuation.batch.paths`). Others are handed to the path of one case, with a reason
(:class:`fem.fast.grouping.SinglePath`): those driven by volume or gas, whose free end is moved or
bears a dead force or torque, whose threads are too short (negative slack), and those that the batch
could not follow with certainty to their end. Either way the answer is the same: states, limit
points and tears are found to round-off. Only the number of iterations and the energy gap depend on
the steps that were taken.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.continuation.batch.paths import follow
from fem.continuation.termination import TerminationKind
from fem.fast.grouping import Group, groups
from fem.fast.outputs import Outputs, read
from fem.quantities.column import step_columns
from fem.results.equilibrium_checks import BALANCE, end_gaps
from fem.results.run import Run
from fem.results.termination import REACHED, Termination
from fem.solving.single import solve

CHUNK = 4096
"""Most tubes in one batch: their arrays fit the processor's cache."""


def solve_batch(cases: Sequence[Case]) -> list[Run]:
    """Solve cases by the fast model, in batches where that is possible (see the module).

    Returns
    -------
    list of Run
        As :func:`fem.solving.single.solve` with ``"fast"`` gives them, in the order of the cases.
        The time of a run is its share of that of the batch.

    Raises
    ------
    ArithmeticError
        If a case has no solution even at rest.
    """
    runs = solve_together(cases)
    for number, case in enumerate(cases):
        if number not in runs:
            (runs[number],) = solve(case, "fast").runs
    return [runs[number] for number in range(len(cases))]


def solve_together(cases: Sequence[Case]) -> dict[int, Run]:
    """Return the runs of all cases that can be solved together, by the numbers of the cases.

    A case that is not among them has to be solved by itself.
    """
    runs: dict[int, Run] = {}
    began = time.perf_counter()
    for group in groups(cases)[0]:
        for part in group.parts(CHUNK):
            outputs = read(part.tubes, follow(part.tubes, part.pressures))
            if len(outputs.states):
                now = time.perf_counter()
                runs.update(_runs(part, outputs, now - began))
                began = now
    return runs


def _runs(group: Group, outputs: Outputs, seconds: float) -> Iterator[tuple[int, Run]]:
    """Yield the numbers of the cases that have outputs, and their runs."""
    states, step, first = outputs.states, outputs.step, outputs.first[:-1]
    tube, last = states.tube[first], outputs.first[1:] - 1
    loads = (step.pressure, step.force, step.torque)
    gaps = end_gaps(loads, outputs.reactions, group.tubes.outer[states.tube])
    unit = group.tubes.energy_unit[tube]
    balances = np.transpose(
        [
            outputs.work.total[last] * unit,
            states.energy[last] * unit,
            *(np.maximum.reduceat(values, first) for values in (step.energy_gap, *gaps)),
        ]
    ).tolist()
    arrays = step_columns(step)
    columns = [np.broadcast_to(array, len(states)).tolist() for array in arrays.values()]
    rows = [dict(zip(arrays, row, strict=True)) for row in zip(*columns, strict=True)]
    for k, number in enumerate(group.numbers[tube].tolist()):
        mine = rows[outputs.first[k] : outputs.first[k + 1]]
        yield (
            number,
            Run(
                model="fast",
                rows=mine,
                termination=_termination(mine, len(group.pressures)),
                seconds=seconds / len(tube),
                balance=dict(zip(BALANCE, balances[k], strict=True)),
            ),
        )


def _termination(rows: Sequence[dict[str, Any]], steps: int) -> Termination:
    """Return why a path ended: early at its limit point, or where the wall is stretched too far."""
    done = sum(row["requested"] for row in rows)
    if done == 1 + steps:
        return REACHED
    kind, where = TerminationKind.STRETCH_LIMIT, rows[-1]
    if limits := [row for row in rows if row["limit"]]:
        kind, where = TerminationKind.LIMIT_POINT, limits[0]
    return Termination.at(kind, where, step=done, steps=steps)
