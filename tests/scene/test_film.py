"""Films: states between steps, and the files, read by other libraries."""

import builtins
import math
import weakref
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from fem.core.errors import InputError
from fem.quantities.shape import Shape, ThreadCurves
from fem.scene.film.between import shape_between
from fem.scene.film.film import BETWEEN, film_page, solved_row, state_at
from fem.scene.film.writer import NoEncoderError, rate, write_film
from fem.scene.result_view import result_views
from fem.scene.still.legend import SAMPLES
from tests.helpers.messages import refused

LENGTH = 60.0


def tube(turn, widening=0.0, lift=0.0, tension=0.0):
    """Return a ring of nodes and a thread in it, twisted by up to `turn` at the free end."""
    angle, height = np.meshgrid(np.linspace(0, 6, 7), np.linspace(0, LENGTH, 11))

    def place(radius, angle, height):
        return np.stack([radius * np.cos(angle), radius * np.sin(angle), height], axis=-1)

    rest = place(5.0, angle, height).reshape(-1, 3)
    share = height / LENGTH
    now = place(5.0 + widening, angle + turn * share, height + lift * share).reshape(-1, 3)
    ends = [np.stack([points[:-1], points[1:]], axis=1) for points in (rest, now)]
    threads = [ThreadCurves("A", *ends, tension=np.full(len(rest) - 1, tension))]
    return Shape(0.0, 1, rest, now - rest, np.empty((0, 27), int), np.ones(0), threads)


# ----------------------------------------------------------------------------- between the steps


@pytest.mark.parametrize("turn", [0.3, -2.0, 3.2, -7.0, 20.0])
@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 1.0])
def test_a_tube_between_two_twisted_tubes_is_twisted(turn, share):
    """Also for more than half a turn and several turns; no outside source: closed form."""
    before, after = tube(0.4), tube(0.4 + turn, widening=2.0, lift=-6.0, tension=3.0)
    found = shape_between(before, after, share, turn, LENGTH)
    expected = tube(0.4 + share * turn, 2.0 * share, -6.0 * share, 3.0 * share)
    assert found.displacement == pytest.approx(expected.displacement, abs=1e-9)
    assert found.threads[0].ends == pytest.approx(expected.threads[0].ends, abs=1e-9)
    assert found.threads[0].tension == pytest.approx(expected.threads[0].tension)


def test_a_point_may_deviate_from_the_twist_by_less_than_half_a_turn():
    before, after = tube(0.0), tube(0.0)
    after = replace(after, displacement=tube(3.0).displacement)
    halfway = shape_between(before, after, 0.5, 0.0, LENGTH)
    assert halfway.displacement == pytest.approx(tube(1.5).displacement, abs=1e-9)


def test_the_free_end_between_two_steps(result):
    """Halfway the motion is the mean of both; no outside source: closed form."""
    fe, _ = result_views(result)
    row, shape = state_at(fe, 1.5)
    for name in ("twist_deg", "displacement_mm"):
        assert row[name] == pytest.approx((fe.rows[1][name] + fe.rows[2][name]) / 2)
    assert shape.pressure == pytest.approx((fe.shapes[1].pressure + fe.shapes[2].pressure) / 2)
    for moment in (2.0, 7.0):
        assert state_at(fe, moment)[0]["twist_deg"] == pytest.approx(fe.rows[2]["twist_deg"])


# ----------------------------------------------------------------------------------------- files


def pictures(count):
    """Yield grey pictures, each lighter than the last."""
    for number in range(count):
        yield np.full((48, 64, 3), 40 + 20 * number, dtype=np.uint8)


def test_an_mp4_read_by_ffmpeg(tmp_path):
    import imageio_ffmpeg

    write_film(pictures(8), tmp_path / "film.mp4")
    reader = imageio_ffmpeg.read_frames(str(tmp_path / "film.mp4"))
    properties = next(reader)
    assert properties["size"] == (64, 48)
    assert properties["fps"] == rate(tmp_path / "film.mp4")
    greys = [np.frombuffer(picture, np.uint8).mean() for picture in reader]
    assert greys == pytest.approx([40 + 20 * number for number in range(8)], abs=3)


def test_a_gif_read_by_pillow(tmp_path):
    write_film(pictures(5), tmp_path / "film.gif", samples=pictures(5))
    with Image.open(tmp_path / "film.gif") as film:
        assert film.n_frames == 5
        assert film.size == (64, 48)
        assert film.info["loop"] == 0
        assert film.info["duration"] == 1000 / rate(tmp_path / "film.gif")
        film.seek(4)
        assert np.asarray(film.convert("L")).mean() == pytest.approx(120, abs=3)


