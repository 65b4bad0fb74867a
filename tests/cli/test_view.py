"""The command that shows results: its files, and what it says to what it cannot use."""

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
from fem.cli.view import BELONGS
from fem.results.result import Result
from fem.solving.single import solve
from tests.helpers.shown import cut

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
    def call(*words, results=(folder,)):
        return CliRunner().invoke(app, ["view", *map(str, results), *map(str, words)])

    return call


def pixels(file):
    with Image.open(file) as image:
        return np.asarray(image.convert("RGBA")).astype(int)


# --------------------------------------------------------------------------------------- pictures


def test_a_picture_in_dots_per_inch(view, tmp_path):
    for dpi in (60, 120):
        ran = view("--png", tmp_path / f"{dpi}.png", "--dpi", dpi)
        assert ran.exit_code == 0, ran.output
    with Image.open(tmp_path / "60.png") as low, Image.open(tmp_path / "120.png") as high:
        assert high.info["dpi"] == pytest.approx((120, 120), rel=1e-3)
        assert high.size == pytest.approx([2 * side for side in low.size], abs=2)


def test_options_of_a_picture_change_it(view, tmp_path):
    changes = {
        "usual": [],
        "cut": ["--cut"],
        "bare": ["--no-start"],
        "rest": ["--step", "0"],
        "wide": ["--height", "120 mm"],
    }
    for name, words in changes.items():
        ran = view("--png", tmp_path / f"{name}.png", "--dpi", 50, *words)
        assert ran.exit_code == 0, ran.output
    usual = pixels(tmp_path / "usual.png")
    for name in list(changes)[1:]:
        other = pixels(tmp_path / f"{name}.png")
        changed = other.shape != usual.shape or (np.abs(other - usual).max(axis=2) > 30).mean()
        assert changed > 0.001, name


def test_a_clear_ground_laid_on_white_is_the_white_picture(view, tmp_path):
    for name, words in (("white", []), ("clear", ["--transparent"])):
        assert view("--png", tmp_path / f"{name}.png", "--dpi", 60, *words).exit_code == 0
    white, clear = pixels(tmp_path / "white.png"), pixels(tmp_path / "clear.png")
    cover = clear[..., 3:] / 255
    laid = cover * clear[..., :3] + (1 - cover) * 255
    assert clear[0, 0, 3] == 0
    assert (np.abs(laid - white[..., :3]).max(axis=2) > 6).mean() < 1e-3


