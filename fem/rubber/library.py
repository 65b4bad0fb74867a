"""Constants of real rubbers, read from `library.toml`."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any


@dataclass(frozen=True)
class Material:
    """A rubber under a generic name, with the source of its constants.

    Attributes
    ----------
    name
        How a case refers to it.
    rubber
        Law and constants, with units, as in the table of a case.
    strain_range
        Kind and range of the strain in the tests.
    source, doi
        Publication of the constants, or of the data that were fitted here.
    read
        How the source was read: "at the source", "second-hand" or "from memory".
    own_fit
        Whether the constants were fitted here.
    note
        Remarks.
    """

    name: str
    rubber: dict[str, Any]
    strain_range: str
    source: str
    read: str
    doi: str = ""
    own_fit: bool = False
    note: str = ""


@cache
def _read() -> tuple[Material, ...]:
    text = files("fem.rubber").joinpath("library.toml").read_text(encoding="utf-8")
    return tuple(Material(**data) for data in tomllib.loads(text)["material"])


def materials() -> dict[str, Material]:
    """Return all materials by their names."""
    return {material.name: material for material in _read()}
