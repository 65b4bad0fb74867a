"""Save every value that the models compute, and compare two such collections.

    python tools/values.py save FOLDER      random cases, both models, all columns (JSON lines)
    python tools/values.py compare OLD NEW  exit code 1 where a value differs

A change of structure must not change values: save before and after, then compare. The full list of
the validation (`tubewright validate --whole --csv FOLDER/validation.csv`) is compared too where
both folders have it.
Only the public interface is used, so one copy of this file serves both sides of a change.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import re
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

SEEDS = range(60)
RESOLUTION = {"fe": "coarse", "fast": "standard"}

TOLERANCE = 1e-6
"""Allowed difference relative to the scale of a quantity."""

SMALLEST = 1e-3
"""Smallest scale of a quantity (deg, mm, N, N mm, 1): smaller values are round-off."""

VALIDATION = "validation.csv"

NOT_COMPARED = re.compile(r"newton_iterations|energy_gap|seconds|(force|torque)_gap|^check$")
"""Columns about the course of the solve, not its results."""


def main() -> int:
    """Run the command; return its exit code."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # several threads slow each other down
    parser = argparse.ArgumentParser(description=__doc__)
    commands = parser.add_subparsers(required=True)
    save_parser = commands.add_parser("save")
    save_parser.add_argument("folder", type=Path)
    save_parser.add_argument("--workers", type=int, default=2)
    save_parser.set_defaults(run=lambda given: save(given.folder, given.workers))
    compare_parser = commands.add_parser("compare")
    compare_parser.add_argument("old", type=Path)
    compare_parser.add_argument("new", type=Path)
    compare_parser.set_defaults(run=lambda given: compare(given.old, given.new))
    given = parser.parse_args()
    return int(given.run(given))


def save(folder: Path, workers: int) -> int:
    """Solve the random cases and write `random.jsonl`, one step table per line."""
    folder.mkdir(parents=True, exist_ok=True)
    tasks = [(seed, model) for seed in SEEDS for model in RESOLUTION]
    with ProcessPoolExecutor(workers) as pool, open(folder / "random.jsonl", "w") as file:
        for number, line in enumerate(pool.map(solve_one, tasks), start=1):
            print(json.dumps(line), file=file, flush=True)
            print(f"{number} of {len(tasks)}", end="\r", file=sys.stderr)
    return 0


def solve_one(task: tuple[int, str]) -> dict[str, Any]:
    """Return the step table of a random case by one model."""
    from threadpoolctl import threadpool_limits

    from fem import solve
    from validation.random_cases import random_case

    threadpool_limits(limits=1)
    seed, model = task
    try:
        rows = solve(random_case(seed), model, RESOLUTION[model]).rows
    except ArithmeticError as failure:
        return {"name": f"random {seed} {model}", "rows": [], "failure": type(failure).__name__}
    return {"name": f"random {seed} {model}", "rows": [_plain(row) for row in rows]}


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    """Return a row with Python's own types."""
    return {name: value.item() if hasattr(value, "item") else value for name, value in row.items()}


def compare(old: Path, new: Path) -> int:
    """Print the largest difference of each column and all faults; return the exit code."""
    worst: dict[str, tuple[float, str]] = {}
    faults: list[str] = []
    for name, column, before, after, scale in pairs(old, new, faults):
        if isinstance(before, float | int) and isinstance(after, float | int):
            same = before == after or (math.isnan(before) and math.isnan(after))
            error = 0.0 if same else abs(before - after) / (scale or 1.0)
            if not error <= worst.get(column, (-1.0, ""))[0]:
                worst[column] = error, name
            if not error <= TOLERANCE:
                faults.append(f"{name}: {column}: {before!r} became {after!r} ({error:.1e})")
        elif before != after:
            faults.append(f"{name}: {column}: {before!r} became {after!r}")
    for column, (error, name) in sorted(worst.items()):
        print(f"{error:9.1e}  {column:32} {name}")
    print(*faults, f"{len(faults)} differences above {TOLERANCE:g}", sep="\n")
    return 1 if faults or not worst else 0


type Pair = tuple[str, str, Any, Any, float]
"""Entry and column of a value; the value before and after; the scale of its quantity."""


def pairs(old: Path, new: Path, faults: list[str]) -> Iterator[Pair]:
    """Yield the values of both folders side by side; list unpaired entries in `faults`."""
    yield from _random_pairs(old / "random.jsonl", new / "random.jsonl", faults)
    if (old / VALIDATION).exists() and (new / VALIDATION).exists():
        yield from _table_pairs(old / VALIDATION, new / VALIDATION, faults)


def _random_pairs(old: Path, new: Path, faults: list[str]) -> Iterator[Pair]:
    before, after = (
        {entry["name"]: entry for entry in map(json.loads, file.read_text().splitlines())}
        for file in (old, new)
    )
    faults += [f"{name}: only on one side" for name in before.keys() ^ after.keys()]
    for name in before.keys() & after.keys():
        rows, others = before[name]["rows"], after[name]["rows"]
        if len(rows) != len(others):
            faults.append(f"{name}: {len(rows)} rows became {len(others)}")
        columns = {column for row in rows + others for column in row}
        for column in sorted(columns):
            if NOT_COMPARED.search(column):
                continue
            values = [row.get(column) for row in rows]
            scale = max((abs(v) for v in values if isinstance(v, float)), default=1.0)
            scale = max(scale, SMALLEST)
            for step, (row, other) in enumerate(zip(rows, others, strict=False)):
                yield (
                    f"{name} row {step}",
                    column,
                    row.get(column),
                    other.get(column),
                    scale,
                )


def _table_pairs(old: Path, new: Path, faults: list[str]) -> Iterator[Pair]:
    import pandas

    keys = ["chapter", "check", "source", "quantity", "mesh"]
    tables = []
    for file in (old, new):
        table = pandas.read_csv(file, keep_default_na=False, na_values=[""]).fillna({"mesh": ""})
        table["repeat"] = table.groupby(keys).cumcount()
        tables.append(table.set_index([*keys, "repeat"]))
    before, after = tables
    faults += [f"{key}: only on one side" for key in before.index.symmetric_difference(after.index)]
    for key in before.index.intersection(after.index):
        row, other = before.loc[key], after.loc[key]
        if row["bound"]:  # the value is a residual
            continue
        for column in before.columns.intersection(after.columns):
            if column.startswith(("error", "tolerance")) or NOT_COMPARED.search(column):
                continue
            if NOT_COMPARED.search(str(key)):
                continue
            yield " | ".join(map(str, key)), column, row[column], other[column], row["scale"]


if __name__ == "__main__":
    sys.exit(main())
