"""The pictures of a result folder."""

from __future__ import annotations

from pathlib import Path

from fem.plots.curves import curves_figure
from fem.plots.layout import save_figures
from fem.results.result import Result
from fem.scene.still.path import draw_shape


def save_pictures(result: Result, folder: Path) -> None:
    """Write curves.png and, where the FE model took part, shape.png into `folder`."""
    save_figures({"curves": curves_figure(result)}, folder, ["curves", "shape"])
    if result.shapes:
        draw_shape(result, folder / "shape.png")
