"""Terminal output of the command `solve`: progress bars, then the models side by side."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from fem.results.additional_solve import AdditionalSolve
from fem.results.result import Result
from fem.results.run import Report
from fem.wording.bounds import bounds_table
from fem.wording.progress import Bars
from fem.wording.remarks import remarks, run_sentence
from fem.wording.run_sections import NAMES
from fem.wording.tables import extra_state_tables, step_tables
from fem.wording.terminal import print_files, print_table, terminal
from fem.wording.termination import PURPOSES, SOLVED_HOW


@contextmanager
def progress(
    models: Sequence[str], steps: int, additional: Sequence[AdditionalSolve] = ()
) -> Iterator[Report]:
    """Show a bar for each solve on standard error; yield the function that moves them.

    Lines above the bars state the purpose of additional solves.
    """
    with Bars("steps") as bars:
        for solve in additional:
            how = SOLVED_HOW[solve.column]
            bars.note(f"{PURPOSES[solve.column]}: the FE model is solved again {how}")
        for model in models:  # bars in the order of the solves
            bars.report(model, 0, steps, f"{NAMES[model]} model")
            for solve in additional if model == "fe" else ():
                bars.report(solve.solve, 0, steps, f"FE model {SOLVED_HOW[solve.column]}")
        yield bars.report


def print_result(result: Result, folder: Path) -> None:
    """Print the steps, remarks, the outcome of each run, and its files."""
    console, case = terminal(), result.case
    console.print(case.title, style="bold")
    bounds = filter(None, (bounds_table(run, case) for run in result.runs))
    for table in [*step_tables(result, brief=True), *extra_state_tables(result), *bounds]:
        print_table(console, table)
    for line in remarks(result):
        console.print(line)
    for run in result.runs:
        iterations = sum(row["newton_iterations"] for row in run.rows)
        residuals = run.balance
        console.print(
            f"{run_sentence(run, case)}; {iterations} Newton iterations, {run.seconds:.2f} s; "
            f"residuals: energy {residuals['energy_gap']:.1e}, end force "
            f"{residuals['end_force_gap']:.1e}, torque {residuals['end_torque_gap']:.1e}"
        )
    print_files(console, [path for path in folder.iterdir() if path.suffix != ".vtu"])
