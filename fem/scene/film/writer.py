"""Pictures written as a film: MP4 by FFmpeg, GIF by Pillow.

All pictures of a GIF share one palette: otherwise the colours of fixed parts would flicker.
They are appended one by one, since Pillow's `save` stores all pictures until the end.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from PIL import GifImagePlugin, Image, ImageChops

from fem.core.atomic_write import in_place_of, need_folder, stream_in_place_of
from fem.core.errors import InputError

type Picture = np.ndarray[Any, np.dtype[np.uint8]]
"""Shape (height, width, 3); both even, as the usual colour coding of MP4 requires."""

RATES = {".mp4": 25.0, ".gif": 12.5}
"""Pictures per second by the ending of the file; times in a GIF are in hundredths of a second."""

QUALITY = 7
"""Of 10, quality of imageio-ffmpeg for FFmpeg's variable bit rate: thin threads have no blocks."""

NEARLY_WHITE = 248
"""Level (of 255) from which a colour of a GIF becomes white, so that the background is white."""

TRAILER = b";"
"""The end of a GIF (CompuServe, GIF89a specification, 1990, section 27)."""

STOPPED = "the film is incomplete; the disk may be full"


class NoEncoderError(RuntimeError):
    """The encoder of MP4 files is not installed."""


def rate(file: Path) -> float:
    """Return the pictures per second of a film, by the ending of its file.

    Raises
    ------
    InputError
        If the ending is unknown.
    NoEncoderError
        If it requires a package that is not installed.
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
            "an MP4 requires the package imageio-ffmpeg: `.venv/bin/pip install imageio-ffmpeg`; "
            "a GIF does not: --movie FILE.gif"
        ) from None
    return imageio_ffmpeg


def check_film(file: Path) -> None:
    """Check, as far as possible before the work, that a film can be written under this name.

    Raises
    ------
    InputError, NoEncoderError
        See :func:`rate`; InputError also if the folder does not exist.
    """
    rate(file)
    need_folder(file)


def write_film(pictures: Iterable[Picture], file: Path, samples: Iterable[Picture] = ()) -> None:
    """Write pictures of equal size, in order of time, as they are drawn.

    The file appears when it is complete: an interrupted film leaves an existing file as it was.

    Parameters
    ----------
    pictures
        The pictures; none is stored.
    file
        File to write.
    samples
        Pictures from which the colours of a GIF are taken, besides the first.

    Raises
    ------
    InputError, NoEncoderError
        See :func:`check_film`.
    OSError
        If it cannot be written.
    """
    check_film(file)
    speed, pictures = rate(file), iter(pictures)
    first = next(pictures)
    everything = chain([first], pictures)
    if file.suffix.lower() == ".gif":
        with stream_in_place_of(file) as stream:
            _write_gif(everything, _palette(chain([first], samples)), stream, round(1000 / speed))
    else:
        with in_place_of(file) as part:
            _write_mp4(everything, first.shape[1::-1], part, speed)


def _write_gif(
    pictures: Iterator[Picture], palette: Image.Image, stream: BinaryIO, duration: int
) -> None:
    """Write pictures in the colours of a palette: the first one, then only what changes."""
    before: Image.Image | None = None
    for picture in map(Image.fromarray, pictures):
        image = picture.quantize(palette=palette, dither=Image.Dither.NONE)
        if before is None:
            stream.writelines(GifImagePlugin.getheader(image, info={"loop": 0})[0])
            box = (0, 0, *image.size)
        else:
            box = ImageChops.difference(picture, before).getbbox() or (0, 0, 1, 1)
        part = image.crop(box)
        stream.writelines(GifImagePlugin.getdata(part, box[:2], duration=duration))
        before = picture
    stream.write(TRAILER)


def _palette(samples: Iterable[Picture]) -> Image.Image:
    """Return an image with the palette of the samples; colours close to white become white.

    Colours are chosen to cover all that occur, not by frequency: the colour bar is small.
    """
    image = Image.fromarray(np.concatenate(list(samples)))
    image = image.quantize(256, method=Image.Quantize.MAXCOVERAGE)
    colours = np.reshape(image.getpalette() or [], (-1, 3))
    colours[(colours >= NEARLY_WHITE).all(axis=1)] = 255
    image.putpalette(colours.ravel().tolist())
    return image


def _write_mp4(
    pictures: Iterator[Picture], size: tuple[int, int], file: Path, speed: float
) -> None:
    writer = _encoder().write_frames(
        str(file), size, fps=speed, quality=QUALITY, macro_block_size=2, ffmpeg_log_level="quiet"
    )
    writer.send(None)  # start the generator
    count = 0
    try:
        for count, picture in enumerate(pictures, start=1):  # noqa: B007 (the last number)
            _send(writer, np.ascontiguousarray(picture))
    finally:
        writer.close()
    if _frames(file) != count:
        raise OSError(STOPPED)


def _send(writer: Any, picture: Picture) -> None:
    """Send a picture to FFmpeg; its own error message would be its complete command."""
    try:
        writer.send(picture)
    except OSError:
        raise OSError(STOPPED) from None


def _frames(file: Path) -> int:
    """Return the number of pictures in a film: FFmpeg reports no error on a full disk."""
    try:
        return int(_encoder().count_frames_and_secs(file)[0])
    except RuntimeError:
        return 0
