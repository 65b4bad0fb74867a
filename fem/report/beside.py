"""What stands beside a study: its comparison with a bench, and how far the fast model does."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.core.errors import InputError
from fem.quantities.column import named
from fem.report.figures import Picture, image
from fem.study.study_result import Outcome
from fem.wording.agreement import agreement_table, correction_table, rules_table
from fem.wording.picture_text import DPI
from fem.wording.text_table import TextTable

if TYPE_CHECKING:
    import pandas

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


def comparison(folder: Path, outcome: Outcome) -> Beside | None:
    """Return what the folder compare says; None where there is none.

    Raises
    ------
    InputError
        If its files are damaged.
    """
    return _of_study(folder / COMPARE, "compare.json", outcome, _comparison)


def _comparison(folder: Path, told: dict[str, Any]) -> Beside:
    table = _table(folder / "summary.csv")
    said = [f"{told['measurements']} measurements of {told['settings']} settings: {told['bench']}."]
    said += [" ".join(told["bench_notes"]), *_diagnosis(told["diagnosis"], table)]
    pictures = _pictures(folder, "compare_*.png", "Model over bench, and residuals: ")
    return Beside([*filter(None, said)], [agreement_table(table.to_dict("records"))], pictures)


def trust(folder: Path, outcome: Outcome) -> Beside | None:
    """Return what the folder trust says; None where there is none.

    Raises
    ------
    InputError
        If its files are damaged.
    """
    return _of_study(folder / TRUST, "trust.json", outcome, _trust)


def _of_study(
    place: Path, file: str, outcome: Outcome, read: Callable[[Path, dict[str, Any]], Beside]
) -> Beside | None:
    """Return what a folder beside says, if its file is of this study; None where there is none."""
    told = _told(place / file)
    if told is None:
        return None
    if told.get("study_hash") != outcome.study.hash:
        return Beside([f"The folder {place.name} is of another study, and is left out."])
    with _as_written(place):
        return read(place, told)


def _trust(folder: Path, told: dict[str, Any]) -> Beside:
    borne = ", ".join(_borne(column, limit) for column, limit in told["tolerances"].items())
    said = [f"Tolerances of the fast model against the FE model: {borne}."]
    quantities = [named(column) for column in told["tolerances"]]
    grids = [rules_table(_table(folder / "rules.csv").to_dict("records"), quantities)]
    if told["corrected"]:
        grids.append(correction_table(told["corrected"]))
    elif told["no_corrected_model"]:
        said.append(f"There is no corrected fast model: {told['no_corrected_model']}.")
    words = {
        "trust": "Where the fast model is accurate enough",
        "corrected": "The corrected fast model",
    }
    found = [_pictures(folder, f"{stem}.png", text) for stem, text in words.items()]
    return Beside(said, grids, [picture for pictures in found for picture in pictures])


@contextmanager
def _as_written(folder: Path) -> Iterator[None]:
    """Turn what comes of files that lack something into a sentence."""
    try:
        yield
    except InputError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        fault = f"its files are not as tubewright {folder.name} writes them"
        raise InputError(f"{folder}: {fault}: {type(error).__name__}: {error}") from None


def _told(file: Path) -> dict[str, Any] | None:
    if not file.exists():
        return None
    try:
        told = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"{file}: cannot be read: {error}") from None
    if not isinstance(told, dict):
        raise InputError(f"{file}: this tells of no study")
    return told


def _table(file: Path) -> pandas.DataFrame:
    import pandas

    try:
        return pandas.read_csv(file, keep_default_na=False, na_values=[""])
    except (OSError, ValueError) as error:
        raise InputError(f"{file}: cannot be read: {error}") from None


def _pictures(folder: Path, pattern: str, caption: str) -> list[Picture]:
    """Return the pictures of a folder; the quantity in their names ends a caption with a colon."""
    found = []
    for file in sorted(folder.glob(pattern)):
        of = file.stem.removeprefix("compare_").replace("_", " ")
        text = f"{caption}{of}" if caption.endswith(" ") else caption
        try:
            found.append(image(file, text, DPI))
        except OSError as error:
            raise InputError(f"{file}: this is no picture: {error}") from None
    return found


def _diagnosis(told: dict[str, Any], table: pandas.DataFrame) -> list[str]:
    """Return what single cause explains the residuals, in sentences."""
    from pydantic import TypeAdapter

    from fem.compare.diagnose import Diagnosis
    from fem.compare.fit import Fit
    from fem.wording.comparison import worded

    fits = TypeAdapter(list[Fit])
    named, best = (
        fits.validate_python([{**fit, "plus_minus": _endless(fit)} for fit in told[key]])
        for key in ("named", "best_fits")
    )
    bic = told["bic_without_a_cause"]
    found = Diagnosis(told["model"], told["figures"], told["settings"], best, bic, named)
    units = {row["measure"]: row["unit"] or "" for row in table.to_dict("records")}
    return list(worded(found, units))


def _endless(fit: dict[str, Any]) -> float:
    """Return half of the interval of a fit; one without an end is null in the file."""
    half = fit["plus_minus"]
    return math.inf if half is None else float(half)


def _borne(column: str, limit: float) -> str:
    from fem.trust.tolerance import Tolerance

    return str(Tolerance(named(column), limit)).replace("_", " ")
