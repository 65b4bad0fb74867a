"""The command `tubewright`: parse, call, print. Heavy imports wait inside the commands.

Exit codes: 0 done; 1 the installation lacks something; 2 the input cannot be used; 3 the last
demanded step was not reached, a validated figure is off, or the user broke off (what was reached is
written all the same), or there is no equilibrium even at rest (then nothing is).
"""

from fem.core.processes import use_one_thread

use_one_thread()  # before NumPy is loaded

from fem.cli import about, compare, report, solve, study, trust, view  # noqa: E402
from fem.cli.app import app  # noqa: E402

__all__ = ["about", "app", "compare", "main", "report", "solve", "study", "trust", "view"]


def main() -> None:
    """Run the command; a request to end is as good as Ctrl-C, so that what is done is written."""
    import signal

    signal.signal(signal.SIGTERM, signal.default_int_handler)
    app()
