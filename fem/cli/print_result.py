"""What a terminal shows of a solve: a bar while it runs, then the models side by side."""

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
    models: Sequence[str], steps: int, seconds: Sequence[AdditionalSolve] = ()
) -> Iterator[Report]:
    """Show a bar to each solve on standard error; hand out the function that moves them.

    What the FE model is solved for again is said above the bars.
    """
    with Bars("steps") as bars:
        for second in seconds:
            how = SOLVED_HOW[second.column]
            bars.note(f"{PURPOSES[second.column]}: the FE model is then solved again {how}")
        for model in models:  # bars stand in the order of the work
            bars.report(model, 0, steps, f"{NAMES[model]} model")
            for second in seconds if model == "fe" else ():
                bars.report(second.solve, 0, steps, f"FE model {SOLVED_HOW[second.column]}")
        yield bars.report


def print_result(result: Result, folder: Path) -> None:
    """Print the steps, what is to be said of them, how each run went, and where its files are."""
    console, case = terminal(), result.case
    console.print(case.title, style="bold")
    bounds = filter(None, (bounds_table(run, case) for run in result.runs))
    for table in [*step_tables(result, brief=True), *extra_state_tables(result), *bounds]:
        print_table(console, table)
    for line in remarks(result):
        console.print(line)
    for run in result.runs:
        iterations = sum(row["newton_iterations"] for row in run.rows)
        gaps = run.balance
        console.print(
            f"{run_sentence(run, case)}; {iterations} iterations, {run.seconds:.2f} s; "
            f"imbalance: energy {gaps['energy_gap']:.1e}, end force {gaps['end_force_gap']:.1e}, "
            f"torque {gaps['end_torque_gap']:.1e}"
        )
    print_files(console, [path for path in folder.iterdir() if path.suffix != ".vtu"])
