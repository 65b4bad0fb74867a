"""Sections of a study's report: comparison with measurements, accuracy of the fast model."""

from __future__ import annotations

import json
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from math import inf
from pathlib import Path
from typing import Any

import pandas
from pydantic import TypeAdapter

from fem.compare.diagnose import Diagnosis
from fem.compare.fit import Fit
from fem.core.errors import InputError
from fem.quantities.column import named
from fem.report.pictures import Picture, image
from fem.study.study_result import StudyResult
from fem.wording.agreement import agreement_table, correction_table, rules_table
from fem.wording.comparison import count_text, diagnosis_lines_in
from fem.wording.picture_text import DPI
from fem.wording.text_table import TextTable

COMPARE, TRUST = "compare", "trust"
"""Folders in the study's folder to which the commands of these names write by default."""


@dataclass(frozen=True)
class Section:
    """The content of a section.

    Attributes
    ----------
    notes
        Sentences.
    tables, pictures
        Tables and pictures.
    """

    notes: list[str]
    tables: list[TextTable] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)


def comparison(folder: Path, study_result: StudyResult) -> Section | None:
    """Return the section on the comparison with measurements; None without the folder `compare`.

    Raises
    ------
    InputError
        If its files are damaged.
    """
    return _section(folder / COMPARE, "compare.json", study_result, _comparison)


def trust(folder: Path, study_result: StudyResult) -> Section | None:
    """Return the section on the fast model's accuracy; None without the folder `trust`.

    Raises
    ------
    InputError
        If its files are damaged.
    """
    return _section(folder / TRUST, "trust.json", study_result, _trust)


def _section(
    place: Path,
    file: str,
    study_result: StudyResult,
    read: Callable[[Path, dict[str, Any]], Section],
) -> Section | None:
    """Return the section read from a folder, if it belongs to this study; None without a file."""
    if not (place / file).exists():
        return None
    try:
        record = json.loads((place / file).read_text(encoding="utf-8"))
        if record.get("study_hash") != study_result.study.hash:
            return Section([f"The folder {place.name} belongs to another study and is not shown."])
        return read(place, record)
    except (OSError, KeyError, TypeError, ValueError, AttributeError) as error:
        fault = f"not the files that tubewright {place.name} writes"
        raise InputError(f"{place}: {fault}: {type(error).__name__}: {error}") from None


def _comparison(folder: Path, record: dict[str, Any]) -> Section:
    rows = _rows(folder / "summary.csv")
    units = {row["measure"]: row["unit"] or "" for row in rows}
    pictures = [
        image(file, f"Model compared with measurements, and residuals: {_quantity(file)}", DPI)
        for file in sorted(folder.glob("compare_*.png"))
    ]
    notes = [
        f"{count_text(record['measurements'], 'measurement')} at "
        f"{count_text(record['settings'], 'setting')}: {record['bench']}.",
        " ".join(record["bench_notes"]),
        *diagnosis_lines_in(_diagnosis(record["diagnosis"]), units),
    ]
    return Section([*filter(None, notes)], [agreement_table(rows)], pictures)


def _quantity(file: Path) -> str:
    return file.stem.removeprefix("compare_").replace("_", " ")


def _diagnosis(record: dict[str, Any]) -> Diagnosis:
    """Return the causes in compare.json, where null is an infinite interval."""
    fits = [
        TypeAdapter(list[Fit]).validate_python(
            [
                {**fit, "plus_minus": inf if fit["plus_minus"] is None else fit["plus_minus"]}
                for fit in record[key]
            ]
        )
        for key in ("best_fits", "named")
    ]
    bic = record["bic_without_a_cause"]
    return Diagnosis(record["model"], record["values"], record["settings"], fits[0], bic, fits[1])


def _trust(folder: Path, record: dict[str, Any]) -> Section:
    from fem.trust.tolerance import Tolerance  # slow to import

    tolerances = [Tolerance(named(column), most) for column, most in record["tolerances"].items()]
    text = ", ".join(map(str, tolerances)).replace("_", " ")
    notes = [f"Tolerances of the fast model compared with the FE model: {text}."]
    tables = [rules_table(_rows(folder / "rules.csv"), [one.quantity for one in tolerances])]
    if record["corrected"]:
        tables.append(correction_table(record["corrected"]))
    elif record["no_corrected_model"]:
        notes.append(f"There is no corrected fast model: {record['no_corrected_model']}.")
    captions = {
        "trust.png": "Where the fast model is accurate enough",
        "corrected.png": "The corrected fast model",
    }
    pictures = [
        image(folder / name, caption, DPI)
        for name, caption in captions.items()
        if (folder / name).exists()
    ]
    return Section(notes, tables, pictures)


def _rows(file: Path) -> list[dict[Hashable, Any]]:
    """Return the rows of a table; only empty cells are missing values, not texts such as "nan"."""
    return pandas.read_csv(file, keep_default_na=False, na_values=[""]).to_dict("records")
