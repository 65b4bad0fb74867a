"""What comes out of a solve: the step table, the shapes, and where they came from."""

from __future__ import annotations

import csv
import json
import math
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self
from xml.etree import ElementTree

from fem.case import Case
from fem.origin import Origin
from fem.shape import Shape, whole_tube

if TYPE_CHECKING:
    import pandas

HISTORY = [
    *("step", "pressure_kPa", "demanded", "energy_gap", "newton_iterations", "stable", "limit"),
]
"""Columns of the step table that tell how the solver went."""

SHAPE_FILE = r"shape_[0-9]+\.vtu"
"""What the files of shapes are called."""

Report = Callable[[str, int, int], None]
"""Is told what is solved, the steps done and the steps in all.

What is solved is a model by its name or, as ``"fe.mesh_error"``, the FE model for the second time.
"""


WIDENED = 1.05
"""A bore stretched by less than this at half length has not ballooned (a choice of our own).

The bare tube of `validation/test_balloon.py` balloons at 1.75.
"""


def limit_name(row: dict[str, Any]) -> str:
    """Return what the extreme of the pressure in a row is called; it need not be a balloon's."""
    return "balloon limit" if row["bore_stretch"] > WIDENED else "pressure limit"


@dataclass(frozen=True)
class Run:
    """What one model made of a case.

    Attributes
    ----------
    model
        ``"fe"`` or ``"fast"``.
    rows
        The step table, a dictionary by column name to each step.
    reached
        Whether the last demanded value was reached.
    reason
        Why not, in one sentence; empty if it was.
    seconds
        Wall time.
    mesh
        Counts of the mesh; empty for the fast model.
    interrupted
        Whether the user broke off its solve or one of its second solves.
    lost
        Whether the run ended where nothing was found, though the tube has no limit there.
    limit
        Where the pressure has its extreme, in one clause; empty if the path shows no such point.
    balance
        Figures that ought to be nil, each without dimension.
    shapes
        Shape at each step; none for the fast model.
    shortfalls
        Why second solves have fewer demanded rows, a sentence each; empty if they have not.
    """

    model: str
    rows: list[dict[str, Any]]
    reached: bool
    reason: str
    seconds: float
    balance: dict[str, float]
    interrupted: bool = False
    lost: bool = False
    limit: str = ""
    mesh: dict[str, Any] = field(default_factory=dict)
    shapes: list[Shape] = field(default_factory=list)
    shortfalls: list[str] = field(default_factory=list)


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
        from fem.saved import read_result

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
                    "reached": run.reached,
                    "reason": run.reason,
                    "interrupted": run.interrupted,
                    "lost": run.lost,
                    "shortfalls": run.shortfalls,
                    "limit": run.limit,
                    "wall_time_s": round(run.seconds, 3),
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
        remove_series(folder)  # what is left of an older result must not mix with this one
        with open(folder / "steps.csv", "w", newline="", encoding="utf-8") as file:
            columns = dict.fromkeys(name for row in self.rows for name in row)
            table = csv.DictWriter(file, columns, lineterminator="\n")
            table.writeheader()
            table.writerows(self.rows)
        (folder / "run.json").write_text(text + "\n", encoding="utf-8")
        if self.shapes:
            save_series(self.shapes, folder)


def remove_series(folder: Path) -> None:
    """Remove shape.pvd, where there is one, and the files of ours that it lists."""
    index = folder / "shape.pvd"
    if not index.exists():
        return
    with suppress(ElementTree.ParseError):
        for entry in ElementTree.parse(index).iter("DataSet"):
            name = entry.get("file", "")
            if re.fullmatch(SHAPE_FILE, name):
                (folder / name).unlink(missing_ok=True)
    index.unlink()


def save_series(shapes: list[Shape], folder: Path) -> None:
    """Write a VTU file to each shape and a PVD file that lists them, by their numbers."""
    root = ElementTree.Element("VTKFile", type="Collection", version="0.1")
    collection = ElementTree.SubElement(root, "Collection")
    for step, shape in enumerate(shapes):
        name = f"shape_{step:03d}.vtu"
        whole_tube(shape).save(folder / name)
        ElementTree.SubElement(collection, "DataSet", timestep=str(step), part="0", file=name)
    ElementTree.indent(root)
    ElementTree.ElementTree(root).write(
        folder / "shape.pvd", encoding="utf-8", xml_declaration=True
    )
