"""The command as a person meets it: its exit codes, its sentences, its files."""

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fem.cli import main
from fem.cli.app import make_folder
from fem.core.errors import InputError
from fem.rubber.library import materials
from fem.solving.single import solve

COMMAND = Path(sys.executable).with_name("tubewright")


def run(*arguments, **options):
    done = subprocess.run(
        [COMMAND, *map(str, arguments)], capture_output=True, text=True, check=False, **options
    )
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture(scope="module")
def wrist(cases_folder):
    return cases_folder / "greenhouse_wrist.toml"


def test_solve_writes_its_folder_and_says_so(wrist, tmp_path):
    done = run("solve", wrist, "--model", "fast", "--out", tmp_path / "out")
    assert done.returncode == 0
    assert {"steps.csv", "run.json", "curves.png"} == {p.name for p in (tmp_path / "out").iterdir()}
    assert "not a certificate" in done.stdout


def test_pressure_out_of_reach_keeps_what_was_reached(make_case, tmp_path):
    file = tmp_path / "bare.toml"
    make_case(threads=[], pressure__end="20 kPa").save(file)
    done = run("solve", file, "--model", "fast", "--out", tmp_path / "out")
    assert done.returncode == 3
    assert "balloon limit at 11.8 kPa" in done.stdout
    assert (tmp_path / "out" / "steps.csv").exists()


def test_bad_input_is_one_sentence(wrist, tmp_path):
    """Each of these is refused with exit code 2 and names what is wrong."""
    file = tmp_path / "file"
    file.touch()
    for arguments, sentence in [
        (("solve", tmp_path / "none.toml"), "cannot be read"),
        (("solve", wrist, "--out", file), "this is a file; a folder is needed"),
        (("solve", wrist, "--out", file / "below"), "Not a directory"),
        (("solve", wrist, "--model", "fast", "--mesh-error"), "the fast model has no mesh"),
        (("mesh", wrist, "-o", tmp_path / "a.stl"), ".msh or .vtu or .vtk"),
        (("mesh", wrist, "-o", tmp_path / "a.msh", "--resolution", "0x0x0"), "1 to 9999"),
    ]:
        done = run(*arguments)
        assert done.returncode == 2, arguments
        assert sentence in done.stderr


