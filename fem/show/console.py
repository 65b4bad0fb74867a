"""What a terminal shows of a solve: a bar while it runs, then FE beside fast, step by step."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from fem.result import Result, Run
from fem.run import Report

TITLES = {"fe": "FE", "fast": "fast"}

UNBALANCED = 0.01
"""A greater imbalance at the ends, as a share of the thrust, is no mere trait of the mesh."""


@contextmanager
def progress(models: Sequence[str], steps: int) -> Iterator[Report]:
    """Show a bar to each model on standard error; hand out the function to move them."""
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("steps"),
        TimeElapsedColumn(),
        console=Console(stderr=True),
    ) as bars:
        tasks = {name: bars.add_task(f"{TITLES[name]} model", total=steps) for name in models}

        def report(model: str, done: int, _: int) -> None:
            bars.update(tasks[model], completed=done)

        yield report


def print_result(result: Result, folder: Path) -> None:
    """Print the steps, how each run went, and where its files are."""
    console = Console(highlight=False, soft_wrap=True)
    console.print(result.case.title, style="bold", markup=False)
    motion = {
        "twist_deg": ("twist", "deg", ".2f"),
        "displacement_mm": ("displacement", "mm", ".3f"),
        "bulge_mm": ("bulge", "mm", ".3f"),
    }
    console.print(step_table(result, motion), "")
    tension = {
        f"tension_N.{family.name}": (f"tension {family.name}", "N", ".4f")
        for family in result.case.threads
    }
    if tension:
        console.print(step_table(result, tension), "")
    for run in result.runs:
        console.print(run_line(run))
    written = ", ".join(sorted(path.name for path in folder.iterdir() if path.suffix != ".vtu"))
    console.print(f"{folder}: {written}")


def step_table(result: Result, columns: dict[str, tuple[str, str, str]]) -> Table:
    """Return a row to each pressure, the models side by side.

    Parameters
    ----------
    result
        The runs.
    columns
        Column of the step table: its title, unit and format.
    """
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("pressure\nkPa", justify="right")
    runs = {run.model: run.rows for run in result.runs}
    for title, unit, _ in columns.values():
        for model in runs:
            table.add_column(f"{title}\n{TITLES[model]}, {unit}", justify="right", no_wrap=True)
    longest = max(runs.values(), key=len)
    for step, row in enumerate(longest):
        cells = [f"{row['pressure_kPa']:.4g}"]
        for name, (_, _, form) in columns.items():
            for rows in runs.values():
                cells.append(f"{rows[step][name]:{form}}" if step < len(rows) else "-")
        table.add_row(*cells)
    return table


def run_line(run: Run) -> str:
    """Return in one sentence how a run went."""
    iterations = sum(row["newton_iterations"] for row in run.rows)
    gaps = run.balance
    unstable = [row["pressure_kPa"] for row in run.rows if not row["stable"]]
    text = (
        f"{TITLES[run.model]}: {run.reason or 'reached'}; {iterations} Newton iterations, "
        f"{run.seconds:.2f} s; imbalance of energy {gaps['energy_gap']:.1e}, "
        f"of end force {gaps['end_force_gap']:.1e}, of end torque {gaps['end_torque']:.1e}"
    )
    if max(gaps["end_force_gap"], gaps["end_torque"]) > UNBALANCED:
        text += "; OUT OF BALANCE at the ends: do not trust this run"
    if unstable:
        text += f"; UNSTABLE from {unstable[0]:.4g} kPa"
    return text
