"""The finite-element model: mesh, wall, threads, admissible motions, assembly."""

import contextlib

with contextlib.suppress(ModuleNotFoundError):  # conda-forge's DOLFINx does without
    import dolfinx_solver  # noqa: F401 - the PyPI wheel wants to come before petsc4py and dolfinx
