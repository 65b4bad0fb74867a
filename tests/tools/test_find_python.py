"""tools/find-python.sh, with fake interpreters on a fake path and in a fake home."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.helpers.fake_machine import TOOLS, FakeMachine
from tests.helpers.messages import assert_states


class Machine(FakeMachine):
    """A machine with the programs that find-python.sh uses."""

    def __init__(self, folder):
        super().__init__(folder, "sort", "sed", "id")

    def python(self, path, version="3 13", kind="cpython", lacks="nothing", base=None):
        """Write a fake interpreter with this output."""
        return self.script(path, f"echo {version} {kind} {lacks} {base or path}")

    def find(self, **variables):
        return self.run("find-python.sh", **variables)


@pytest.fixture
def machine(tmp_path):
    return Machine(tmp_path)


def test_none_found_names_a_command_that_installs_one(machine):
    began = time.perf_counter()
    status, found, message = machine.find()
    assert time.perf_counter() - began < 1.0
    assert (status, found) == (1, "")
    assert_states(message, "3.12", "3.14", "uv python install 3.13")


@pytest.mark.parametrize(
    ("command", "body", "remedy"),
    [
        ("uv", "exit 2", "    uv python install 3.13\n"),
        ("pyenv", "", "    pyenv install 3.13\n"),
        ("apt-get", "", "apt-get install -y pipx && pipx run uv python install 3.13\n"),
        ("conda", "", "    conda env create -f environment.yml "),
    ],
)
def test_one_command_that_this_machine_has_installs_a_python(machine, command, body, remedy):
    machine.script(machine.bin / command, body)
    assert remedy in machine.find()[2]


@pytest.mark.parametrize(
    ("candidate", "expected"), [("3.13.5-1", "python3-venv"), ("3.11.2-1+b1", "pipx"), ("", "pipx")]
)
def test_package_of_the_system_is_named_if_it_is_new_enough(machine, candidate, expected):
    machine.script(machine.bin / "apt-get", "")
    machine.script(machine.bin / "apt-cache", f"echo '  Candidate: {candidate}'")
    assert_states(machine.find()[2], "apt-get install -y", expected)


def test_newest_name_on_the_path_first(machine):
    for minor in (12, 13, 14):
        machine.python(machine.bin / f"python3.{minor}", f"3 {minor}")
    assert machine.find()[:2] == (0, str(machine.bin / "python3.14"))


def test_plain_python3_is_accepted(machine):
    expected = machine.python(machine.bin / "python3", "3 12")
    assert machine.find()[:2] == (0, str(expected))


def test_shim_that_fails_is_skipped(machine):
    machine.script(machine.bin / "python3.13", "echo 'pyenv: command not found' >&2; exit 127")
    expected = machine.python(machine.home / ".pyenv/versions/3.12.1/bin/python", "3 12")
    assert machine.find()[:2] == (0, str(expected))


def test_file_that_does_not_execute_is_skipped(machine):
    (machine.bin / "python3.14").write_bytes(b"\x7fELF nonsense")
    (machine.bin / "python3.14").chmod(0o755)
    expected = machine.python(machine.bin / "python3.12", "3 12")
    assert machine.find()[:2] == (0, str(expected))


def test_pyenv_newest_version_first_and_unsuitable_ones_skipped(machine):
    versions = machine.home / ".pyenv/versions"
    for name in ("3.9.18", "3.11.7", "3.12.1", "3.13.2", "3.13.10"):
        machine.python(versions / name / "bin/python", " ".join(name.split(".")[:2]))
    assert machine.find()[:2] == (0, str(versions / "3.13.10/bin/python"))


def test_pyenv_root_is_used(machine, tmp_path):
    expected = machine.python(tmp_path / "elsewhere/versions/3.14.0/bin/python", "3 14")
    assert machine.find(PYENV_ROOT=str(tmp_path / "elsewhere"))[:2] == (0, str(expected))


def test_uv_folder(machine):
    folder = machine.home / ".local/share/uv/python"
    expected = machine.python(folder / "cpython-3.13.1-linux-x86_64-gnu/bin/python3")
    assert machine.find()[:2] == (0, str(expected))


def test_uv_itself_comes_last(machine, tmp_path):
    expected = machine.python(tmp_path / "deep/python3.13")
    machine.script(machine.bin / "uv", f"echo {expected}")
    assert machine.find()[:2] == (0, str(expected))


def test_uv_that_finds_nothing(machine):
    machine.script(machine.bin / "uv", "echo 'error: No interpreter found' >&2; exit 2")
    assert machine.find()[0] == 1


@pytest.mark.parametrize(
    ("answer", "reason"),
    [
        ({"version": "3 11"}, "is Python 3.11"),
        ({"version": "3 15"}, "is Python 3.15"),
        ({"version": "4 13"}, "is Python 4.13"),
        ({"version": "2 14"}, "is Python 2.14"),
        ({"kind": "pypy"}, "is a pypy build"),
        ({"kind": "free-threaded"}, "is a free-threaded build"),
        ({"lacks": "ensurepip"}, "apt-get install python3.13-venv"),
        ({"lacks": "sqlite3"}, "sqlite3"),
        ({"version": "hello"}, "is not a Python"),
    ],
)
def test_unsuitable_python_is_rejected_with_the_reason(machine, answer, reason):
    machine.python(machine.bin / "python3.13", **answer)
    status, found, message = machine.find()
    assert (status, found) == (1, "")
    assert f"{machine.bin / 'python3.13'} " in message
    assert reason in message


def test_named_python_is_used(machine, tmp_path):
    machine.python(machine.bin / "python3.14", "3 14")
    named = machine.python(tmp_path / "my python", "3 12", base="/opt/base/python3.12")
    assert machine.find(PYTHON=str(named))[:2] == (0, "/opt/base/python3.12")


def test_named_python_may_be_on_the_path(machine):
    machine.python(machine.bin / "python3.14", "3 14")
    expected = machine.python(machine.bin / "python3.12", "3 12")
    assert machine.find(PYTHON="python3.12")[:2] == (0, str(expected))


def test_unsuitable_named_python_is_not_replaced(machine):
    machine.python(machine.bin / "python3.14", "3 14")
    machine.python(machine.bin / "python3.11", "3 11")
    status, found, message = machine.find(PYTHON="python3.11")
    assert (status, found) == (1, "")
    assert "under PYTHON=python3.11" in message


def test_interpreter_behind_a_virtual_environment(machine, tmp_path):
    """The script runs with the interpreter of this test."""
    done = subprocess.run(
        [TOOLS / "find-python.sh"],
        env={**os.environ, "PYTHON": sys.executable},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    base = Path(done.stdout.strip())
    assert base.is_file()
    assert not (base.parents[2] / "pyvenv.cfg").exists()
