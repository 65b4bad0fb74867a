"""Versions and machine with which a result was computed."""

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
"""Packages whose versions are recorded, if they are installed."""


@dataclass(frozen=True)
class Environment:
    """Versions and machine with which a result was computed.

    Attributes
    ----------
    versions
        Version of each package, by its name.
    machine
        Operating system and processor.
    """

    versions: dict[str, str]
    machine: dict[str, str]

    @classmethod
    def current(cls) -> Self:
        """Return the environment of this process."""
        return cls(versions(), machine())


@cache
def versions() -> dict[str, str]:
    """Return the version of Python and of each installed package, by its name."""
    known = {"python": platform.python_version()}
    for package in PACKAGES:
        with suppress(PackageNotFoundError):
            known[package] = version(package)
    return known


def machine() -> dict[str, str]:
    """Return operating system and processor, but no name or address of the machine."""
    return {"system": platform.platform(), "processor": platform.machine()}
