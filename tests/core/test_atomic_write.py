"""Atomic writing of files; no other module writes results."""

import ast
import errno
import os
import resource
import signal
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

import fem
from fem.core.atomic_write import in_place_of, need_folder, write_text
from fem.core.errors import InputError
from fem.scene.film.writer import STOPPED, write_film
from fem.scene.result_view import result_views
from fem.scene.still import save_still
from fem.wording.picture_text import save_figure, write
from tests.helpers.messages import refused

WAITING = """
import sys, time
from pathlib import Path
from fem.core.atomic_write import in_place_of
with in_place_of(Path(sys.argv[1])) as part:
    print(part.exists(), flush=True)
    time.sleep(60)
"""


@contextmanager
def full_at(size):
    """Limit the size of files (bytes), as if the disk were full."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize("ending", [".png", ".pdf", ".svg"])
def test_a_failed_picture_keeps_the_old_file(tmp_path, ending):
    file = tmp_path / f"picture{ending}"
    figure = Figure()
    write(figure, 0.1, 0.9, "a picture")
    save_figure(figure, file)
    before = file.read_bytes()
    with full_at(500), pytest.raises(OSError) as failed:
        save_figure(figure, file)
    assert failed.value.filename == str(file)
    assert file.read_bytes() == before
    assert list(tmp_path.iterdir()) == [file]


def test_the_error_of_a_read_only_folder_names_the_file(tmp_path, monkeypatch):
    """The error of a call with a Path has the Path, not its text."""

    def refuse(path, *_):
        raise OSError(errno.EROFS, "Read-only file system", path)

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(OSError) as failed:
        write_text(tmp_path / "steps.csv", "")
    assert failed.value.filename == str(tmp_path / "steps.csv")


def test_a_failed_still_keeps_the_old_file(result, tmp_path):
    file = tmp_path / "still.png"
    file.write_text("an older one")
    with full_at(500), pytest.raises(OSError, match="File too large"):
        save_still(result_views(result), file, step=2, dpi=40)
    assert file.read_text() == "an older one"


@pytest.mark.parametrize("ending", [".mp4", ".gif"])
def test_a_failed_film_keeps_the_old_file(tmp_path, capfd, ending):
    file = tmp_path / f"film{ending}"
    file.write_text("an older one")
    noise = np.random.default_rng(1).integers(0, 255, (8, 96, 128, 3), dtype=np.uint8)
    with full_at(2000), pytest.raises(OSError) as failed:
        write_film(iter(noise), file)
    assert failed.value.filename == str(file)
    assert failed.value.strerror in (STOPPED, "File too large")
    assert capfd.readouterr() == ("", ""), "output of the encoder"
    assert file.read_text() == "an older one"
    assert list(tmp_path.iterdir()) == [file]


def test_sigterm_removes_the_temporary_file(tmp_path):
    command = [sys.executable, "-c", WAITING, str(tmp_path / "film.gif")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout.readline() == "True\n"
        process.terminate()
        assert process.wait(20) == 128 + signal.SIGTERM
    assert not list(tmp_path.iterdir())


def test_the_new_file_has_the_default_permissions(tmp_path):
    with in_place_of(tmp_path / "new") as part:
        part.write_text("whole")
    (tmp_path / "usual").touch()
    assert (tmp_path / "new").stat().st_mode == (tmp_path / "usual").stat().st_mode
    assert signal.getsignal(signal.SIGTERM) == signal.SIG_DFL


def test_no_folder_is_created(tmp_path):
    (tmp_path / "file").touch()
    for folder, fault in (("no", "no such folder"), ("file", "this is a file")):
        with refused(InputError, str(tmp_path / folder), fault):
            need_folder(tmp_path / folder / "a.png")
    assert os.listdir(tmp_path) == ["file"]


# ----------------------------------------------------------------------------------------- writers

WRITING = {"write_text", "write_bytes", "to_csv", "savefig", "to_parquet", "savetxt"}
IN_MEMORY = {"wording/picture_text.py", "report/pictures.py"}  # figures, written to a buffer
TEMPORARY = {"study/study_result.py"}  # pandas writes a temporary file of the module
PROBES = {"installation/probes.py"}  # no results


def writes(call):
    """Return whether a call opens or writes a file."""
    if isinstance(call.func, ast.Name) and call.func.id != "open":
        return False
    name = getattr(call.func, "attr", "open")
    if name != "open":
        return name in WRITING and not (name == "to_csv" and not call.args)
    modes = [arg.value for arg in call.args[-1:] if isinstance(arg, ast.Constant)]
    return any(isinstance(mode, str) and set(mode) & set("wax") for mode in modes)


def test_no_other_module_opens_a_result_file_for_writing():
    package = Path(fem.__file__).parent
    found = {
        str(file.relative_to(package))
        for file in package.rglob("*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and writes(node)
    }
    assert found - IN_MEMORY - TEMPORARY - PROBES == {"core/atomic_write.py"}
