"""What a terminal shows of a solve: a bar while it runs, then the models side by side."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console

from fem.case.case import Case
from fem.results.additional_solve import AdditionalSolve
from fem.results.result import Result
from fem.results.run import Report, Run
from fem.wording.bounds import bounded_row, bounds_table
from fem.wording.progress import Bars
from fem.wording.remarks import remarks, warnings
from fem.wording.run_sections import NAMES, besides, family_words
from fem.wording.tables import (
    besides_table,
    end_columns,
    motion_columns,
    step_tables,
    terminal,
    thread_columns,
)
from fem.wording.termination import PURPOSES, SOLVED_HOW, outcome, path_note


@contextmanager
def progress(
    models: Sequence[str], steps: int, seconds: Sequence[AdditionalSolve] = ()
) -> Iterator[Report]:
    """Show a bar to each solve on standard error; hand out the function that moves them.

    What the FE model is solved for again is said above the bars.
    """
    with Bars("steps") as bars:
        for second in seconds:
            how = SOLVED_HOW[second.column]
            bars.note(f"{PURPOSES[second.column]}: the FE model is then solved again {how}")
        for solve, words in _solves(models, seconds).items():
            bars.report(solve, 0, steps, words)
        yield bars.report


def _solves(models: Sequence[str], seconds: Sequence[AdditionalSolve]) -> dict[str, str]:
    """Return the words for each solve, by its name in reports, in the order of the work."""
    solves = {}
    for model in models:
        solves[model] = f"{NAMES[model]} model"
        if model == "fe":
            solves |= {second.solve: f"FE model {SOLVED_HOW[second.column]}" for second in seconds}
    return solves


def print_result(result: Result, folder: Path) -> None:
    """Print the steps, what is to be said of them, how each run went, and where its files are."""
    console, case = terminal(), result.case
    console.print(case.title, style="bold")
    _print_steps(console, result)
    for run in result.runs:
        _print_besides(console, run)
        _print_bounds(console, run, case)
    for line in remarks(result):
        console.print(line)
    for run in result.runs:
        console.print(run_line(run, case))
    written = ", ".join(sorted(path.name for path in folder.iterdir() if path.suffix != ".vtu"))
    console.print(f"{folder}: {written}", soft_wrap=True)


def _print_steps(console: Console, result: Result) -> None:
    """Print motion, end loads, and threads at all steps asked for."""
    columns = [*motion_columns(), *end_columns(result.case)]
    for table in step_tables(result, columns, console.width):
        console.print(table, "")
    for family in result.case.threads:
        console.print(f"Threads {family.name}: {', '.join(family_words(family))}", style="bold")
        for table in step_tables(result, thread_columns(family.name), console.width):
            console.print(table, "")


def _print_besides(console: Console, run: Run) -> None:
    """Print the limit points of a run, and what lies beyond."""
    if besides(run):
        console.print(f"{NAMES[run.model]}: {path_note(run)}", style="bold")
        console.print(besides_table(run), "")


def _print_bounds(console: Console, run: Run, case: Case) -> None:
    """Print how far the last step may be trusted, where a second solve tells that."""
    row = bounded_row(run)
    if row:
        last = "last step" if row is run.requested[-1] else "the last step that all solves reach"
        title = f"{NAMES[run.model]} at {row['pressure_kPa']:.4g} kPa, {last}"
        console.print(title, style="bold")
        console.print(bounds_table(row, case), "")


def run_line(run: Run, case: Case) -> str:
    """Return in one sentence how a run went."""
    iterations = sum(row["newton_iterations"] for row in run.rows)
    gaps = run.balance
    parts = [
        f"{NAMES[run.model]}: {outcome(run)}",
        f"{iterations} iterations, {run.seconds:.2f} s",
        f"imbalance: energy {gaps['energy_gap']:.1e}, end force {gaps['end_force_gap']:.1e}, "
        f"torque {gaps['end_torque_gap']:.1e}",
    ]
    return "; ".join([*parts, *warnings(run, case)])
