"""The command `view`: the files it writes, and the input it refuses."""

import os
import subprocess
import sys
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import fem.scene.film.writer as film
from fem.cli import app
from fem.cli.view_options import APPLIES_TO
from fem.results.result import Result
from fem.solving.single import solve
from tests.helpers.messages import assert_states
from tests.helpers.pictures import cut

OPTIONS = {
    "--port": ["--port", "8080"],
    "--browser": ["--no-browser"],
    "--step": ["--step", "1"],
    "--dpi": ["--dpi", "100"],
    "--transparent": ["--transparent"],
    "--height": ["--height", "90 mm"],
    "--seconds": ["--seconds", "2"],
    "--cut": ["--cut"],
    "--start": ["--no-start"],
}


@pytest.fixture(scope="module")
def folder(result, tmp_path_factory):
    place = tmp_path_factory.mktemp("results") / "wrist"
    result.save(place)
    return place


@pytest.fixture
def view(folder):
    def call(*options, results=(folder,)):
        return CliRunner().invoke(app, ["view", *map(str, results), *map(str, options)])

    return call


def pixels(file):
    with Image.open(file) as image:
        return np.asarray(image.convert("RGBA")).astype(int)


# --------------------------------------------------------------------------------------- pictures


def test_dpi_sets_the_size_of_a_picture(view, tmp_path):
    for dpi in (60, 120):
        ran = view("--png", tmp_path / f"{dpi}.png", "--dpi", dpi)
        assert ran.exit_code == 0, ran.output
    with Image.open(tmp_path / "60.png") as low, Image.open(tmp_path / "120.png") as high:
        assert high.info["dpi"] == pytest.approx((120, 120), rel=1e-3)
        assert high.size == pytest.approx([2 * side for side in low.size], abs=2)


def test_each_option_of_a_picture_changes_it(view, tmp_path):
    changes = {
        "usual": [],
        "cut": ["--cut"],
        "bare": ["--no-start"],
        "rest": ["--step", "0"],
        "wide": ["--height", "120 mm"],
    }
    for name, options in changes.items():
        ran = view("--png", tmp_path / f"{name}.png", "--dpi", 50, *options)
        assert ran.exit_code == 0, ran.output
    usual = pixels(tmp_path / "usual.png")
    for name in list(changes)[1:]:
        other = pixels(tmp_path / f"{name}.png")
        changed = other.shape != usual.shape or (np.abs(other - usual).max(axis=2) > 30).mean()
        assert changed > 0.001, name


def test_a_transparent_picture_on_white_equals_the_white_picture(view, tmp_path):
    for name, options in (("white", []), ("clear", ["--transparent"])):
        assert view("--png", tmp_path / f"{name}.png", "--dpi", 60, *options).exit_code == 0
    white, clear = pixels(tmp_path / "white.png"), pixels(tmp_path / "clear.png")
    alpha = clear[..., 3:] / 255
    on_white = alpha * clear[..., :3] + (1 - alpha) * 255
    assert clear[0, 0, 3] == 0
    assert (np.abs(on_white - white[..., :3]).max(axis=2) > 6).mean() < 1e-3


