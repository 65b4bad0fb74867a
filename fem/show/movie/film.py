"""Pictures in a row, written as a film: MP4 by FFmpeg, GIF by Pillow."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

from fem.arrays import Index
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
        import imageio_ffmpeg
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
    palette, number = _palette(_cells(np.concatenate(kept[:: -(-len(kept) // SAMPLE)])))
    images = [Image.fromarray(number[_cells(picture)]) for picture in kept]
    for image in images:
        image.putpalette(palette.tobytes())
    first, *others = images
    duration = round(1000 / speed)
    first.save(file, save_all=True, append_images=others, duration=duration, loop=0)


def _cells(picture: Picture) -> Index:
    """Return the numbers of the cells that colours fall into, 64 along red, green and blue."""
    return np.asarray((picture >> 2) @ np.array([1 << 12, 1 << 6, 1], dtype=np.int32))


def _palette(cells: Index) -> tuple[Picture, Picture]:
    """Return 256 colours for pictures that have these cells, and the number of one for each cell.

    They go by the square roots of the counts, since a ramp, as on a colour bar, is small. White is
    the last of them, and stays white.
    """
    from PIL import Image
    from scipy.spatial import KDTree

    every = np.arange(1 << 18)
    shades = 4 * np.stack([every >> 12, every >> 6 & 63, every & 63], axis=-1) + 2
    weights = np.sqrt(np.bincount(cells.ravel(), minlength=len(every))).astype(int)
    weighed = np.repeat(shades, weights, axis=0)[None].astype(np.uint8)
    found = Image.fromarray(weighed).quantize(255, method=Image.Quantize.MEDIANCUT)
    palette = np.full((256, 3), 255, dtype=np.uint8)
    found_colours = np.array(found.getpalette(), dtype=np.uint8).reshape(-1, 3)[:255]
    palette[: len(found_colours)] = found_colours
    number = KDTree(palette).query(shades)[1]
    number[-1] = 255
    return palette, number.astype(np.uint8)
