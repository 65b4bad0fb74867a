"""What comes out of a study: one tidy table, and where it came from."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from fem.case.case import Case
from fem.core.errors import InputError
from fem.quantities.case_fields import cells
from fem.results.termination import Termination, restore
from fem.study.plan import Study
from fem.study.results_db import Curve

if TYPE_CHECKING:
    import pandas

TABLE = "table"
PROVENANCE = "run.json"


def tabulate(study: Study, cases: Iterable[Case], curves: Iterable[Curve]) -> pandas.DataFrame:
    """Return the table of an :class:`Outcome`, in the order of the cases."""
    import pandas

    found = {curve.key: curve for curve in curves}
    parts = []
    for case in cases:
        own = cells(case, study.fields)
        for model in study.models:
            curve = found.get((case.key, model))
            if curve and curve.steps:
                parts.append({"case": case.key, "model": model, **own} | _besides(curve.steps))
    columns: dict[str, list[Any]] = {name: [] for part in parts for name in part}
    for part in parts:
        rows = len(part["step"])
        for name, column in columns.items():
            value = part.get(name)
            column.extend(value if isinstance(value, list) else [value] * rows)
    return pandas.DataFrame(columns)


def _besides(steps: dict[str, list[Any]]) -> dict[str, list[Any]]:
    """Return the columns of a step table that come beside the model."""
    return {name: values for name, values in steps.items() if name != "model"}


@dataclass(frozen=True)
class Outcome:
    """What a study found.

    Attributes
    ----------
    study
        What was asked.
    table
        A row to each step of each curve: ``case`` (the key of the case), ``model``, the fields
        that vary, then the columns of the step table; NaN where a row has no such figure.
    provenance
        What `run.json` holds.
    """

    study: Study
    table: pandas.DataFrame
    provenance: dict[str, Any]

    @property
    def varied(self) -> list[str]:
        """Columns of the fields that vary."""
        return list(cells(self.study.sample, self.study.fields))

    @property
    def complete(self) -> bool:
        """Whether every curve is done, none failed, and every setting makes a case."""
        counts = self.provenance["curves"]
        done = counts.get("reached", 0) + counts.get("ended", 0)
        return done == counts["asked"] and not self.provenance["unusable"]

    @property
    def terminations(self) -> dict[tuple[str, str], Termination]:
        """Why curves ended before the last step, by case and model."""
        return {
            (entry["case"], entry["model"]): restore(entry["termination"])
            for entry in self.provenance.get("not_reached", ())
        }

    def of(self, model: str) -> pandas.DataFrame:
        """Return the rows of a model at the steps asked for, in the order of the plan."""
        rows = self.table
        return rows[(rows.model == model) & rows.demanded].reset_index(drop=True)

    def save(self, folder: Path) -> list[str]:
        """Write table.parquet, table.csv and run.json into `folder`, each whole or not at all.

        Returns the names of the files.

        Raises
        ------
        OSError
            If that is impossible.
        """
        _replace(folder / f"{TABLE}.parquet", lambda path: self.table.to_parquet(path, index=False))
        _replace(folder / f"{TABLE}.csv", lambda path: self.table.to_csv(path, index=False))
        text = json.dumps(self.provenance, indent=2, allow_nan=False) + "\n"
        _replace(folder / PROVENANCE, lambda path: path.write_text(text, encoding="utf-8"))
        return [f"{TABLE}.parquet", f"{TABLE}.csv", PROVENANCE]

    @classmethod
    def load(cls, folder: str | Path) -> Self:
        """Read what :meth:`save` wrote.

        Raises
        ------
        InputError
            If that is not there, or something else is.
        """
        import pandas

        folder = Path(folder)
        try:
            provenance = json.loads((folder / PROVENANCE).read_text(encoding="utf-8"))
            study = Study.restore(provenance["study"], provenance["case"])
            table = pandas.read_parquet(folder / f"{TABLE}.parquet")
            outcome = cls(study, table, provenance)
            if missing := {"case", "model", *outcome.varied} - {*table}:
                raise ValueError(f"the table has no column {', '.join(sorted(missing))}")
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise InputError(f"{folder}: no results of a study are found there: {error}") from None
        return outcome


def _replace(path: Path, write: Callable[[Path], Any]) -> None:
    """Write a file beside the old one, then put it in its place."""
    new = path.with_name(f".{path.name}.new")
    try:
        write(new)
        new.replace(path)
    finally:
        new.unlink(missing_ok=True)
