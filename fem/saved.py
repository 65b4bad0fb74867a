"""A result folder read back, or a sentence that says which file is wrong and how."""

from __future__ import annotations

import csv
import json
import math
import re
from itertools import islice
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from fem.case import Case
from fem.complaint import InputError
from fem.origin import Origin
from fem.result import SHAPE_FILE, Run
from fem.shape import Shape, read_shape

WHOLE = ("step", "newton_iterations")
TRUTH = ("demanded", "stable", "limit")
"""Columns of whole numbers, and of True and False; `model` is text, all others are numbers."""

NEEDED = [
    *("model", "step", "pressure_kPa", "demanded", "volume_mm3", "twist_deg", "displacement_mm"),
    *("stretch", "bulge_mm", "bore_stretch", "wall_stretch_max", "stable", "limit"),
]
NEEDED_OF_FAMILIES = ("tension_N", "taut")
"""Columns without which a result cannot be shown."""


def read_result(folder: Path) -> tuple[Case, list[Run], Origin]:
    """Return the case, the runs and the origin of the result in a folder.

    Raises
    ------
    InputError
        If a file is missing, cannot be read, or does not hold what it should.
    """
    if not folder.is_dir():
        fault = "this is a file; the folder of a result is due"
        raise InputError(f"{folder}: {fault if folder.exists() else 'there is no such folder'}")
    file = folder / "run.json"
    told = _told(file)
    case = Case.parse(_without_nulls(told["case"]), f"{file}: case")
    rows = iter(_rows(folder / "steps.csv", case))
    runs = [_run(data, list(islice(rows, len(data["history"])))) for data in told["runs"]]
    for data, run in zip(told["runs"], runs, strict=True):
        if [row["model"] for row in run.rows] != len(data["history"]) * [run.model]:
            raise InputError(f"{folder / 'steps.csv'}: it has other steps than {file.name}")
    with_shapes = [run for run in runs if run.model == "fe"]
    if with_shapes:
        with_shapes[0].shapes.extend(_shapes(folder, case, with_shapes[0].rows))
    return case, runs, Origin(told.get("versions", {}), told.get("machine", {}))


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(
            f"{file}: there is no such file; is the folder that of a result?"
        ) from None
    except OSError as error:
        raise InputError(f"{file}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise InputError(f"{file}: not a text file in UTF-8") from None


def _told(file: Path) -> dict[str, Any]:
    """Return what run.json tells."""
    text = _text(file)
    try:
        told = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{file}: not valid JSON: {error}") from None
    if isinstance(told, dict) and "study" in told:
        kept = "the results in its folder shapes are, where it kept some"
        raise InputError(f"{file}: this is a study, no result of one case; {kept}")
    needed = {"case": dict, "runs": list}
    if not isinstance(told, dict) or any(
        not isinstance(told.get(key), kind) for key, kind in needed.items()
    ):
        raise InputError(f"{file}: it does not tell of a result (the keys case and runs are due)")
    for run in told["runs"]:
        due = ("model", "reached", "reason", "history")
        lacks = [key for key in due if not isinstance(run, dict) or key not in run]
        if lacks:
            raise InputError(f"{file}: a run lacks the key {lacks[0]}")
    return told


def _without_nulls(data: Any) -> Any:
    """Return a table laid out as in a TOML file, which has no null."""
    if isinstance(data, dict):
        return {key: _without_nulls(value) for key, value in data.items() if value is not None}
    return [_without_nulls(value) for value in data] if isinstance(data, list) else data


def _run(data: dict[str, Any], rows: list[dict[str, Any]]) -> Run:
    """Return a run without shapes; older results do not tell all of it."""
    balance = data.get("balance", {})
    return Run(
        model=data["model"],
        rows=rows,
        reached=data["reached"],
        reason=data["reason"],
        seconds=data.get("wall_time_s", math.nan),
        balance={key: math.nan if value is None else value for key, value in balance.items()},
        interrupted=data.get("interrupted", False),
        lost=data.get("lost", False),
        limit=data.get("limit", ""),
        mesh=data.get("mesh", {}),
        shortfalls=data.get("shortfalls", []),
    )


def _rows(file: Path, case: Case) -> list[dict[str, Any]]:
    """Return the step table."""
    lines = csv.reader(_text(file).splitlines())
    columns = next(lines, [])
    needed = NEEDED + [f"{name}.{f.name}" for f in case.threads for name in NEEDED_OF_FAMILIES]
    lacks = [name for name in needed if name not in columns]
    if lacks:
        raise InputError(f"{file}: the column {lacks[0]} is missing")
    return [_row(file, number, columns, cells) for number, cells in enumerate(lines, start=2)]


def _row(file: Path, line: int, columns: list[str], cells: list[str]) -> dict[str, Any]:
    if len(cells) != len(columns):
        raise InputError(f"{file}: line {line}: {len(cells)} cells to {len(columns)} columns")
    row: dict[str, Any] = {}
    for name, cell in zip(columns, cells, strict=True):
        if cell:  # an empty one is a column of another model
            try:
                row[name] = _value(name, cell)
            except (ValueError, KeyError):
                raise InputError(f'{file}: line {line}: {name} cannot be "{cell}"') from None
    return row


def _value(name: str, cell: str) -> Any:
    if name == "model":
        return cell
    if name in TRUTH:
        return {"True": True, "False": False}[cell]
    return int(cell) if name in WHOLE else float(cell)


def _shapes(folder: Path, case: Case, rows: list[dict[str, Any]]) -> list[Shape]:
    """Return the shapes that shape.pvd lists, a row to each; none where there is no such file."""
    index = folder / "shape.pvd"
    if not index.exists():
        return []
    text = _text(index)
    try:
        listed = ElementTree.fromstring(text.encode()).iter("DataSet")
        names = [entry.get("file", "") for entry in listed]
    except ElementTree.ParseError as error:
        raise InputError(f"{index}: not valid XML: {error}") from None
    if len(names) != len(rows):
        raise InputError(f"{index}: {len(names)} shapes to {len(rows)} steps of the FE model")
    strange = [name for name in names if not re.fullmatch(SHAPE_FILE, name)]
    if strange:
        raise InputError(f'{index}: "{strange[0]}" is no file of this result')
    return [
        read_shape(folder / name, [f.name for f in case.threads], row["pressure_kPa"] / 1000)
        for name, row in zip(names, rows, strict=True)
    ]
