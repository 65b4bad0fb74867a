"""Predict how a pneumatic actuator made of an elastomer tube and threads turns, moves and bulges.

>>> from fem import Case, solve
>>> result = solve(Case.load("cases/greenhouse_wrist.toml"))  # doctest: +SKIP
>>> result.steps  # doctest: +SKIP
"""

import os

# Matrices here are small or sparse: several BLAS threads in a process only wait for each other
# (ten times slower where they do). It must be said before NumPy is loaded.
for _variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")
# Else PETSc aborts the process when it is asked to end, before what is done can be written.
os.environ["PETSC_OPTIONS"] = f"{os.environ.get('PETSC_OPTIONS', '')} -no_signal_handler".strip()

from fem.case.case import Case, CaseError  # noqa: E402
from fem.solve import solve  # noqa: E402

__version__ = "0.1.0"

__all__ = ["Case", "CaseError", "solve"]
