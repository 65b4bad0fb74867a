"""The pictures of a result folder."""

from __future__ import annotations

from pathlib import Path

from fem.plots.curves import draw_curves
from fem.results.result import Result
from fem.scene.still.path import draw_shape


def save_pictures(result: Result, folder: Path) -> None:
    """Write curves.png and, where the FE model took part, shape.png into `folder`."""
    draw_curves(result, folder / "curves.png")
    picture = folder / "shape.png"
    picture.unlink(missing_ok=True)  # an older one would show another result
    if result.shapes:
        draw_shape(result, picture)
