"""The window: keys, text, scale; off screen, and on a screen of Xvfb."""

import os
import shutil
import subprocess
import sys
import time
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from fem.core.errors import InputError
from fem.results.result import Result
from fem.scene.plates import BASE_PLATE
from fem.scene.result_view import result_views
from fem.scene.window import OFF_SCREEN, need_screen
from fem.scene.window.frame import HELP
from fem.scene.window.window import Window
from tests.helpers.messages import assert_states, refused


@pytest.fixture
def window(result):
    opened = Window(result_views(result), "Wrist", off_screen=True)
    yield opened
    opened.plotter.close()


def press(window, key, letter=""):
    """Press a key as a window system reports it to VTK."""
    interactor = window.plotter.iren.interactor
    interactor.SetKeyEventInformation(0, 0, letter or "\0", 0, key)
    interactor.InvokeEvent("KeyPressEvent")  # its own method does nothing without a screen
    interactor.InvokeEvent("CharEvent")


def picture(window):
    return window.plotter.screenshot(return_img=True).astype(int)


# ---------------------------------------------------------------------------------------- steps


def test_it_opens_at_the_last_step_with_its_values(window, result):
    assert window.step == window.last == 2
    for run, actor in zip(result.runs, window.frame.values, strict=True):
        lines = actor.input.split("\n")
        assert lines[1] == f"{run.rows[-1]['twist_deg']:.2f}"
        assert lines[3] == f"{run.rows[-1]['bulge_mm']:.3f}"


@pytest.mark.parametrize(
    ("keys", "step"),
    [
        (["Left"], 1),
        (["Home"], 0),
        (["Home", "Left"], 0),
        (["Home", "Right"], 1),
        (["Right"], 2),
        (["Home", "End"], 2),
    ],
)
def test_keys_step(window, result, keys, step):
    for key in keys:
        press(window, key)
    assert window.step == step
    twist = result.runs[0].rows[step]["twist_deg"]
    assert window.frame.values[0].input.split("\n")[1] == f"{twist:.2f}"


def test_space_plays_to_the_end_and_stops(window):
    press(window, "space", " ")
    assert window.playing
    assert window.step == 0  # it was at the last
    for step in (1, 2):
        window.tick()
        assert window.step == step
    assert not window.playing
    window.tick()
    assert window.step == 2
    press(window, "space", " ")
    press(window, "space", " ")
    assert not window.playing


def test_a_step_changes_the_picture_and_can_be_undone(window):
    last = picture(window)
    press(window, "Home")
    assert (np.abs(picture(window) - last).max(axis=2) > 30).mean() > 0.01
    press(window, "End")
    assert np.array_equal(picture(window), last)


@pytest.mark.parametrize("key", ["c", "s"])
def test_cut_and_shape_at_rest_can_be_switched(window, key):
    before = picture(window)
    press(window, key, key)
    assert (np.abs(picture(window) - before).max(axis=2) > 30).mean() > 0.001
    press(window, key, key)
    assert np.array_equal(picture(window), before)


def test_the_shape_at_rest_is_in_the_legend_only_if_shown(window):
    """It is the lowest sample of the legend, below the colour bars."""

    def lowest_ink():
        shot = picture(window)
        tall, wide = shot.shape[:2]
        legend = shot[int(0.6 * tall) : int(0.9 * tall), int(0.83 * wide) :]
        return np.flatnonzero((legend.min(axis=2) < 200).any(axis=1)).max()

    with_start = lowest_ink()
    press(window, "s", "s")
    assert lowest_ink() < with_start - 20
    press(window, "s", "s")
    assert lowest_ink() == with_start


def boxes(window):
    """Return text and sides (left, right, bottom, top) in pixels of all texts and colour bars."""
    ground, (wide, tall) = window.plotter.renderers[0], window.plotter.window_size
    found = []
    for actor in ground.GetViewProps():
        if actor.IsA("vtkTextActor") and actor.input.strip():
            size = [0.0, 0.0]
            actor.GetSize(ground, size)
            x, y, _ = actor.GetActualPositionCoordinate().GetValue()
            left = x * wide - size[0] / 2 * (actor.prop.justification_horizontal == "center")
            sides = left, left + size[0], y * tall - size[1], y * tall
            found.append((actor.input, sides))
        if actor.IsA("vtkScalarBarActor"):
            (x, y), width, height = actor.GetPosition(), actor.GetWidth(), actor.GetHeight()
            sides = x * wide, (x + width) * wide, y * tall, (y + height) * tall
            found.append(("colour bar", sides))
    return found


@pytest.mark.parametrize("size", [(800, 600), (1280, 800), (1600, 1000)])
@pytest.mark.parametrize("count", [1, 4, 8])
def test_nothing_overlaps_at_any_size_of_the_window(result, size, count):
    several = result_views(result) * 4
    named = [replace(one, name=f"Result {k // 2} of a long name") for k, one in enumerate(several)]
    window = Window(named[:count], "Wrist", off_screen=True, size=size)
    picture(window)
    found = boxes(window)
    slider = (
        window.plotter.widgets.slider_widgets[0]
        .GetRepresentation()
        .GetPoint1Coordinate()
        .GetValue()
    )
    window.plotter.close()
    assert len(found) >= 2 * count + 6 + 2
    for text, (left, right, bottom, top) in found:
        assert 0 <= left < right <= size[0] and 0 <= bottom < top <= size[1], text
        assert not bottom - 3 < slider[1] * size[1] < top + 3, f"{text} on the slider"
    for (one, a), (other, b) in combinations(found, 2):
        apart = a[1] <= b[0] or b[1] <= a[0] or a[3] <= b[2] or b[3] <= a[2]
        assert apart, f"{one!r} on {other!r}"


