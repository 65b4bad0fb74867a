"""The result of a study: one table, the record of the run, and their folder."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Self

from pydantic import ValidationError

from fem.case.case import Case
from fem.core.atomic_write import csv_bytes, json_bytes, together
from fem.core.plotting import draw
from fem.quantities.case_fields import cells
from fem.results.folder import (
    FORMAT,
    RECORD,
    Contents,
    FolderError,
    FolderRecord,
    Record,
    check_files,
    read_record,
    sha256,
)
from fem.results.termination import Termination, restore
from fem.study.plan import Study
from fem.study.results_db import Curve

if TYPE_CHECKING:
    import pandas
    from matplotlib.figure import Figure

TABLE, READABLE = "table.parquet", "table.csv"
"""The table as this program reads it, and as users and other programs read it."""


class UnreachedCurve(Record):
    """A curve that ended before its last step."""

    case: str
    model: str
    status: str
    termination: Termination
    tries: int


class StudyRecord(FolderRecord):
    """The run.json of a study."""

    CONTENTS: ClassVar = Contents.STUDY

    study: dict[str, Any]
    study_hash: str
    case_hash: str
    ended_early: str
    cases: int
    unusable: list[dict[str, Any]]
    curves: dict[str, int]
    batch_errors: list[str]
    seconds: dict[str, float]
    not_reached: list[UnreachedCurve]
    sessions: list[dict[str, Any]]
    other_curves: int


def tabulate(study: Study, cases: Iterable[Case], curves: Iterable[Curve]) -> pandas.DataFrame:
    """Return the table of a :class:`StudyResult`, in the order of the cases."""
    import pandas

    found = {curve.key: curve for curve in curves}
    parts = []
    for case in cases:
        own = cells(case, study.fields)
        for model in study.models:
            curve = found.get((case.key, model))
            if curve and curve.steps:
                parts.append({"case": case.key, "model": model, **own, **curve.steps})
    columns: dict[str, list[Any]] = {name: [] for part in parts for name in part}
    for part in parts:
        rows = len(part["step"])
        for name, column in columns.items():
            value = part.get(name)
            column.extend(value if isinstance(value, list) else [value] * rows)
    return pandas.DataFrame(columns)


@dataclass(frozen=True)
class StudyResult:
    """The result of a study.

    Attributes
    ----------
    study
        The study.
    table
        A row for each step of each curve: ``case`` (the key of the case), ``model``, the fields
        that vary, then the columns of the step table; NaN if a row has no value.
    run_record
        The data of run.json without the list of files; see :class:`StudyRecord`.

    Examples
    --------
    >>> study_result = StudyResult.load("reach")
    >>> study_result.table.query("model == 'fe'")["twist_deg"].max()
    """

    study: Study
    table: pandas.DataFrame = field(repr=False)
    run_record: dict[str, Any] = field(repr=False)

    @property
    def varied(self) -> list[str]:
        """Columns of the fields that vary."""
        return list(cells(self.study.sample, self.study.fields))

    @property
    def complete(self) -> bool:
        """Whether every curve is solved, none failed, and every setting gives a valid case."""
        counts = self.run_record["curves"]
        done = counts.get("reached", 0) + counts.get("ended", 0)
        return done == counts["requested"] and not self.run_record["unusable"]

    @property
    def terminations(self) -> dict[tuple[str, str], Termination]:
        """Why curves ended before the last step, by case and model."""
        return {
            (entry["case"], entry["model"]): restore(entry["termination"])
            for entry in self.run_record.get("not_reached", ())
        }

    def of(self, model: str) -> pandas.DataFrame:
        """Return the rows of a model at the requested steps, in the order of the study."""
        rows = self.table
        return rows[(rows.model == model) & rows.requested].reset_index(drop=True)

    def map(
        self, quantity: str, at: str | int | None = None, models: str | Sequence[str] = ()
    ) -> Figure:
        """Draw a quantity over the first two numbers that vary, one panel for each model.

        Other fields that vary have panels of their own. If only one number varies, curves are
        drawn; if none does, bars.

        Parameters
        ----------
        quantity
            Name in the step table without unit, such as ``"twist"`` or ``"tension.A"``, or
            ``"margins"`` for the utilisation of all that has a limit.
        at
            Pressure with unit (or added volume, or mass of air, in studies driven by these), or
            the number of the step where cases share no such values. If not given, the highest
            that most curves reach.
        models
            Those to draw, ``"fe"`` or ``"fast"``; all if not given.

        Returns
        -------
        matplotlib.figure.Figure
            A figure that is not known to pyplot; save it by its method ``savefig``.

        Raises
        ------
        InputError
            If the study has no such quantity, level or model.

        Examples
        --------
        >>> study_result.map("twist", at="10 kPa").savefig("twist.png")
        """
        return draw("map_study", self, quantity, at, models)

    def plot_reach(self, models: str | Sequence[str] = ()) -> Figure:
        """Draw the reachable set: displacement against twist of all cases at all pressures.

        Parameters
        ----------
        models
            Those to draw, ``"fe"`` or ``"fast"``; all if not given.

        Returns
        -------
        matplotlib.figure.Figure
            A figure that is not known to pyplot; save it by its method ``savefig``.

        Raises
        ------
        InputError
            If the study has no such model.

        Examples
        --------
        >>> study_result.plot_reach("fast").savefig("reach.png")
        """
        return draw("plot_reach", self, models)

    def save(self, folder: str | Path) -> list[str]:
        """Write table.parquet, table.csv and run.json into `folder`, together or not at all.

        The folder is made if needed. Returns the names of the files.

        Raises
        ------
        OSError
            If the files cannot be written.
        """
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        with together() as batch:
            self.table.to_parquet(part := batch.part(folder / TABLE), index=False)
            head = {"holds": Contents.STUDY, "format": FORMAT}
            files = {TABLE: sha256(part.read_bytes())}
            batch.write(folder / READABLE, csv_bytes(self.table))
            batch.write(folder / RECORD, json_bytes({**head, "files": files, **self.run_record}))
        return [TABLE, READABLE, RECORD]

    @classmethod
    def load(cls, folder: str | Path) -> Self:
        """Read what :meth:`save` wrote.

        Raises
        ------
        InputError
            If a file is missing or not valid; the message names the file.
        """
        import pandas

        folder = Path(folder)
        record = read_record(folder, StudyRecord)
        check_files(folder, record, [TABLE])
        try:
            study = Study.restore(record.study, record.case)
        except ValidationError as error:
            raise FolderError(Contents.DAMAGED, f"{folder / RECORD}: study: {error}") from None
        head = {"holds", "format", "files"}
        run_record = record.model_dump(mode="json", exclude=head, exclude_defaults=True)
        result = cls(study, pandas.read_parquet(folder / TABLE), run_record)
        if missing := {"case", "model", *result.varied} - {*result.table}:
            text = f"{folder / TABLE}: columns missing: {', '.join(sorted(missing))}; solve again"
            raise FolderError(Contents.OTHER_FORMAT, text)
        return result
