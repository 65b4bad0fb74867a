"""The finite-element model: mesh, wall, threads, admissible motions, assembly.

MPI and PETSc start when they are imported, once in a process. What they need before that is set
here, so that a process which only imports :mod:`fem` is left as it is: the wheel of the solver is
loaded first, and PETSc gets the option ``-no_signal_handler``. With a handler of its own PETSc
would abort the process when it is asked to end, before results can be written.
"""

import contextlib
import os

os.environ["PETSC_OPTIONS"] = f"{os.environ.get('PETSC_OPTIONS', '')} -no_signal_handler".strip()

with contextlib.suppress(ModuleNotFoundError):  # conda-forge's DOLFINx does without
    import dolfinx_solver  # noqa: F401 - the PyPI wheel wants to come before petsc4py and dolfinx
