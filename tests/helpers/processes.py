"""For tests of real processes: wait for a condition, check whether a process is alive."""

import time
from pathlib import Path

TIME_LIMIT = 60.0
"""Time limit (s)."""


def wait(condition, what):
    """Wait until a condition holds; fail with the text `what` if it never does."""
    until = time.monotonic() + TIME_LIMIT
    while not condition():
        assert time.monotonic() < until, what
        time.sleep(0.01)


def alive(pid):
    """Return whether a process is alive, not a zombie."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2]
    except OSError:
        return False
    return not state.startswith("Z")
