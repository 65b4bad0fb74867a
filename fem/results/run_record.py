"""The run.json of a result: keys and types; conversion from and to runs."""

from __future__ import annotations

import math
from typing import Annotated, Any, ClassVar, Self

from pydantic import Field, field_validator

from fem.results.folder import Contents, FolderRecord, Record
from fem.results.run import HISTORY, IncompleteSolve, Run
from fem.results.termination import Termination

type Number = Annotated[float, Field(allow_inf_nan=False)]

TABLE = "steps.csv"


class MeshRecord(Record, extra="allow"):
    """Counts of a mesh; other counts are kept as well."""

    resolution: str = ""
    sectors_of_the_tube: int = 1
    threads_meshed: dict[str, int] | None = None


class RunRecord(Record):
    """A run in run.json; its rows are in the step table."""

    model: Annotated[str, Field(pattern="^(fe|fast)$")]
    termination: Termination
    incomplete: list[IncompleteSolve]
    wall_time_s: Annotated[Number, Field(ge=0)] | None = None
    mesh: dict[str, Any]
    balance: dict[str, Number | None]
    history: list[dict[str, Any]]

    @field_validator("mesh")
    @classmethod
    def _check_mesh(cls, mesh: dict[str, Any]) -> dict[str, Any]:
        """Check the counts, and keep their order."""
        MeshRecord.model_validate(mesh)
        return mesh

    @classmethod
    def of(cls, run: Run) -> Self:
        """Return the record of a run."""
        return cls(
            model=run.model,
            termination=run.termination,
            incomplete=run.incomplete,
            wall_time_s=round(run.seconds, 3) if math.isfinite(run.seconds) else None,
            mesh=run.mesh,
            balance={k: gap if math.isfinite(gap) else None for k, gap in run.balance.items()},
            history=[{name: row[name] for name in HISTORY} for row in run.rows],
        )

    def run(self, rows: list[dict[str, Any]]) -> Run:
        """Return the run with its rows of the step table, but without shapes."""
        return Run(
            model=self.model,
            rows=rows,
            termination=self.termination,
            seconds=math.nan if self.wall_time_s is None else self.wall_time_s,
            balance={k: math.nan if gap is None else gap for k, gap in self.balance.items()},
            mesh=self.mesh,
            incomplete=self.incomplete,
        )


class ResultRecord(FolderRecord):
    """The run.json of a result."""

    CONTENTS: ClassVar = Contents.RESULT

    case_hash: str
    solves: list[str]
    runs: Annotated[list[RunRecord], Field(min_length=1)]

    @property
    def shapes(self) -> list[str]:
        """Names of the shape files, in the order of the steps."""
        return [name for name in self.files if name != TABLE]

    @field_validator("runs")
    @classmethod
    def _models_differ(cls, runs: list[RunRecord]) -> list[RunRecord]:
        if len({run.model for run in runs}) < len(runs):
            raise ValueError("two runs have the same model")
        return runs
