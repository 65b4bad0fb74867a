"""What stands beside a study: its comparison with a bench, and how far the fast model does."""

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
from fem.report.figures import Picture, image
from fem.study.study_result import StudyResult
from fem.wording.agreement import agreement_table, correction_table, rules_table
from fem.wording.comparison import diagnosis_lines_in
from fem.wording.picture_text import DPI
from fem.wording.text_table import TextTable

COMPARE, TRUST = "compare", "trust"
"""Folders within that of a study, where the commands of these names write by themselves."""


@dataclass(frozen=True)
class Beside:
    """What one of these folders tells.

    Attributes
    ----------
    said
        Sentences.
    grids, pictures
        Its tables and its pictures.
    """

    said: list[str]
    grids: list[TextTable] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)


def comparison(folder: Path, study_result: StudyResult) -> Beside | None:
    """Return what the folder compare says; None where there is none.

    Raises
    ------
    InputError
        If its files are damaged.
    """
    return _of_study(folder / COMPARE, "compare.json", study_result, _comparison)


def trust(folder: Path, study_result: StudyResult) -> Beside | None:
    """Return what the folder trust says; None where there is none.

    Raises
    ------
    InputError
        If its files are damaged.
    """
    return _of_study(folder / TRUST, "trust.json", study_result, _trust)


def _of_study(
    place: Path,
    file: str,
    study_result: StudyResult,
    read: Callable[[Path, dict[str, Any]], Beside],
) -> Beside | None:
    """Return what a folder beside says, if its file is of this study; None where there is none."""
    if not (place / file).exists():
        return None
    try:
        record = json.loads((place / file).read_text(encoding="utf-8"))
        if record.get("study_hash") != study_result.study.hash:
            return Beside([f"The folder {place.name} is of another study, and is left out."])
        return read(place, record)
    except (OSError, KeyError, TypeError, ValueError, AttributeError) as error:
        fault = f"its files are not as tubewright {place.name} writes them"
        raise InputError(f"{place}: {fault}: {type(error).__name__}: {error}") from None


def _comparison(folder: Path, record: dict[str, Any]) -> Beside:
    rows = _rows(folder / "summary.csv")
    units = {row["measure"]: row["unit"] or "" for row in rows}
    pictures = [
        image(file, f"Model over bench, and residuals: {_quantity(file)}", DPI)
        for file in sorted(folder.glob("compare_*.png"))
    ]
    said = [
        f"{record['measurements']} measurements of {record['settings']} settings: "
        f"{record['bench']}.",
        " ".join(record["bench_notes"]),
        *diagnosis_lines_in(_diagnosis(record["diagnosis"]), units),
    ]
    return Beside([*filter(None, said)], [agreement_table(rows)], pictures)


def _quantity(file: Path) -> str:
    return file.stem.removeprefix("compare_").replace("_", " ")


def _diagnosis(record: dict[str, Any]) -> Diagnosis:
    """Return what compare.json says of causes; an interval without an end is null in it."""
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
    return Diagnosis(record["model"], record["figures"], record["settings"], fits[0], bic, fits[1])


def _trust(folder: Path, record: dict[str, Any]) -> Beside:
    from fem.trust.tolerance import Tolerance  # slow to import

    tolerances = [Tolerance(named(column), most) for column, most in record["tolerances"].items()]
    words = ", ".join(map(str, tolerances)).replace("_", " ")
    said = [f"Tolerances of the fast model against the FE model: {words}."]
    grids = [rules_table(_rows(folder / "rules.csv"), [one.quantity for one in tolerances])]
    if record["corrected"]:
        grids.append(correction_table(record["corrected"]))
    elif record["no_corrected_model"]:
        said.append(f"There is no corrected fast model: {record['no_corrected_model']}.")
    captions = {
        "trust.png": "Where the fast model is accurate enough",
        "corrected.png": "The corrected fast model",
    }
    there = [name for name in captions if (folder / name).exists()]
    return Beside(said, grids, [image(folder / name, captions[name], DPI) for name in there])


def _rows(file: Path) -> list[dict[Hashable, Any]]:
    """Return the rows of a table; only an empty cell has no value."""
    return pandas.read_csv(file, keep_default_na=False, na_values=[""]).to_dict("records")
