"""The command `tubewright`: parse, call, print. Heavy imports wait inside the commands.

Exit codes: 0 done; 1 the installation lacks something; 2 the input cannot be used; 3 the last
demanded step was not reached, a validated figure is off, or the user broke off (what was reached is
written all the same), or there is no equilibrium even at rest (then nothing is).
"""

import os

# Matrices here are small or sparse: several BLAS threads in one process only wait for each other
# (ten times slower where they do). The limit must be set before NumPy is loaded.
for _variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")

from fem.cli import about, compare, report, solve, study, trust, view  # noqa: E402
from fem.cli.app import app  # noqa: E402

__all__ = ["about", "app", "compare", "main", "report", "solve", "study", "trust", "view"]


def main() -> None:
    """Run the command; a request to end is as good as Ctrl-C, so that what is done is written."""
    import signal

    signal.signal(signal.SIGTERM, signal.default_int_handler)
    app()