@pytest.mark.parametrize(("ending", "head"), [("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_other_endings(view, tmp_path, ending, head):
    file = tmp_path / f"wrist.{ending}"
    assert view("--png", file, "--dpi", 60).exit_code == 0
    assert file.read_bytes().startswith(head)
    assert len(file.read_bytes()) > 20_000


def test_a_step_that_some_paths_lack_is_their_last(result, folder, make_case, tmp_path):
    solve(make_case(pressure__steps=1), ["fast"]).save(tmp_path / "short")
    words = ["view", str(folder), str(tmp_path / "short"), "--png", str(tmp_path / "a.png")]
    ran = CliRunner().invoke(app, [*words, "--step", "2", "--dpi", "50"])
    assert ran.exit_code == 0, ran.output


# ------------------------------------------------------------------------------------------ films


@pytest.mark.parametrize("ending", ["mp4", "gif"])
def test_a_film_goes_from_rest_to_the_last_step(view, result, tmp_path, ending):
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


def test_an_mp4_without_its_encoder_lacks_something(view, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    ran = view("--movie", tmp_path / "wrist.mp4")
    assert ran.exit_code == 1
    assert "pip install imageio-ffmpeg" in ran.output
    assert not list(tmp_path.iterdir())


# --------------------------------------------------------------------------------------- bad input


def test_every_option_is_refused_where_it_does_nothing(view):
    ways = {"--web": ["--web"], "--png": ["--png", "a.png"], "--movie": ["--movie", "a.gif"]}
    ways["the window"] = []
    assert set(OPTIONS) == set(BELONGS)
    for option, words in OPTIONS.items():
        for way, way_words in ways.items():
            if way not in BELONGS[option]:
                ran = view(*way_words, *words)
                assert ran.exit_code == 2
                assert f"error: {option}: it goes with " in ran.output


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--web", "--png", "a.png"], "--web and --png: take one of them"),
        (["--png", "a.png", "--movie", "a.gif"], "--png and --movie: take one of them"),
        (["--png", ""], "--png: name a file"),
        (["--movie", ""], "--movie: name a file"),
        (["--png", "a.jpg"], 'a.jpg: unknown ending ".jpg"; allowed: .png, .svg, .pdf'),
        (["--movie", "a.avi"], 'a.avi: unknown ending ".avi"; allowed: .mp4 or .gif'),
        (["--png", "a.png", "--step", "3"], "--step 3: allowed: last, or 0 (rest) to 2"),
        (["--png", "a.png", "--step", "first"], "--step first: allowed: last, or 0 (rest) to 2"),
        (["--png", "a.png", "--height", "90"], '--height "90": the unit is missing'),
        (["--png", "a.png", "--height", "9 kPa"], '--height "9 kPa": this is not a length'),
        (["--png", "a.png", "--height", "-9 mm"], '--height "-9 mm": it must be above 0'),
        (["--png", "a.png", "--height", "20 mm"], "--height 20 mm: the tubes need"),
        (["--png", "a.png", "--height", "1e9 mm"], "--height 1e+09 mm: at most 3000 mm, 50 times"),
        (["--movie", "a.gif", "--height", "4 m"], "--height 4000 mm: at most 3000 mm, 50 times"),
    ],
)
def test_bad_options_are_sentences(view, words, sentence):
    ran = view(*words)
    assert ran.exit_code == 2
    assert f"error: {sentence}" in ran.output


def test_files_that_cannot_be_written(view, tmp_path):
    for words in (["--png", tmp_path / "no" / "a.png"], ["--movie", tmp_path / "no" / "a.gif"]):
        ran = view(*words)
        assert ran.exit_code == 2
        assert ran.output == f"error: {tmp_path / 'no'}: there is no such folder\n"


def test_a_film_of_one_state_is_none(result, tmp_path):
    Result(result.case, [cut(result.runs[0], 0)]).save(tmp_path / "rest")
    ran = CliRunner().invoke(
        app, ["view", str(tmp_path / "rest"), "--movie", str(tmp_path / "a.gif")]
    )
    assert ran.exit_code == 2
    assert "the path has no step beyond its first state" in ran.output


@pytest.mark.parametrize("kept", [True, False])
def test_a_study_says_what_of_it_can_be_seen(view, folder, tmp_path, kept):
    study = tmp_path / "reach"
    study.mkdir()
    (study / "run.json").write_text('{"holds": "study", "format": 1}')
    if kept:
        (study / "shapes").mkdir()
        (study / "shapes" / "3f2a").symlink_to(folder)
    ran = view("--png", "a.png", results=[study])
    assert ran.exit_code == 2
    assert f"error: {study}: this is a study" in ran.output
    assert (str(study / "shapes" / "3f2a") in ran.output) == kept
    assert ("it kept no results" in ran.output) != kept


def test_a_folder_that_is_none(view, tmp_path):
    ran = view("--png", tmp_path / "a.png", results=[tmp_path / "nowhere"])
    assert ran.exit_code == 2
    assert "there is no such folder" in ran.output


def test_without_a_screen_nothing_crashes(folder):
    """In a process of its own: VTK would end it without a word."""
    there = {name: value for name, value in os.environ.items() if name != "DISPLAY"}
    command = [sys.executable, "-c", "from fem.cli import main; main()", "view", str(folder)]
    ran = subprocess.run(command, env=there, capture_output=True, text=True)
    assert ran.returncode == 2
    assert "error: no screen to open a window on" in ran.stderr
    assert "Traceback" not in ran.stderr
