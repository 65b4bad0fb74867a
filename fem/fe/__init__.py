"""The finite-element model: mesh, wall, threads, admissible motions, assembly.

MPI and PETSc start when they are imported. Their settings are made here, before that import, so
that a process which only imports :mod:`fem` is not affected: the wheel of the solver is loaded
first, and PETSc gets the option ``-no_signal_handler``. With its signal handler PETSc would abort
the process on a request to end, before results can be written.
"""

import contextlib
import os

os.environ["PETSC_OPTIONS"] = f"{os.environ.get('PETSC_OPTIONS', '')} -no_signal_handler".strip()

with contextlib.suppress(ModuleNotFoundError):  # not part of conda-forge's DOLFINx
    import dolfinx_solver  # noqa: F401 - the PyPI wheel must be imported before petsc4py and dolfinx
