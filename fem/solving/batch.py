"""The fast model over many cases at once.

Cases that are driven by pressure from rest are followed together, as arrays
(:mod:`fem.continuation.batch.paths`); the others, and those whose path is not certain that way, are
followed one by one by the path of both models. Either way the answer is the same: states are found
to round-off, and limit points and tears are closed in on. Only the number of iterations and the gap
of energy depend on the steps that were taken.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.continuation.batch.paths import follow
from fem.core.arrays import Array, Index
from fem.fast.grouping import Group, groups
from fem.fast.outputs import Readings, read
from fem.results.recorder import limit_clause, rubber_limit
from fem.results.run import Run
from fem.solving.single import solve

CHUNK = 4096
"""So many tubes at once: their arrays stay near the processor."""


def solve_batch(cases: Sequence[Case]) -> list[Run]:
    """Solve cases by the fast model.

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
        Whether the last demanded pressure was reached, shape (n,).
    balance
        Figures that ought to be nil, by name, each of shape (n,).
    seconds
        Wall time of all.
    """

    cases: Index
    first: Index
    columns: dict[str, Any]
    reached: Any
    balance: dict[str, Array]
    seconds: float


def solve_tables(cases: Sequence[Case]) -> Iterator[Table]:
    """Yield the tables of all cases that can be solved together, as arrays.

    A case that is in none of them has to be solved by itself.
    """
    began = time.perf_counter()
    for group in groups(cases)[0]:
        for part in group.parts(CHUNK):
            paths = follow(part.tubes, part.pressures)
            if not len(paths.states):
                continue
            readings = read(part, paths)
            now = time.perf_counter()
            yield _table(part, readings, now - began)
            began = time.perf_counter()


def _table(group: Group, readings: Readings, seconds: float) -> Table:
    """Return the table of the tubes whose states are all exact."""
    readings = readings.only_exact()
    first = np.append(readings.first, len(readings.tube))
    told = np.add.reduceat(readings.columns["demanded"].astype(int), first[:-1])
    return Table(
        cases=group.numbers[readings.tube[first[:-1]]],
        first=first,
        columns=readings.columns,
        reached=told == group.sample.drive.steps + 1,
        balance=readings.balance,
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
        limit = next((limit_clause(row) for row in mine if row["limit"]), "")
        reached = bool(table.reached[k])
        runs[number] = Run(
            model="fast",
            rows=mine,
            reached=reached,
            reason="" if reached else limit or rubber_limit(mine[-1]),
            seconds=table.seconds / len(table.cases),
            balance={name: figures[k] for name, figures in balances.items()},
            limit=limit,
        )
    return runs
