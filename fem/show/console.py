"""What a terminal shows of a solve: a bar while it runs, then FE beside fast, step by step."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pandas as pd
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from fem.result import Result, Run
from fem.run import Report

TITLES = {"fe": "FE", "fast": "fast"}
COLUMNS = {
    "twist_deg": ("twist", "deg", "{:.2f}"),
    "displacement_mm": ("displacement", "mm", "{:.3f}"),
    "bulge_mm": ("bulge", "mm", "{:.3f}"),
}
"""Column of the step table: its title, unit and format."""


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
    """Print the step table, how each run went, and where its files are."""
    console = Console()
    console.print(step_table(result))
    for run in result.runs:
        console.print(run_line(run), highlight=False)
    written = ", ".join(sorted(path.name for path in folder.iterdir() if path.suffix != ".vtu"))
    console.print(f"{folder}: {written}", highlight=False, soft_wrap=True)


def step_table(result: Result) -> Table:
    """Return a row to each pressure, the models side by side."""
    columns = dict(COLUMNS)
    for family in result.case.threads:
        columns[f"tension_N.{family.name}"] = (f"tension {family.name}", "N", "{:.4f}")
    table = Table(title=result.case.title, title_justify="left")
    table.add_column("pressure\nkPa", justify="right")
    for title, unit, _ in columns.values():
        for run in result.runs:
            table.add_column(f"{title}\n{unit}\n{TITLES[run.model]}", justify="right")
    by_model = {run.model: pd.DataFrame(run.rows) for run in result.runs}
    steps = max(len(rows) for rows in by_model.values())
    for step in range(steps):
        present = [rows for rows in by_model.values() if step < len(rows)]
        cells = [f"{present[0].pressure_kPa[step]:.3g}"]
        for name, (_, _, form) in columns.items():
            for rows in by_model.values():
                cells.append(form.format(rows[name][step]) if step < len(rows) else "-")
        table.add_row(*cells)
    return table


def run_line(run: Run) -> str:
    """Return in one sentence how a run went."""
    iterations = sum(row["newton_iterations"] for row in run.rows)
    unstable = [row["pressure_kPa"] for row in run.rows if not row["stable"]]
    gaps = run.balance
    text = (
        f"{TITLES[run.model]}: {run.reason or 'reached'}; {iterations} Newton iterations, "
        f"{run.seconds:.2f} s; energy balance {gaps['energy_gap']:.1e}, "
        f"end force {gaps['end_force_gap']:.1e}, end torque {gaps['end_torque']:.1e}"
    )
    if unstable:
        text += f"; UNSTABLE from {unstable[0]:.4g} kPa"
    return text
