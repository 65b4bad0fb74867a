"""What comes out of a solve, and its folder: the models' runs, and where they came from."""

from __future__ import annotations

import csv
import json
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from fem.case.case import Case
from fem.quantities.shape import Shape
from fem.results.environment import Origin
from fem.results.reader import read_result
from fem.results.run import HISTORY, Run
from fem.results.vtu_series import remove_series, save_series

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True)
class Result:
    """What all models made of a case.

    Attributes
    ----------
    case
        What was asked.
    runs
        What each model made of it.
    origin
        Where it was solved.
    """

    case: Case
    runs: list[Run]
    origin: Origin = field(default_factory=Origin.here)

    @classmethod
    def load(cls, folder: str | Path) -> Self:
        """Read what :meth:`save` wrote; its shapes come back as whole tubes.

        Raises
        ------
        InputError
            If there is no result in the folder, or it is damaged; the text names the file.
        """
        case, runs, origin = read_result(Path(folder))
        return cls(case, runs, origin)

    @property
    def reached(self) -> bool:
        """Whether every model reached the last demanded value."""
        return all(run.reached for run in self.runs)

    @property
    def interrupted(self) -> bool:
        """Whether the user broke it off, be it in a second solve."""
        return any(run.interrupted for run in self.runs)

    @property
    def rows(self) -> list[dict[str, Any]]:
        """The step table: a row per model and step, the units in the names of the columns."""
        return [row for run in self.runs for row in run.rows]

    @property
    def steps(self) -> pandas.DataFrame:
        """The step table as a data frame, NaN where a row has no such figure.

        The columns of second solves, ``<measure>.mesh_error`` and ``<measure>.if_bonded``, belong
        to the rows of the FE model only.
        """
        import pandas

        return pandas.DataFrame(self.rows)

    @property
    def shapes(self) -> list[Shape]:
        """The shapes of the FE model, if it took part."""
        return [shape for run in self.runs for shape in run.shapes]

    def provenance(self) -> dict[str, Any]:
        """Return all that says where the figures came from."""
        return {
            "case": self.case.model_dump(mode="json"),
            "case_hash": self.case.hash,
            "versions": self.origin.versions,
            "machine": self.origin.machine,
            "runs": [
                {
                    "model": run.model,
                    "termination": run.termination.data(),
                    "incomplete": [
                        {**vars(other), "termination": other.termination.data()}
                        for other in run.incomplete
                    ],
                    "wall_time_s": round(run.seconds, 3) if math.isfinite(run.seconds) else None,
                    "mesh": run.mesh,
                    "balance": {
                        name: figure if math.isfinite(figure) else None
                        for name, figure in run.balance.items()
                    },
                    "history": [{key: row[key] for key in HISTORY} for row in run.rows],
                }
                for run in self.runs
            ],
        }

    def save(self, folder: str | Path) -> None:
        """Write steps.csv, run.json and the series shape.pvd into `folder`, made if needed.

        Raises
        ------
        OSError
            If that is impossible.
        """
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        text = json.dumps(self.provenance(), indent=2, allow_nan=False)
        try:
            self._write(folder, text)
        except OSError as error:  # a full disk names no file
            raise OSError(error.errno, error.strerror, error.filename or str(folder)) from error

    def _write(self, folder: Path, text: str) -> None:
        """Write the files, run.json with this text."""
        remove_series(folder)  # what is left of an older result must not mix with this one
        with open(folder / "steps.csv", "w", newline="", encoding="utf-8") as file:
            columns = dict.fromkeys(name for row in self.rows for name in row)
            table = csv.DictWriter(file, columns, lineterminator="\n")
            table.writeheader()
            table.writerows(self.rows)
        (folder / "run.json").write_text(text + "\n", encoding="utf-8")
        if self.shapes:
            save_series(self.shapes, folder)
