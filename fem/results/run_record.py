"""What run.json tells of a result: its keys and their types, or a sentence on the first fault."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Annotated, Any, Literal, NoReturn

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from fem.core.errors import InputError
from fem.core.text_file import text_of
from fem.results.run import IncompleteSolve
from fem.results.termination import Termination

DUE = {
    "missing": "this key is missing",
    "model_type": "an object is due",
    "dataclass_type": "an object is due",
    "dict_type": "an object is due",
    "list_type": "a list is due",
}
"""How faults are told; others by the words of pydantic."""

type Figure = Annotated[float, Field(allow_inf_nan=False)]


class Told(BaseModel):
    """An object of run.json; keys that are unknown here are those of another version."""

    model_config = ConfigDict(strict=True, frozen=True)


class StateTold(Told):
    """A state of a path, as far as it says which row of the step table belongs to it."""

    step: int
    pressure_kPa: Figure  # noqa: N815 - columns carry their units


class MeshTold(Told):
    """Counts of a mesh, all of which are kept."""

    model_config = ConfigDict(extra="allow")

    resolution: str = ""
    sectors_of_the_tube: int = 1
    threads_meshed: dict[str, int] = {}


class RunTold(Told):
    """What is told of a run but its figures; older results do not tell all of it."""

    model: Literal["fe", "fast"]
    termination: Termination
    history: list[StateTold]
    wall_time_s: Annotated[Figure, Field(ge=0)] | None = None
    balance: dict[str, Figure | None] = {}
    mesh: dict[str, Any] = {}
    incomplete: list[IncompleteSolve] = []

    @field_validator("mesh")
    @classmethod
    def _mesh_as_it_stands(cls, mesh: dict[str, Any]) -> dict[str, Any]:
        """Check its counts, and keep their order."""
        MeshTold.model_validate(mesh)
        return mesh

    @property
    def seconds(self) -> float:
        """Wall time; nan where it is not told."""
        return math.nan if self.wall_time_s is None else self.wall_time_s


class Provenance(Told):
    """What run.json tells of a result."""

    case: dict[str, Any]
    runs: list[RunTold]
    versions: dict[str, str] = {}
    machine: dict[str, str] = {}


def read_provenance(file: Path) -> Provenance:
    """Return what a run.json tells.

    Raises
    ------
    InputError
        If it cannot be read, or does not tell of a result; the text names the file and the key.
    """
    text = text_of(file)
    try:
        told = json.loads(text, parse_constant=_refuse)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{file}: not valid JSON: {error}") from None
    if isinstance(told, dict) and "study" in told:
        kept = "the results in its folder shapes are, where it kept some"
        raise InputError(f"{file}: this is a study, no result of one case; {kept}")
    try:
        return Provenance.model_validate_json(text)
    except ValidationError as error:
        raise InputError(f"{file}: {_first_fault(error)}") from None


def _refuse(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is no number of JSON")


def _first_fault(error: ValidationError) -> str:
    """Return the first fault: the key as one writes it, entries of lists counted from 1."""
    fault = error.errors()[0]
    key = "".join(f"[{p + 1}]" if isinstance(p, int) else f".{p}" for p in fault["loc"])
    due = DUE.get(fault["type"], fault["msg"].replace("Input should be", "it must be"))
    if fault["type"] == "missing":
        return f"{key[1:]}: {due}"
    given = repr(fault["input"])
    return f"{key[1:] or 'all of it'} = {given if len(given) < 60 else given[:57] + '...'}: {due}"
