"""Constants of real rubbers, read from `library.toml`."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from pydantic import Field

from fem.core.schema_base import Part
from fem.rubber import AnyRubber

BESIDE = ("material", "bulk_ratio")
"""Keys that may stand in a table that names a material."""


class Material(Part):
    """A rubber under a generic name, with the source of its constants."""

    name: str = Field(min_length=1, description="What a case calls it.")
    rubber: AnyRubber = Field(description="Law and constants.")
    strain_range: str = Field(description="How it was strained, and how far.")
    source: str = Field(description="Where the constants, or the data for an own fit, stand.")
    doi: str = Field(default="", description="Identifier of the source.")
    read: Literal["at the source", "second-hand", "from memory"] = Field(
        description="How the source was read."
    )
    own_fit: bool = Field(default=False, description="Whether the constants were fitted here.")
    note: str = ""


class _Library(Part):
    material: tuple[Material, ...]


@cache
def _read() -> tuple[Material, ...]:
    text = files("fem.rubber").joinpath("library.toml").read_text(encoding="utf-8")
    return _Library.model_validate(tomllib.loads(text)).material


def materials() -> dict[str, Material]:
    """Return all materials by their names."""
    return {material.name: material for material in _read()}


def resolve(data: dict[str, Any]) -> dict[str, Any]:
    """Return the data of the law that `data` asks for by the name of a material.

    Parameters
    ----------
    data
        The key `material`, and `bulk_ratio` if it is not to be the usual one.

    Raises
    ------
    ValueError
        If there is no such material, or if other keys are there; the text goes on from
        "material = ...: ".
    """
    known, name = materials(), data["material"]
    if not isinstance(name, str) or name not in known:
        allowed = ", ".join(f'"{one}"' for one in known)
        raise ValueError(f"unknown; allowed: {allowed}")
    others = [key for key in data if key not in BESIDE]
    if others:
        raise ValueError(f"only bulk_ratio may be given besides; leave out {', '.join(others)}")
    law = known[name].rubber.model_dump(mode="json", exclude_none=True, exclude={"bulk_ratio"})
    return law | {key: data[key] for key in BESIDE[1:] if key in data}
