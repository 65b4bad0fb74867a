"""Run the Python and shell examples of a page in a copy of the project."""

import contextlib
import io
import os
import re
import shlex
import shutil
import signal
import socket
import subprocess
import time
import urllib.request
from functools import partial

from typer.testing import CliRunner

from tests.helpers.documents import ROOT

NOT_COPIED = {".git", ".venv", "demo", "results", "build", "dist", ".hypothesis"}
"""Folders of the project that a copy does without; caches of tools neither."""

TIMEOUT = 900.0
"""Longest time of a block (s)."""

MAKE = 'make() { command make -o .venv/.ready "$@"; }\n'
"""The set-up is done: make takes .venv as it is."""

COLLECT_ONLY = "--collect-only"
"""`make test` is run with this option of pytest, because it would run these examples again."""

DASK_PORT = "8786"
"""Port in the examples; another process may use it, so a free one is taken."""


def copy_of_project(folder):
    """Copy the project into a folder, with its environment beside it."""
    caches = shutil.ignore_patterns(".*_cache", "__pycache__")

    def left_out(parent, names):
        own = NOT_COPIED if ROOT.samefile(parent) else set()
        return own & set(names) | caches(parent, names)

    shutil.copytree(ROOT, folder, ignore=left_out, dirs_exist_ok=True)
    (folder / ".venv").symlink_to((ROOT / ".venv").resolve())


def free_port():
    """Return a port that nothing listens to."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return str(listening.getsockname()[1])


def run_python(block, namespace):
    """Run a Python block and return what it prints; a traceback shows the line of the page."""
    lines = "\n" * block.line + block.text
    with contextlib.redirect_stdout(io.StringIO()) as output:
        exec(compile(lines, block.page, "exec"), namespace)
    return output.getvalue()


def run_shell(block, folder, monkeypatch):
    """Run a shell block in a folder and return its output; the exit code must be 0."""
    text = block.text.replace(DASK_PORT, free_port())
    if re.fullmatch(r"\S+ view [\w ]+", text.strip()):
        return _open_window(text, monkeypatch)
    if "--web" in text:
        _serve(text, folder)
    else:
        _run(text, folder)
    return _output(folder)


def _environment(folder):
    own = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    changes = {"PYTHONPATH": str(folder), "PYTEST_ADDOPTS": COLLECT_ONLY}
    changes |= {"BROWSER": "true", "COLUMNS": "100"}
    return own | changes


def _start(text, folder):
    """Start commands as a group of processes whose output goes to a file."""
    with (folder / "output.txt").open("w", encoding="utf-8") as output:
        return subprocess.Popen(
            ["bash", "-euo", "pipefail", "-c", MAKE + text],
            cwd=folder,
            env=_environment(folder),
            start_new_session=True,
            stdout=output,
            stderr=subprocess.STDOUT,
        )


def _end(process):
    """End what a block has left running."""
    try:
        os.killpg(process.pid, signal.SIGTERM)
    except ProcessLookupError:
        return
    process.wait(TIMEOUT)


def _output(folder):
    return (folder / "output.txt").read_text(encoding="utf-8")


def _run(text, folder):
    process = _start(text, folder)
    try:
        code = process.wait(TIMEOUT)
    finally:
        _end(process)
    assert code == 0, f"{text}\nexit code {code}\n{_output(folder)}"


def _serve(text, folder):
    """Run a command that serves a page: wait for the address, open it, press Ctrl-C."""
    process = _start(text, folder)
    try:
        until = time.monotonic() + TIMEOUT
        while not (address := re.search(r"http://\S+", _output(folder))):
            assert process.poll() is None and time.monotonic() < until, _output(folder)
            time.sleep(0.1)
        with urllib.request.urlopen(address[0], timeout=TIMEOUT) as page:
            assert page.status == 200
        os.killpg(process.pid, signal.SIGINT)
        code = process.wait(TIMEOUT)
    finally:
        _end(process)
    assert code == 0, f"{text}\nexit code {code}\n{_output(folder)}"


def _open_window(text, monkeypatch):
    """Run a command that opens a window, off screen: there it closes once it is drawn."""
    from fem.cli import app
    from fem.scene.window import window

    monkeypatch.setattr("fem.scene.window.need_screen", lambda: None)
    monkeypatch.setattr(window, "Window", partial(window.Window, off_screen=True))
    ran = CliRunner().invoke(app, shlex.split(text)[1:])
    assert ran.exit_code == 0, ran.output
    return ran.output
