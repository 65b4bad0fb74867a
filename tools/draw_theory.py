"""Draw the pictures of docs/theory.md and docs/numerics.md: `make pictures` runs it.

They are SVG files without a date, so that a picture that has not changed gives the same file.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Arc, Circle, Rectangle

from fem.case.case import Case
from fem.fe.model import FEModel
from fem.solving.single import solve
from fem.threads.helix import Helix

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "docs" / "pictures"
WRIST = ROOT / "cases" / "greenhouse_wrist.toml"

RUBBER, PLATE, GREEN, VIOLET, INK = "#f0e3cc", "#8a8f94", "#1b7f4d", "#7b3fa0", "#222222"
ARROW: dict[str, Any] = {"arrowstyle": "-|>", "color": INK, "lw": 1.2}
RADIUS, LENGTH, ANGLE = 1.0, 3.2, math.radians(30)


def main() -> None:
    """Write the pictures."""
    mpl.rcParams.update({"svg.hashsalt": "tubewright", "font.size": 9, "svg.fonttype": "none"})
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, draw in {"geometry": geometry, "mesh": mesh, "limit_point": limit_point}.items():
        draw().savefig(FOLDER / f"{name}.svg", metadata={"Date": None}, bbox_inches="tight")


def geometry() -> Figure:
    """Return the signs and the geometry: from the side, from the free end, unrolled."""
    figure = Figure(figsize=(8.6, 4.2), facecolor="white")
    side, end, flat = figure.subplots(1, 3, width_ratios=[1.15, 1.1, 1.3])
    for axes in (side, end, flat):
        axes.set_aspect("equal")
        axes.axis("off")
    _side(side)
    _from_free_end(end)
    _unrolled(flat)
    return figure


def _side(axes: Any) -> None:
    axes.set_title("from the side")
    axes.add_patch(Rectangle((-RADIUS, 0), 2 * RADIUS, LENGTH, fc=RUBBER, ec=INK, lw=0.8))
    for foot in (-0.25, LENGTH):
        axes.add_patch(Rectangle((-1.15, foot), 2.3, 0.25, fc=PLATE, ec=INK, lw=0.8))
    z = np.linspace(0, LENGTH, 400)
    rate = Helix(ANGLE, RADIUS, LENGTH).turn_rate
    for start in np.arange(6) * np.pi / 3:
        theta = start + rate * z  # the front is where sin(theta) < 0
        front = np.where(np.sin(theta) < 0, RADIUS * np.cos(theta), np.nan)
        axes.plot(front, z, color=GREEN, lw=1.6)
    axes.text(0, -0.62, "base plate, Z = 0", ha="center")
    axes.text(0, LENGTH + 0.36, "free end, Z = L", ha="center")
    axes.annotate("", (1.45, LENGTH + 0.75), (1.45, LENGTH), arrowprops=ARROW)
    axes.text(1.6, LENGTH + 0.3, "w, Q > 0")
    axes.annotate("", (-1.5, 1.1), (-1.5, 0), arrowprops=ARROW)
    axes.text(-1.46, 1.12, "z")
    axes.set(xlim=(-1.8, 2.5), ylim=(-0.8, LENGTH + 0.9))


def _from_free_end(axes: Any) -> None:
    axes.set_title("from the free end,\nlooking at the base")
    bore = 0.68 * RADIUS
    axes.add_patch(Circle((0, 0), RADIUS, fc=RUBBER, ec=INK, lw=0.8))
    axes.add_patch(Circle((0, 0), bore, fc="white", ec=INK, lw=0.8))
    for azimuth, radius, name in ((170, bore, "A"), (290, RADIUS, "B")):
        tip = radius * np.array([math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth))])
        axes.annotate("", tip, (0, 0), arrowprops=ARROW)
        axes.text(*(0.5 * tip + [0.05, 0.08]), name)
    axes.plot([0, 1.45], [0, 0], color=INK, lw=0.8, ls=(0, (4, 3)))
    axes.plot([0, 1.45 * math.cos(0.87)], [0, 1.45 * math.sin(0.87)], color=GREEN, lw=1.6)
    axes.add_patch(Arc((0, 0), 2.5, 2.5, theta1=0, theta2=44, color=INK, lw=1.2))
    tip = 1.25 * np.array([math.cos(0.86), math.sin(0.86)])
    axes.annotate("", tip, (tip[0] + 0.07, tip[1] - 0.06), arrowprops=ARROW)
    axes.text(1.3, 0.62, "\N{GREEK PHI SYMBOL}, M > 0")
    axes.text(0, -1.45, "pressure P in the bore", ha="center")
    axes.set(xlim=(-1.2, 2.3), ylim=(-1.7, 1.5))


def _unrolled(axes: Any) -> None:
    axes.set_title("outer face unrolled,\nseen from outside")
    width = LENGTH * math.tan(ANGLE)
    axes.add_patch(Rectangle((0, 0), 2.6, LENGTH, fc=RUBBER, ec=INK, lw=0.8))
    axes.plot([0, width], [0, LENGTH], color=GREEN, lw=2)
    axes.add_patch(Arc((0, 0), 2.2, 2.2, theta1=60, theta2=90, color=INK, lw=1.2))
    axes.text(0.2, 1.25, "\N{GREEK SMALL LETTER ALPHA}")
    axes.annotate("", (width, LENGTH + 0.2), (0, LENGTH + 0.2), arrowprops=ARROW)
    axes.text(width / 2, LENGTH + 0.3, "B \N{GREEK CAPITAL LETTER PHI}", ha="center")
    axes.text(1.15, 1.5, "L / cos \N{GREEK SMALL LETTER ALPHA}", color=GREEN)
    axes.annotate("", (-0.2, LENGTH), (-0.2, 0), arrowprops=ARROW)
    axes.text(-0.3, LENGTH / 2, "L", ha="right")
    axes.annotate("", (2.6, -0.2), (0, -0.2), arrowprops=ARROW)
    axes.text(1.3, -0.55, "B \N{GREEK CAPITAL LETTER THETA}", ha="center")
    axes.set(xlim=(-0.7, 2.8), ylim=(-0.7, LENGTH + 0.7))


def mesh() -> Figure:
    """Return one sector of the ready case, unrolled, with the truss elements of its threads."""
    figure = Figure(figsize=(5.6, 3.4), facecolor="white")
    panels = figure.subplots(1, 3)
    for axes, resolution in zip(panels, ("coarse", "standard", "fine"), strict=True):
        _sector(axes, resolution)
    panels[0].set_ylabel("Z (mm)")
    return figure


def _sector(axes: Any, resolution: str, shown: float = 12.0) -> None:
    model = FEModel(Case.load(WRIST), resolution)
    cells, outer, length = model.body.cells, model.case.tube.outer_radius, model.case.tube.length
    width = 2 * math.pi * outer / model.body.sectors
    across, along = np.linspace(0, width, cells.around + 1), np.arange(cells.axial + 1)
    grid = [([s, s], [0, shown]) for s in across]
    grid += [([0, width], [z, z]) for z in along * length / cells.axial if z <= shown]
    _draw_pieces(axes, grid, color="#999999", lw=0.6)
    for family, colour in zip(model.threads, (GREEN, VIOLET), strict=True):
        rate = family.family.helix(model.case.tube).turn_rate
        pieces = []
        for z in family.z[family.z[:, 0] < shown]:
            s = outer * rate * z
            pieces.append((s - width * math.floor(s.mean() / width), z))
        _draw_pieces(axes, pieces, ".-", color=colour, lw=1.6, ms=4)
    names = f"{cells.radial}x{cells.around}x{cells.axial}"
    axes.set_title(f"{resolution}, {names}")
    axes.set(xlabel="B \N{GREEK CAPITAL LETTER THETA} (mm)", ylim=(0, shown), aspect="equal")


def _draw_pieces(axes: Any, pieces: list[Any], *style: str, **kwargs: Any) -> None:
    """Draw straight pieces, pairs of x and y of their ends, as one interrupted line."""
    gap = [np.nan]
    x, y = (np.concatenate([[*piece[k], *gap] for piece in pieces]) for k in (0, 1))
    axes.plot(x, y, *style, **kwargs)


def limit_point() -> Figure:
    """Return pressure against volume of a bare tube, under volume and under pressure control."""
    bare = Case.load(WRIST).data | {"threads": []}
    del bare["pressure"]
    result = solve(Case.parse(bare | {"volume": {"added": "25 mL", "steps": 50}}), "fast")
    steps = result.steps
    volume, pressure = steps.volume_mm3.to_numpy() / 1000, steps.pressure_kPa.to_numpy()
    top = int(pressure.argmax())
    figure = Figure(figsize=(4.6, 2.8), facecolor="white")
    axes = figure.subplots()
    axes.plot(
        volume[: top + 1], pressure[: top + 1], color=GREEN, label="stable under pressure control"
    )
    axes.plot(
        volume[top:],
        pressure[top:],
        color=VIOLET,
        ls="--",
        label="stable under volume control only",
    )
    axes.plot(volume[top], pressure[top], "o", color=INK, label="limit point")
    axes.set(xlabel="enclosed volume V (mL)", ylabel="pressure P (kPa)")
    axes.legend(frameon=False)
    return figure


if __name__ == "__main__":
    main()