@pytest.mark.parametrize(("ending", "head"), [("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_a_picture_is_written_as_svg_or_pdf(view, tmp_path, ending, head):
    file = tmp_path / f"wrist.{ending}"
    assert view("--png", file, "--dpi", 60).exit_code == 0
    assert file.read_bytes().startswith(head)
    assert len(file.read_bytes()) > 20_000


def test_a_step_beyond_a_shorter_path_shows_its_last(result, folder, make_case, tmp_path):
    solve(make_case(pressure__steps=1), ["fast"]).save(tmp_path / "short")
    arguments = ["view", str(folder), str(tmp_path / "short"), "--png", str(tmp_path / "a.png")]
    ran = CliRunner().invoke(app, [*arguments, "--step", "2", "--dpi", "50"])
    assert ran.exit_code == 0, ran.output


# ------------------------------------------------------------------------------------------ films


@pytest.mark.parametrize("ending", ["mp4", "gif"])
def test_a_film_shows_the_path_from_rest_to_the_last_step(view, result, tmp_path, ending):
    import imageio_ffmpeg

    file = tmp_path / f"wrist.{ending}"
    Result(result.case, result.runs[1:]).save(tmp_path / "fast")
    ran = view("--movie", file, "--seconds", 2, results=[tmp_path / "fast"])
    assert ran.exit_code == 0, ran.output
    reader = imageio_ffmpeg.read_frames(str(file))
    size = next(reader)["size"]
    frames = [np.frombuffer(frame, np.uint8).reshape(*size[::-1], 3) for frame in reader]
    assert len(frames) == pytest.approx(2 * film.RATES[file.suffix], abs=1)
    assert all(side % 2 == 0 for side in size)
    steps = [np.abs(one.astype(int) - other).mean() for one, other in pairwise(frames)]
    assert np.abs(frames[0].astype(int) - frames[-1]).mean() > 3 * max(steps), "no jump"


def test_an_mp4_without_its_encoder_is_refused(view, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    ran = view("--movie", tmp_path / "wrist.mp4")
    assert ran.exit_code == 1
    assert "pip install imageio-ffmpeg" in ran.output
    assert not list(tmp_path.iterdir())


# --------------------------------------------------------------------------------------- bad input


def test_an_option_is_refused_with_an_output_that_ignores_it(view):
    outputs = {"--web": ["--web"], "--png": ["--png", "a.png"], "--movie": ["--movie", "a.gif"]}
    outputs["the window"] = []
    assert set(OPTIONS) == set(APPLIES_TO)
    for option, values in OPTIONS.items():
        for output, chosen in outputs.items():
            if output not in APPLIES_TO[option]:
                ran = view(*chosen, *values)
                assert ran.exit_code == 2
                assert_states(ran.output, f"error: {option}: ", *APPLIES_TO[option])


@pytest.mark.parametrize(
    ("options", "facts"),
    [
        (["--web", "--png", "a.png"], ["--web and --png:"]),
        (["--png", "a.png", "--movie", "a.gif"], ["--png and --movie:"]),
        (["--png", ""], ["--png:"]),
        (["--movie", ""], ["--movie:"]),
        (["--png", "a.jpg"], ["a.jpg:", ".png", ".svg", ".pdf"]),
        (["--movie", "a.avi"], ["a.avi:", ".mp4", ".gif"]),
        (["--png", "a.png", "--step", "3"], ["--step 3:", "last", "0", "to 2"]),
        (["--png", "a.png", "--step", "first"], ["--step first:", "last", "0", "to 2"]),
        (["--png", "a.png", "--height", "90"], ['--height "90":', "unit"]),
        (["--png", "a.png", "--height", "9 kPa"], ['--height "9 kPa":', "length"]),
        (["--png", "a.png", "--height", "-9 mm"], ['--height "-9 mm":', "above 0"]),
        (["--png", "a.png", "--height", "20 mm"], ["--height 20 mm", "69 mm"]),
        (["--png", "a.png", "--height", "1e9 mm"], ["--height 1e+09 mm:", "3000 mm", "50"]),
        (["--movie", "a.gif", "--height", "4 m"], ["--height 4000 mm:", "3000 mm", "50"]),
    ],
)
def test_a_bad_option_is_refused_with_its_value_and_what_is_allowed(view, options, facts):
    ran = view(*options)
    assert ran.exit_code == 2
    assert ran.output.startswith(f"error: {facts[0]}")
    assert_states(ran.output, *facts)


def test_a_file_in_a_missing_folder_is_refused(view, tmp_path):
    for option, name in (("--png", "a.png"), ("--movie", "a.gif")):
        ran = view(option, tmp_path / "no" / name)
        assert ran.exit_code == 2
        assert ran.output.startswith(f"error: {tmp_path / 'no'}: ")
        assert len(ran.output.splitlines()) == 1


def test_a_film_of_one_state_is_refused(result, tmp_path):
    Result(result.case, [cut(result.runs[0], 0)]).save(tmp_path / "rest")
    ran = CliRunner().invoke(
        app, ["view", str(tmp_path / "rest"), "--movie", str(tmp_path / "a.gif")]
    )
    assert ran.exit_code == 2
    assert_states(ran.output, f"error: {tmp_path / 'a.gif'}: ", "path")
    assert not (tmp_path / "a.gif").exists()


@pytest.mark.parametrize("kept", [True, False])
def test_a_study_is_refused_with_the_results_that_it_stores(view, folder, tmp_path, kept):
    study = tmp_path / "reach"
    study.mkdir()
    (study / "run.json").write_text('{"holds": "study", "format": 2}')
    if kept:
        (study / "shapes").mkdir()
        (study / "shapes" / "3f2a").symlink_to(folder)
    ran = view("--png", "a.png", results=[study])
    assert ran.exit_code == 2
    assert_states(ran.output, f"error: {study}: ", "--web")
    assert (str(study / "shapes" / "3f2a") in ran.output) == kept
    assert ("[[shapes]]" in ran.output) != kept


def test_a_missing_result_is_refused(view, tmp_path):
    ran = view("--png", tmp_path / "a.png", results=[tmp_path / "nowhere"])
    assert ran.exit_code == 2
    assert f"error: {tmp_path / 'nowhere'}: " in ran.output


def test_without_a_screen_the_window_is_refused(folder):
    """In a separate process: VTK would end it without a message."""
    variables = {name: value for name, value in os.environ.items() if name != "DISPLAY"}
    command = [sys.executable, "-c", "from fem.cli import main; main()", "view", str(folder)]
    ran = subprocess.run(command, env=variables, capture_output=True, text=True)
    assert ran.returncode == 2
    assert_states(ran.stderr, "error: ", "screen")
    assert "Traceback" not in ran.stderr
