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
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.continuation.batch.paths import follow
from fem.continuation.termination import TerminationKind
from fem.core.arrays import Array, Index
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
    runs: dict[int, Run] = {}
    for table in solve_tables(cases):
        runs |= _runs(table)
    for number, case in enumerate(cases):
        if number not in runs:
            (runs[number],) = solve(case, "fast").runs
    return [runs[number] for number in range(len(cases))]


@dataclass(frozen=True)
class Table:
    """The step tables of cases that were solved together, one below the other.

    Attributes
    ----------
    cases
        Numbers of the cases, shape (n,).
    first
        The first row of each of them, and after the last case the number of rows, shape (n + 1,).
    columns
        The columns of the step table by name, each of shape (rows,); "model" is one string.
    reached
        Whether the last requested pressure was reached, shape (n,).
    steps
        Number of requested pressures of each case.
    balance
        Equilibrium checks of each path, by name, each of shape (n,).
    seconds
        Wall time of all.
    """

    cases: Index
    first: Index
    columns: dict[str, Any]
    reached: Any
    steps: int
    balance: dict[str, Array]
    seconds: float


def solve_tables(cases: Sequence[Case]) -> Iterator[Table]:
    """Yield the tables of all cases that can be solved together, as arrays.

    A case that is in none of them has to be solved by itself.
    """
    began = time.perf_counter()
    for group in groups(cases)[0]:
        for part in group.parts(CHUNK):
            outputs = read(part.tubes, follow(part.tubes, part.pressures))
            if len(outputs.states):
                now = time.perf_counter()
                yield _table(part, outputs, now - began)
                began = now


def _table(group: Group, outputs: Outputs, seconds: float) -> Table:
    """Return the table of the tubes that have outputs."""
    states, step, first = outputs.states, outputs.step, outputs.first[:-1]
    tube, last = states.tube[first], outputs.first[1:] - 1
    loads = (step.pressure, step.force, step.torque)
    gaps = end_gaps(loads, outputs.reactions, group.tubes.outer[states.tube])
    unit = group.tubes.energy_unit[tube]
    figures = (
        outputs.work.total[last] * unit,
        states.energy[last] * unit,
        *(np.maximum.reduceat(values, first) for values in (step.energy_gap, *gaps)),
    )
    return Table(
        cases=group.numbers[tube],
        first=outputs.first,
        columns=step_columns(step),
        reached=np.add.reduceat(step.demanded.astype(int), first) == 1 + len(group.pressures),
        steps=len(group.pressures),
        balance=dict(zip(BALANCE, figures, strict=True)),
        seconds=seconds,
    )


def _runs(table: Table) -> dict[int, Run]:
    """Return the runs of a table by the numbers of their cases."""
    count = table.first[-1]
    columns = {name: np.broadcast_to(c, count).tolist() for name, c in table.columns.items()}
    names = list(columns)
    rows = [dict(zip(names, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    balances = {name: figures.tolist() for name, figures in table.balance.items()}
    runs = {}
    for k, number in enumerate(table.cases.tolist()):
        mine = rows[table.first[k] : table.first[k + 1]]
        runs[number] = Run(
            model="fast",
            rows=mine,
            termination=REACHED if table.reached[k] else _ended(mine, table.steps),
            seconds=table.seconds / len(table.cases),
            balance={name: figures[k] for name, figures in balances.items()},
        )
    return runs


def _ended(rows: Sequence[dict[str, Any]], steps: int) -> Termination:
    """Return why a path ended early: at its limit point, or where the wall is stretched too far."""
    kind, where = TerminationKind.STRETCH_LIMIT, rows[-1]
    if limits := [row for row in rows if row["limit"]]:
        kind, where = TerminationKind.LIMIT_POINT, limits[0]
    step = sum(row["demanded"] for row in rows)
    return Termination.at(kind, where, step=step, steps=steps)
