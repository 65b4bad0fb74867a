"""For tests of real processes: wait for what they come to, look whether they are there."""

import time
from pathlib import Path

PATIENCE = 60.0
"""What takes longer (s) hangs."""


def wait(condition, what):
    """Wait until a condition holds; say what is wrong if it never does."""
    until = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < until, what
        time.sleep(0.01)


def alive(pid):
    """Return whether a process is there and no mere entry that waits to be collected."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2]
    except OSError:
        return False
    return not state.startswith("Z")
