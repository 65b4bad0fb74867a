"""The command as a user runs it: its exit codes, messages and files."""

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fem.cli import main
from fem.cli.app import CAUTION, make_folder
from fem.core.errors import InputError
from fem.quantities.column import MESH_ERROR
from fem.results.result import Result
from fem.rubber.library import materials
from fem.solving.single import solve
from fem.wording.termination import PURPOSES, SOLVED_HOW, outcome
from tests.helpers.messages import assert_states, refused

COMMAND = Path(sys.executable).with_name("tubewright")


def run(*arguments, **options):
    done = subprocess.run(
        [COMMAND, *map(str, arguments)], capture_output=True, text=True, check=False, **options
    )
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture(autouse=True)
def _own_sigterm():
    """Restore the handler of SIGTERM, which `main` sets."""
    handler = signal.getsignal(signal.SIGTERM)
    yield
    signal.signal(signal.SIGTERM, handler)


@pytest.fixture(scope="module")
def wrist(cases_folder):
    return cases_folder / "greenhouse_wrist.toml"


def test_solve_writes_its_folder_and_prints_a_caution(wrist, tmp_path):
    done = run("solve", wrist, "--model", "fast", "--out", tmp_path / "out")
    assert done.returncode == 0
    assert {"steps.csv", "run.json", "curves.png"} == {p.name for p in (tmp_path / "out").iterdir()}
    assert CAUTION in done.stdout


def test_a_pressure_above_the_balloon_limit_keeps_the_states_found(make_case, tmp_path):
    file = tmp_path / "bare.toml"
    make_case(threads=[], pressure__end="20 kPa").save(file)
    done = run("solve", file, "--model", "fast", "--out", tmp_path / "out")
    assert done.returncode == 3
    assert "balloon limit at 11.8 kPa" in done.stdout
    assert (tmp_path / "out" / "steps.csv").exists()


def test_bad_input_is_refused_with_exit_code_2(wrist, tmp_path):
    file = tmp_path / "file"
    file.touch()
    for arguments, *facts in [
        (("solve", tmp_path / "none.toml"), str(tmp_path / "none.toml")),
        (("solve", wrist, "--out", file), str(file)),
        (("solve", wrist, "--out", file / "below"), str(file / "below")),
        (
            ("solve", wrist, "--model", "fast", "--mesh-error"),
            "--mesh-error:",
            "fast",
            "fe",
            "both",
        ),
        (("mesh", wrist, "-o", tmp_path / "a.stl"), "a.stl", ".msh", ".vtu", ".vtk"),
        (("mesh", wrist, "-o", tmp_path / "a.msh", "--resolution", "0x0x0"), "0x0x0", "1 to 9999"),
    ]:
        done = run(*arguments)
        assert done.returncode == 2, arguments
        assert_states(done.stderr, "error: ", *facts)


def test_a_read_only_folder_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)
    with refused(InputError, str(tmp_path), "permission"):
        make_folder(tmp_path)


@pytest.mark.parametrize("name", ["a.msh", "b.vtu", "c.vtk", "D.VTU"])
def test_mesh_writes_the_formats_of_other_programs(wrist, tmp_path, name):
    done = run("mesh", wrist, "-o", tmp_path / name, "--resolution", "1x1x2")
    assert done.returncode == 0
    assert done.stdout.strip().startswith(str(tmp_path / name))
    assert (tmp_path / name).stat().st_size > 0


def test_the_output_states_where_slack_threads_tighten(cases_folder, tmp_path):
    done = run(
        "solve", cases_folder / "seedling_lifter.toml", "--model", "fast", "--out", tmp_path / "out"
    )
    assert done.returncode == 0
    for name in ("right", "left"):
        assert re.search(rf"threads {name}: taut from 1[0-9.]+ kPa", done.stdout)


