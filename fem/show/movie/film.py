"""Pictures in a row, written as a film: MP4 by FFmpeg, GIF by Pillow."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

from fem.complaint import InputError

type Picture = np.ndarray[Any, np.dtype[np.uint8]]
"""Shape (height, width, 3); both even, as the usual colour coding of MP4 wants them."""

RATES = {".mp4": 25.0, ".gif": 12.5}
"""Pictures a second by the ending of the file; the times of a GIF go by hundredths of a second."""

QUALITY = 7
"""Of 10, FFmpeg's variable bit rate as imageio-ffmpeg scales it: no blocks show on thin threads."""


SAMPLE = 6
"""Pictures that the colours of a GIF are taken from."""


class NoEncoderError(RuntimeError):
    """What writes MP4 files is not installed."""


def rate(file: Path) -> float:
    """Return the pictures a second of a film, by the ending of its file.

    Raises
    ------
    InputError
        If no film is written with such an ending.
    NoEncoderError
        If it wants a package that is not installed.
    """
    ending = file.suffix.lower()
    if ending not in RATES:
        allowed = " or ".join(RATES)
        raise InputError(f'{file}: unknown ending "{ending}"; allowed: {allowed}')
    if ending == ".mp4":
        _encoder()
    return RATES[ending]


def _encoder() -> Any:
    try:
        import imageio_ffmpeg  # type: ignore[import-untyped]
    except ImportError:
        raise NoEncoderError(
            "an MP4 needs the package imageio-ffmpeg: `.venv/bin/pip install imageio-ffmpeg`; "
            "a GIF does without: --movie FILE.gif"
        ) from None
    return imageio_ffmpeg


def write_film(pictures: Iterable[Picture], file: Path) -> None:
    """Write pictures of equal size, in the order of time, as they come.

    The file appears when it is whole: a film that is broken off leaves what stood there before.

    Raises
    ------
    InputError, NoEncoderError
        See :func:`rate`.
    OSError
        If it cannot be written.
    """
    speed, pictures = rate(file), iter(pictures)
    write = _write_gif if file.suffix.lower() == ".gif" else _write_mp4
    with _beside(file) as part:
        first = next(pictures)
        write(chain([first], pictures), first.shape[1::-1], part, speed)


@contextmanager
def _beside(file: Path) -> Iterator[Path]:
    """Hand out the name of a file to write first; it takes the place of `file` at the end."""
    part = file.with_name(f".{file.stem}.{os.getpid()}{file.suffix}")
    part.touch()  # whether it can be written shows before the work
    try:
        yield part
        part.replace(file)
    finally:
        part.unlink(missing_ok=True)


def _write_mp4(
    pictures: Iterator[Picture], size: tuple[int, int], file: Path, speed: float
) -> None:
    writer = _encoder().write_frames(
        str(file), size, fps=speed, quality=QUALITY, macro_block_size=2, ffmpeg_log_level="error"
    )
    writer.send(None)  # a generator: it starts, then takes the pictures
    try:
        for picture in pictures:
            writer.send(np.ascontiguousarray(picture))
    finally:
        writer.close()


def _write_gif(pictures: Iterator[Picture], _: tuple[int, int], file: Path, speed: float) -> None:
    """Write a GIF whose pictures share one table of colours, taken from a few of them.

    With tables of their own, what stands still would change its colour from picture to picture.
    """
    from PIL import Image

    kept = list(pictures)
    colours = _colours(np.concatenate(kept[:: -(-len(kept) // SAMPLE)]))
    first, *others = [
        Image.fromarray(picture).quantize(palette=colours, dither=Image.Dither.NONE)
        for picture in kept
    ]
    duration = round(1000 / speed)
    first.save(file, save_all=True, append_images=others, duration=duration, loop=0)


def _colours(picture: Picture) -> Any:
    """Return an image that holds the 256 colours to draw a picture with.

    By the square roots of their counts: a ramp of colours, as on a colour bar, is small.
    """
    from PIL import Image

    shades, counts = np.unique(picture.reshape(-1, 3) | 0x03, axis=0, return_counts=True)
    weighed = np.repeat(shades, np.sqrt(counts).astype(int), axis=0)
    return Image.fromarray(weighed[None]).quantize(256, method=Image.Quantize.MEDIANCUT)
