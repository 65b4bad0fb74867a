"""The result of a solve, and its folder: the runs of the models, and their environment."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from fem.case.case import Case
from fem.core.atomic_write import json_bytes, together
from fem.core.plotting import draw
from fem.quantities.shape import Shape
from fem.results.environment import Environment
from fem.results.folder import FORMAT, RECORD, Contents, sha256
from fem.results.reader import read_result
from fem.results.run import Run
from fem.results.run_record import TABLE, ResultRecord, RunRecord
from fem.results.vtu_series import INDEX, file_name, index_bytes, indexed, vtu_bytes

if TYPE_CHECKING:
    import pandas
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Result:
    """The solution of a case by one or more models.

    Attributes
    ----------
    case
        The case.
    runs
        The run of each model.
    environment
        Versions and machine with which it was solved.

    The columns of :attr:`steps` have their units in their names; shapes are in mm, their tensions
    in N.

    Examples
    --------
    >>> result.steps["twist_deg"].max()  # a data frame; units in the names of the columns
    >>> result.save("wrist")
    >>> Result.load("wrist").case == result.case
    True
    """

    case: Case
    runs: list[Run]
    environment: Environment = field(default_factory=Environment.current, repr=False)

    @classmethod
    def load(cls, folder: str | Path) -> Self:
        """Read what :meth:`save` wrote; the shapes are those of the whole tube.

        Raises
        ------
        InputError
            If the folder has no result, or it is damaged; the message names the file.
        """
        return cls(*read_result(Path(folder)))

    @property
    def reached(self) -> bool:
        """Whether every model reached the last requested value."""
        return all(run.reached for run in self.runs)

    @property
    def interrupted(self) -> bool:
        """Whether the user interrupted a run or an additional solve."""
        return any(run.interrupted for run in self.runs)

    @property
    def solves(self) -> set[str]:
        """The models and the additional solves: ``fe``, ``fast``, ``fe.mesh_error``, ..."""
        extra = {f"{run.model}.{solve}" for run in self.runs for solve in run.additional}
        return {run.model for run in self.runs} | extra

    @property
    def rows(self) -> list[dict[str, Any]]:
        """The step table: one row per model and step, with units in the column names."""
        return [row for run in self.runs for row in run.rows]

    @property
    def steps(self) -> pandas.DataFrame:
        """The step table as a data frame; NaN if a row has no value.

        Only rows of the FE model have the columns of additional solves, ``<measure>.mesh_error``
        and ``<measure>.if_bonded``.
        """
        import pandas

        return pandas.DataFrame(self.rows)

    @property
    def shapes(self) -> list[Shape]:
        """The shapes of the FE model, if it was solved."""
        return [shape for run in self.runs for shape in run.shapes]

    def plot(
        self, quantities: str | Sequence[str] = (), models: str | Sequence[str] = ()
    ) -> Figure:
        """Draw curves of quantities against pressure, one panel for each.

        Parameters
        ----------
        quantities
            Names of the step table without unit, such as ``"twist"`` or ``"tension.A"``;
            ``"tension"`` stands for all families. If not given: twist, displacement and bulge, or
            the loads on a blocked end.
        models
            Those to draw, ``"fe"`` or ``"fast"``; all if not given.

        Returns
        -------
        matplotlib.figure.Figure
            A figure that is not known to pyplot; save it by its method ``savefig``.

        Raises
        ------
        InputError
            If the result has no such quantity or model.

        Examples
        --------
        >>> result.plot(["twist", "tension"]).savefig("twist.png")
        """
        return draw("plot_result", self, quantities, models)

    def save(self, folder: str | Path) -> None:
        """Write steps.csv, run.json and the series shape.pvd into `folder`, made if needed.

        An earlier result in the folder is replaced. :meth:`load` refuses the folder until all
        files are written: the step table is written first, run.json last.

        Raises
        ------
        OSError
            If the files cannot be written; an earlier result then stays.
        """
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        earlier, table = indexed(folder), self._table()
        files, written = {TABLE: sha256(table)}, [folder / INDEX] * bool(self.shapes)
        with together() as batch:
            batch.write(folder / TABLE, table)
            for step, shape in enumerate(self.shapes):
                name, data = file_name(step), vtu_bytes(shape)
                files[name] = sha256(data)
                batch.write(folder / name, data)
                written.append(folder / name)
            if self.shapes:
                batch.write(folder / INDEX, index_bytes([*files][1:]))
            batch.write(folder / RECORD, json_bytes(self._record(files)))
        for file in set(earlier) - set(written):
            file.unlink(missing_ok=True)

    def _record(self, files: dict[str, str]) -> dict[str, Any]:
        """Return the data of run.json."""
        record = ResultRecord(
            holds=Contents.RESULT,
            format=FORMAT,
            files=files,
            case=self.case.data,
            case_hash=self.case.hash,
            solves=sorted(self.solves),
            versions=self.environment.versions,
            machine=self.environment.machine,
            runs=[RunRecord.of(run) for run in self.runs],
        )
        return record.model_dump(mode="json", exclude_defaults=True)

    def _table(self) -> bytes:
        text = io.StringIO()
        columns = dict.fromkeys(name for row in self.rows for name in row)
        table = csv.DictWriter(text, columns, lineterminator="\n")
        table.writeheader()
        table.writerows(self.rows)
        return text.getvalue().encode()