def test_mesh_error_is_shown_and_written(make_case, tmp_path):
    file = tmp_path / "wrist.toml"
    make_case(pressure__steps=1).save(file)
    arguments = ("solve", file, "--model", "fe", "--resolution", "1x1x4", "--out", tmp_path / "out")
    done = run(*arguments, "--mesh-error", timeout=120)
    assert done.returncode == 0
    solve = SOLVED_HOW[MESH_ERROR]
    assert re.search(rf"^{PURPOSES[MESH_ERROR]}: .* {solve}$", done.stderr, re.MULTILINE)
    assert re.search(rf"FE model {solve} .* 1/1", done.stderr)
    assert "±" in done.stdout
    assert "twist_deg.mesh_error" in (tmp_path / "out" / "steps.csv").read_text(encoding="utf-8")
    again = run(*arguments)
    assert again.returncode == 2
    assert_states(again.stderr, str(tmp_path / "out"), "fe.mesh_error", "--overwrite")
    plain = run(*arguments, "--overwrite", timeout=120)
    assert plain.returncode == 0
    assert solve not in plain.stderr
    assert "±" not in plain.stdout


def test_an_interrupted_additional_solve_is_reported(make_case, tmp_path, monkeypatch, capsys):
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
    shown = " ".join(capsys.readouterr().out.split())
    assert_states(shown, f"{PURPOSES[MESH_ERROR]}: ", SOLVED_HOW[MESH_ERROR], "interrupted")
    (run,) = (run for run in Result.load(out).runs if run.model == "fe")
    assert f"FE: {outcome(run)}" in shown and "nan" not in shown
    assert len((out / "steps.csv").read_text(encoding="utf-8").splitlines()) == 3


def test_mesh_writes_the_coarse_mesh_that_solve_uses(make_case, tmp_path):
    """With 31 and 12 threads a sector is the whole tube, unless they are regrouped."""
    file = tmp_path / "wrist.toml"
    make_case(threads__0__count=31).save(file)
    counts = []
    for options in ((), ("--full",)):
        arguments = ("mesh", file, "-o", tmp_path / "a.msh", "--resolution", "coarse")
        shown = run(*arguments, *options).stdout
        counts.append(int(re.search(r"1 x ([0-9]+) x 20 cells", shown)[1]))
    sector, whole = counts
    assert sector < whole / 5


def test_materials_lists_constants_and_how_a_case_names_one():
    done = run("materials", env={**os.environ, "COLUMNS": "80"})
    assert done.returncode == 0
    lines = done.stdout.splitlines()
    assert all(len(line) <= 80 for line in lines)
    shown = "".join(done.stdout.split())
    for material in materials().values():
        assert material.rubber["law"] in shown
    assert "c1=7.50kPa" in shown
    assert "[rubber]" in done.stdout
    named = re.search(r'material = "(.+?)"', " ".join(done.stdout.split()))
    assert named and named[1] in materials()


def test_no_equilibrium_at_rest_has_exit_code_3(wrist, tmp_path, monkeypatch, capsys):
    def fail(*_, **__):
        raise ArithmeticError("singular")

    monkeypatch.setattr("fem.solve", fail)
    monkeypatch.setattr(sys, "argv", ["tubewright", "solve", str(wrist), "--out", str(tmp_path)])
    with pytest.raises(SystemExit) as end:
        main()
    assert end.value.code == 3
    assert_states(capsys.readouterr().err, "error: ", "at rest", "singular")


@pytest.mark.slow
def test_a_kill_while_forms_compile_does_not_block_the_next_run(wrist, tmp_path):
    """DOLFINx takes a half-written form for one being compiled, and waits until it fails."""
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
    assert orphans, "killed too late"
    assert not orphans[0].with_suffix(".c.cached").exists()
    assert run(*arguments, **options, timeout=120).returncode == 0


def test_dry_run_of_a_study_counts_and_writes_nothing(wrist, tmp_path):
    file = tmp_path / "one.study.toml"
    vary = '[[vary]]\nfield = "threads.A.angle"\nvalues = ["10 deg"]\n'
    file.write_text(f'title = "One"\ncase = "{wrist}"\n{vary}')
    done = run("study", file, "--dry-run", "--workers", "1", cwd=tmp_path)
    assert done.returncode == 0
    assert_states(done.stdout, "1 case,", "1 curve ", "5 steps", "MB", "1 worker;")
    assert [*tmp_path.iterdir()] == [file]
