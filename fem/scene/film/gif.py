"""A GIF written picture by picture, all with one table of colours.

With tables of their own, what stands still would change its colour from picture to picture. Pillow
compresses each picture and makes the headers; its `save` would keep all pictures until the end.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from fem.core.arrays import Index

type Picture = np.ndarray[Any, np.dtype[np.uint8]]
"""Shape (height, width, 3); both even, as the usual colour coding of MP4 wants them."""

CELLS = 1 << 18
"""Cells that colours fall into, 64 along red, green and blue."""

TRAILER = b";"
"""What ends a GIF (CompuServe, GIF89a specification, 1990, section 27)."""


def write_gif(
    pictures: Iterable[Picture], samples: Iterable[Picture], file: Path, speed: float
) -> None:
    """Write pictures, so many a second, in the colours of samples; none is kept."""
    palette, number = _palette(samples)
    with file.open("wb") as stream:
        before: Picture | None = None
        for picture in pictures:
            numbers = number[_cells(picture)]
            _append(stream, numbers, before, palette, round(1000 / speed))
            before = numbers
        stream.write(TRAILER)


def _append(
    stream: BinaryIO, numbers: Picture, before: Picture | None, palette: Picture, duration: int
) -> None:
    """Append numbers of colours, shape (height, width): of all, or where they have changed."""
    from PIL import GifImagePlugin, Image

    rows, columns = (slice(0, size) for size in numbers.shape)
    if before is not None:
        rows, columns = _changed(numbers != before)
    image = Image.fromarray(numbers[rows, columns])
    image.putpalette(palette.tobytes())
    if before is None:
        header, _ = GifImagePlugin.getheader(image, info={"loop": 0})
        stream.writelines(header)
    corner = columns.start, rows.start
    stream.writelines(GifImagePlugin.getdata(image, corner, duration=duration))


def _changed(differs: np.ndarray[Any, np.dtype[np.bool_]]) -> tuple[slice, slice]:
    """Return the rows and columns that hold all that differs; one pixel where nothing does."""
    found = [np.flatnonzero(differs.any(axis=axis)) for axis in (1, 0)]
    if not found[0].size:
        return slice(0, 1), slice(0, 1)
    rows, columns = (slice(int(at[0]), int(at[-1]) + 1) for at in found)
    return rows, columns


def _cells(picture: Picture) -> Index:
    """Return the numbers of the cells that colours fall into."""
    return np.asarray((picture >> 2) @ np.array([1 << 12, 1 << 6, 1], dtype=np.int32))


def _palette(samples: Iterable[Picture]) -> tuple[Picture, Picture]:
    """Return 256 colours for pictures like the samples, and the number of one for each cell.

    They go by the square roots of the counts, since a ramp, as on a colour bar, is small. White is
    the last of them, and stays white.
    """
    from PIL import Image
    from scipy.spatial import KDTree

    counts = np.zeros(CELLS, dtype=int)
    for sample in samples:
        counts += np.bincount(_cells(sample).ravel(), minlength=CELLS)
    every = np.arange(CELLS)
    shades = 4 * np.stack([every >> 12, every >> 6 & 63, every & 63], axis=-1) + 2
    weighed = np.repeat(shades, np.sqrt(counts).astype(int), axis=0)[None].astype(np.uint8)
    found = Image.fromarray(weighed).quantize(255, method=Image.Quantize.MEDIANCUT)
    palette = np.full((256, 3), 255, dtype=np.uint8)
    found_colours = np.array(found.getpalette(), dtype=np.uint8).reshape(-1, 3)[:255]
    palette[: len(found_colours)] = found_colours
    number = KDTree(palette).query(shades)[1]
    number[-1] = 255
    return palette, number.astype(np.uint8)
