"""The finite-element model: mesh, wall, threads, admissible motions, assembly.

MPI and PETSc start when they are imported. Their settings are made here, before that import, so
that a process which only imports :mod:`fem` is not affected: the wheel of the solver is loaded
first, and PETSc gets the option ``-no_signal_handler``. With its signal handler PETSc would abort
the process on a request to end, before results can be written. MPI writes no message about the
hardware of the machine: one process needs no network, and the message would get into the output.
"""

import contextlib
import os

os.environ["PETSC_OPTIONS"] = f"{os.environ.get('PETSC_OPTIONS', '')} -no_signal_handler".strip()
os.environ.setdefault("UCX_LOG_LEVEL", "fatal")
os.environ.setdefault("HWLOC_HIDE_ERRORS", "2")

with contextlib.suppress(ModuleNotFoundError):  # not part of conda-forge's DOLFINx
    import dolfinx_solver  # noqa: F401 - the PyPI wheel must be imported before petsc4py and dolfinx