@pytest.mark.parametrize("key", ["w", "e", "r", "3", "v", "b"])
def test_default_keys_of_vtk_do_nothing(window, key):
    before = picture(window)
    press(window, key, key)
    assert np.array_equal(picture(window), before)


def test_the_key_help_lists_all_keys(window):
    for key in ("space", "c", "s", "f", "p", "q", "+"):
        assert f"{key}  " in HELP or f"{key} " in HELP


def test_one_state_has_no_slider(result):
    short = [Result(result.case, [run]) for run in result.runs]
    rest = [one for some in short for one in result_views(some)]
    only = [type(one)(one.name, one.case, one.model, one.rows[:1], one.shapes[:1]) for one in rest]
    window = Window(only, "Wrist", off_screen=True)
    press(window, "space", " ")
    assert not window.playing
    assert window.last == 0
    window.plotter.close()


# ---------------------------------------------------------------------------------- camera, scale


def test_the_scale_is_true(window, result):
    """The width in pixels of the base plate, the widest part, agrees with its diameter."""
    shot = picture(window)
    tall, wide = shot.shape[:2]
    floor = shot[int(0.5 * tall) : int(0.72 * tall), int(0.14 * wide) : int(0.48 * wide)]
    across = np.flatnonzero((floor.min(axis=2) < 240).any(axis=0))
    diameter = 2 * BASE_PLATE * result.case.tube.outer_radius
    pixels = diameter * window.frame.pixels_to_mm
    assert np.ptp(across) + 1 == pytest.approx(pixels, abs=2)


def test_zoom_keeps_the_scale_bar_true(window):
    near = window.frame.pixels_to_mm
    press(window, "plus", "+")
    assert window.frame.pixels_to_mm == pytest.approx(1.1 * near)
    length, pixels = window.frame.scale_bar
    assert pixels == pytest.approx(length * window.frame.pixels_to_mm)
    press(window, "f", "f")
    assert window.frame.pixels_to_mm == pytest.approx(near)


def test_all_tubes_have_one_camera(window):
    cameras = {id(renderer.camera) for renderer in window.plotter.renderers[1:]}
    assert len(cameras) == 1


# --------------------------------------------------------------------------------------- pictures


def test_a_picture_is_written_with_a_message(window, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    files = [window.save_picture() for _ in range(2)]
    assert [file.name for file in files] == ["view-1.png", "view-2.png"]
    assert all((tmp_path / file).stat().st_size > 10_000 for file in files)
    assert_states(window.frame.message.input, "view-2.png")


# ----------------------------------------------------------------------------------------- screen


@pytest.mark.parametrize("kind", OFF_SCREEN)
def test_without_a_screen_the_message_names_the_other_options(monkeypatch, kind):
    from vtkmodules import vtkRenderingCore

    class Fallback:
        def GetClassName(self):
            return kind

    monkeypatch.setattr(vtkRenderingCore, "vtkRenderWindow", Fallback)
    with refused(InputError, "no screen", "--web", "--png FILE", "--movie FILE"):
        need_screen()


@pytest.fixture
def display():
    """Run a virtual screen."""
    if not (shutil.which("Xvfb") and shutil.which("xdotool")):
        pytest.skip("requires Xvfb and xdotool: apt-get install xvfb xdotool")
    reading, writing = os.pipe()
    options = ["-displayfd", str(writing), "-screen", "0", "1400x900x24", "-nolisten", "tcp"]
    server = subprocess.Popen(["Xvfb", *options], pass_fds=[writing], stderr=subprocess.DEVNULL)
    os.close(writing)
    yield f":{os.read(reading, 20).decode().strip()}"
    os.close(reading)
    server.terminate()
    server.wait()


def test_on_a_screen_it_opens_and_closes_with_its_key(display, result, tmp_path):
    result.save(tmp_path)
    environment = {**os.environ, "DISPLAY": display}
    command = [sys.executable, "-c", "from fem.cli import main; main()", "view", str(tmp_path)]
    window = subprocess.Popen(command, env=environment, stderr=subprocess.PIPE, text=True)
    search = ["xdotool", "search", "--onlyvisible", "--name", result.case.title]
    key = ["xdotool", "mousemove", "500", "400", "key", "q"]
    until = time.monotonic() + 60
    while window.poll() is None and time.monotonic() < until:
        if subprocess.run(search, env=environment, capture_output=True).returncode == 0:
            subprocess.run(key, env=environment)  # repeated until it responds
        time.sleep(0.2)
    window.kill()  # if it still runs
    window.wait()
    assert window.returncode == 0, window.stderr.read()
