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
        Law and constants, with units, as they stand in the table of a case.
    strain_range
        How it was strained, and how far.
    source, doi
        Where the constants, or the data for an own fit, were published.
    read
        How the source was read: "at the source", "second-hand" or "from memory".
    own_fit
        Whether the constants were fitted here.
    note
        What else is known.
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