def test_a_folder_without_leave_to_write_is_refused_before_the_work(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(InputError, match="files cannot be written into this folder"):
        make_folder(tmp_path)


@pytest.mark.parametrize("name", ["a.msh", "b.vtu", "c.vtk", "D.VTU"])
def test_mesh_writes_what_others_read(wrist, tmp_path, name):
    done = run("mesh", wrist, "-o", tmp_path / name, "--resolution", "1x1x2")
    assert done.returncode == 0
    assert done.stdout.strip().startswith(str(tmp_path / name))
    assert (tmp_path / name).stat().st_size > 0


def test_the_lifter_is_told_when_its_threads_tighten(cases_folder, tmp_path):
    done = run(
        "solve", cases_folder / "seedling_lifter.toml", "--model", "fast", "--out", tmp_path / "out"
    )
    assert done.returncode == 0
    for name in ("right", "left"):
        assert re.search(rf"threads {name}: taut from 1[0-9.]+ kPa", done.stdout)
    assert all(word in done.stdout for word in ("burst", "whip", "pressure"))


def test_mesh_error_is_asked_for_told_and_written(make_case, tmp_path):
    file = tmp_path / "wrist.toml"
    make_case(pressure__steps=1).save(file)
    arguments = ("solve", file, "--model", "fe", "--resolution", "1x1x4", "--out", tmp_path / "out")
    done = run(*arguments, "--mesh-error", timeout=120)
    assert done.returncode == 0
    assert "mesh error: the FE model is then solved again on a coarser mesh" in done.stderr
    assert re.search(r"FE model on a coarser mesh .* 1/1", done.stderr)
    assert "±" in done.stdout
    assert "twist_deg.mesh_error" in (tmp_path / "out" / "steps.csv").read_text(encoding="utf-8")
    refused = run(*arguments)
    assert refused.returncode == 2
    assert "more than is solved now: fe.mesh_error" in refused.stderr
    plain = run(*arguments, "--overwrite", timeout=120)
    assert plain.returncode == 0
    assert "solved again" not in plain.stderr
    assert "±" not in plain.stdout


def test_an_interrupted_second_solve_is_said_and_written(make_case, tmp_path, monkeypatch, capsys):
    def interrupted(*arguments, report, **options):
        def interrupt(name, done, steps):
            report(name, done, steps)
            if (name, done) == ("fe.mesh_error", 0):
                raise KeyboardInterrupt

        return solve(*arguments, report=interrupt, **options)

    file, out = tmp_path / "wrist.toml", tmp_path / "out"
    make_case(pressure__steps=1).save(file)
    monkeypatch.setattr("fem.solve", interrupted)
    arguments = ["solve", str(file), "--mesh-error", "--resolution", "1x1x4", "--out", str(out)]
    monkeypatch.setattr(sys, "argv", ["tubewright", *arguments])
    with pytest.raises(SystemExit) as end:
        main()
    assert end.value.code == 3
    told = " ".join(capsys.readouterr().out.split())
    assert "mesh error: interrupted while the FE model on a coarser mesh was solved" in told
    assert "FE: reached" in told and "nan" not in told
    assert len((out / "steps.csv").read_text(encoding="utf-8").splitlines()) == 3


def test_the_coarse_mesh_is_written_as_it_is_solved_on(make_case, tmp_path):
    """With 31 and 12 threads a sector is the whole tube, unless they are regrouped."""
    file = tmp_path / "wrist.toml"
    make_case(threads__0__count=31).save(file)
    counts = []
    for options in ((), ("--full",)):
        arguments = ("mesh", file, "-o", tmp_path / "a.msh", "--resolution", "coarse")
        told = run(*arguments, *options).stdout
        counts.append(int(re.search(r"1 x ([0-9]+) x 20 cells", told)[1]))
    sector, whole = counts
    assert sector < whole / 5


def test_materials_are_told_with_constants_and_how_a_case_names_one():
    done = run("materials", env={**os.environ, "COLUMNS": "80"})
    assert done.returncode == 0
    lines = done.stdout.splitlines()
    assert all(len(line) <= 80 for line in lines)
    told = "".join(done.stdout.split())
    for material in materials().values():
        assert material.rubber["law"] in told
    assert "c1=7.50kPa" in told
    assert "[rubber]" in done.stdout
    named = re.search(r'material = "(.+?)"', " ".join(done.stdout.split()))
    assert named and named[1] in materials()


def test_no_equilibrium_at_rest_is_a_sentence_and_no_fault_of_the_input(
    wrist, tmp_path, monkeypatch, capsys
):
    def fail(*_, **__):
        raise ArithmeticError("the threads pull too hard")

    monkeypatch.setattr("fem.solve", fail)
    monkeypatch.setattr(sys, "argv", ["tubewright", "solve", str(wrist), "--out", str(tmp_path)])
    with pytest.raises(SystemExit) as end:
        main()
    assert end.value.code == 3
    told = capsys.readouterr().err
    assert "error: the case has no solution even at rest: the threads pull too hard" in told


@pytest.mark.slow
def test_a_kill_while_forms_compile_spoils_nothing(wrist, tmp_path):
    """DOLFINx takes a half-written form for one that is being compiled, and waits in vain."""
    options = {"env": {**os.environ, "XDG_CACHE_HOME": str(tmp_path / "cache")}}
    arguments = [
        "solve",
        wrist,
        "--model",
        "fe",
        "--resolution",
        "1x1x4",
        "--out",
        tmp_path / "out",
    ]
    process = subprocess.Popen([COMMAND, *map(str, arguments)], **options)
    deadline = time.monotonic() + 60
    orphans = []
    while not orphans and time.monotonic() < deadline:
        sources = (tmp_path / "cache").rglob("*.c")
        orphans = [c for c in sources if not c.with_suffix(".c.cached").exists()]
        time.sleep(0.002)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert orphans, "the kill came too late to test anything"
    assert not orphans[0].with_suffix(".c.cached").exists()
    assert run(*arguments, **options, timeout=120).returncode == 0
