"""Where figures came from: the versions of what they hang on, and the machine."""

from __future__ import annotations

import platform
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Self

PACKAGES = [
    *("tubewright", "dolfinx-solver-real", "fenics-dolfinx", "fenics-ffcx", "fenics-ufl"),
    *("petsc4py", "numpy", "scipy", "gmsh", "pyvista", "scikit-learn"),
]
"""Distributions whose versions are written down, where they are installed."""


@dataclass(frozen=True)
class Origin:
    """Where figures came from.

    Attributes
    ----------
    versions
        Of what they hang on, by the names of the packages.
    machine
        What is told of the machine.
    """

    versions: dict[str, str]
    machine: dict[str, str]

    @classmethod
    def here(cls) -> Self:
        """Return what is installed here, on this machine."""
        return cls(versions(), machine())


@cache
def versions() -> dict[str, str]:
    """Return the versions of what the figures hang on, by the names of the packages."""
    known = {"python": platform.python_version()}
    for package in PACKAGES:
        with suppress(PackageNotFoundError):
            known[package] = version(package)
    return known


def machine() -> dict[str, str]:
    """Return what is told of the machine: no name and no address of it."""
    return {"system": platform.platform(), "processor": platform.machine()}
