"""The command `tubewright`: parse, call, print. Commands import slow modules when they run.

The exit codes are in :data:`fem.cli.app.EXIT_CODES`.
"""

from fem.core.processes import use_one_thread

use_one_thread()  # before NumPy is loaded

from fem.cli import about, compare, report, solve, study, trust, view  # noqa: E402
from fem.cli.app import app  # noqa: E402

__all__ = ["about", "app", "compare", "main", "report", "solve", "study", "trust", "view"]


def main() -> None:
    """Run the command; SIGTERM acts as Ctrl-C, so that the results so far are written."""
    import signal

    signal.signal(signal.SIGTERM, signal.default_int_handler)
    app()