def test_a_gif_keeps_white_and_the_order_of_a_ramp(tmp_path):
    """The picture has far more colours than a GIF: a cream background, and a small ramp."""
    cream = np.random.default_rng(1).integers(225, 254, (100, 100, 3), dtype=np.uint8)
    cream[:, :50] = 255
    cream[40:60, 60:70] = np.linspace(0, 250, 20)[:, None, None]
    write_film([cream, cream], tmp_path / "film.gif")
    with Image.open(tmp_path / "film.gif") as film:
        shown = np.asarray(film.convert("RGB")).astype(int)
    assert (shown[:, :50] == 255).all()
    ramp = shown[40:60, 65].mean(axis=1)
    assert (np.diff(ramp) >= 0).all()
    assert len(set(ramp.tolist())) > 10


@pytest.mark.parametrize("ending", ["mp4", "gif"])
def test_an_interrupted_film_leaves_an_existing_file(tmp_path, ending):
    file = tmp_path / f"film.{ending}"
    file.write_text("old")

    def interrupted():
        yield from pictures(3)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_film(interrupted(), file)
    assert file.read_text() == "old"
    assert list(tmp_path.iterdir()) == [file]


def test_an_unknown_ending_is_refused(tmp_path):
    with refused(InputError, '".avi"', ".mp4 or .gif"):
        write_film(pictures(1), tmp_path / "film.avi")


@pytest.mark.parametrize("ending", ["mp4", "gif"])
def test_a_missing_folder_is_refused(tmp_path, ending):
    """The check is before any picture is drawn."""
    file = tmp_path / "nowhere" / f"film.{ending}"

    def never():
        raise AssertionError
        yield

    with refused(InputError, f"{file.parent}: "):
        write_film(never(), file)


def test_a_folder_without_permission_is_an_error(tmp_path, monkeypatch):
    """The error names the film, not the temporary file."""

    def refuse(self, *_, **__):
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr("pathlib.Path.touch", refuse)
    with pytest.raises(OSError) as caught:
        write_film(pictures(1), tmp_path / "film.mp4")
    assert caught.value.filename == str(tmp_path / "film.mp4")


def test_a_gif_stores_no_pictures(tmp_path):
    """Only a few pictures exist at a time, for any length."""
    alive, most = weakref.WeakSet(), 0

    def watched():
        nonlocal most
        for number in range(40):
            picture = np.full((100, 100, 3), 5 * number, dtype=np.uint8).view(Watched)
            alive.add(picture)
            most = max(most, len(alive))
            yield picture
            del picture

    write_film(watched(), tmp_path / "film.gif")
    assert most <= 3
    with Image.open(tmp_path / "film.gif") as film:
        assert film.n_frames == 40


class Watched(np.ndarray):
    """A hashable picture, equal only to itself."""

    __hash__ = object.__hash__


def test_a_gif_changes_only_where_its_pictures_change(tmp_path):
    """A spot moves on a fixed background; read by Pillow."""
    frames = np.full((4, 60, 80, 3), 200, dtype=np.uint8)
    for number, frame in enumerate(frames):
        frame[10 * number : 10 * number + 8, 15 * number : 15 * number + 12] = 20
    frames[3] = frames[2]
    write_film(frames, tmp_path / "film.gif")
    with Image.open(tmp_path / "film.gif") as film:
        for number, frame in enumerate(frames):
            film.seek(number)
            shown = np.asarray(film.convert("RGB")).astype(int)
            assert np.abs(shown - frame).max() <= 4
        assert film.n_frames == 4


def test_values_are_those_of_the_nearest_solved_step(result):
    fe, _ = result_views(result)
    found = [solved_row(fe, moment) for moment in (0.0, 0.4, 0.6, 1.49, 1.51, 2.0, 7.0)]
    assert found == [fe.rows[step] for step in (0, 0, 1, 1, 2, 2, 2)]


def test_a_film_has_a_note_on_interpolation_and_a_complete_legend(result):
    layout = film_page(result_views(result)).layout
    assert " ".join(layout.notes).endswith(BETWEEN)
    assert set(layout.legend.samples) == set(SAMPLES)  # of all its states


def test_without_the_encoder_the_message_names_the_package(tmp_path, monkeypatch):
    find = builtins.__import__

    def without_encoder(name, *rest, **more):
        if name == "imageio_ffmpeg":
            raise ImportError(name)
        return find(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without_encoder)
    with pytest.raises(NoEncoderError, match="pip install imageio-ffmpeg"):
        write_film(pictures(1), tmp_path / "film.mp4")
    write_film(pictures(1), tmp_path / "film.gif")
    assert math.isclose(rate(tmp_path / "film.gif"), 12.5)
