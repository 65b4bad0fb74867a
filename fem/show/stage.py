"""What the 3D picture shows and where: the poses of the tube, their threads, the layout."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.cm import ScalarMappable
from matplotlib.colors import ListedColormap, Normalize

from fem.arrays import Array
from fem.case import Case
from fem.result import Result
from fem.shape import Shape
from fem.show.render import View, project
from fem.show.solids import BASE_PLATE, FREE_PLATE, PLATE_DEPTH, Lines, polar_points, thread_lines
from fem.show.style import DPI, title_lines, wrap
from fem.thread import ThreadFamily

MINUS = "\N{MINUS SIGN}"

NO_TENSION = 0.01
"""A thread with less tension than this share of the greatest is drawn as one without."""

ROUND_OFF = 1e-12
"""Less tension than this share of a thread's stiffness is round-off."""

KEY_WIDTH = 2.45
"""Width of the column with the keys (in)."""


@dataclass(frozen=True)
class Pose:
    """One of the tubes in the picture.

    Attributes
    ----------
    shape
        The body.
    twist
        Turn of the free end (rad).
    height
        Distance of the plates now (mm).
    caption
        The lines said below it.
    """

    shape: Shape
    twist: float
    height: float
    caption: list[str]


@dataclass(frozen=True)
class Layout:
    """Where things are on the page.

    Attributes
    ----------
    view
        The part of the screen plane that is shown (mm).
    scale
        Millimetres of the screen plane to an inch of the page.
    centres, halves
        Place of each tube's axis and its half width (mm).
    below
        Room below the view (in).
    title
        The lines of the title.
    """

    view: View
    scale: float
    centres: list[float]
    halves: list[float]
    below: float
    title: list[str]

    @property
    def page(self) -> tuple[float, float]:
        """Width and height of the page (in)."""
        width, height = self.view.width / self.scale, self.view.height / self.scale
        return width + KEY_WIDTH, self.below + height + self.head

    @property
    def head(self) -> float:
        """Room above the view for the title (in)."""
        return 0.3 + 0.22 * len(self.title)

    @property
    def pixels(self) -> tuple[int, int]:
        """Width and height of the view (pixels)."""
        return (
            round(self.view.width / self.scale * DPI),
            round(self.view.height / self.scale * DPI),
        )


@dataclass(frozen=True)
class Scene:
    """All that goes into the picture.

    Attributes
    ----------
    case
        The case.
    poses
        The tubes, from left to right.
    lines
        The threads of each.
    layout
        Where things are.
    note
        Why the end of the path is not the one asked for; empty if it is.
    """

    case: Case
    poses: list[Pose]
    lines: list[Lines]
    layout: Layout
    note: str

    @property
    def greatest(self) -> float:
        """The greatest tension (N), the top of the colour bar; 0 for none but round-off."""
        greatest = max(float(lines.tension.max(initial=0.0)) for lines in self.lines)
        stiffest = max((family.stiffness for family in self.case.threads), default=0.0)
        return greatest if greatest > ROUND_OFF * stiffest else 0.0

    @property
    def colours(self) -> ScalarMappable:
        """Colours of tensions: perceptually even, without the yellow that white paper swallows."""
        from matplotlib import colormaps

        shades = ListedColormap(colormaps["viridis_r"](np.linspace(0.1, 1.0, 256)), "tension")
        return ScalarMappable(Normalize(0.0, self.greatest or 1.0), shades)

    def slack(self, number: int) -> np.ndarray[Any, np.dtype[np.bool_]]:
        """Whether each link of a pose is without tension, shape (links,)."""
        least = NO_TENSION * self.greatest if self.greatest else np.inf
        return np.asarray(self.lines[number].tension <= least)


def set_scene(result: Result) -> Scene:
    """Gather what the picture shows: the first and the last shape, or one if there is no more."""
    run = next(run for run in result.runs if run.shapes)
    length = result.case.tube.length
    steps = [0, len(run.shapes) - 1] if len(run.shapes) > 1 else [0]
    poses = [
        Pose(
            run.shapes[step],
            math.radians(row["twist_deg"]),
            length + row["displacement_mm"],
            _caption(row) if step else ["at rest"],
        )
        for step, row in ((step, run.rows[step]) for step in steps)
    ]
    lines = [thread_lines(pose.shape) for pose in poses]
    layout = lay_out(result.case, poses, below=0.9 if run.reason else 0.6)
    return Scene(result.case, poses, lines, layout, run.reason)


def _caption(row: dict[str, Any]) -> list[str]:
    return [
        f"at {figures(row['pressure_kPa'])} kPa: twist {figures(row['twist_deg'])}°,",
        f"displacement {figures(row['displacement_mm'])} mm, bulge {figures(row['bulge_mm'])} mm",
    ]


def figures(number: float) -> str:
    """Return a number in three figures, never with an exponent, round-off as zero."""
    if abs(number) < 5e-4:
        return "0"
    text = f"{number:.3g}" if abs(number) < 999.5 else f"{number:.0f}"
    return text.replace("-", MINUS)


def lay_out(case: Case, poses: Sequence[Pose], below: float) -> Layout:
    """Return the layout: all tubes at one scale, their base plates level, `below` (in) beneath."""
    radius = case.tube.outer_radius
    depth = PLATE_DEPTH * radius
    halves, tops = [], []
    for pose in poses:
        wall = pose.shape.nodes + pose.shape.displacement
        halves.append(max(BASE_PLATE * radius, float(np.hypot(wall[:, 0], wall[:, 1]).max())))
        tops.append(project(_circle(FREE_PLATE * radius, pose.height + depth))[:, 1].max())
    low = float(project(_circle(BASE_PLATE * radius, -depth))[:, 1].min())
    tall, wide = max(tops) - low, 2 * sum(halves)
    scale = max(tall / (5.0 if tall < 4 * wide else 7.0), wide / 5.4)
    panels = [max(2 * half / scale + 1.5, 2.7) * scale for half in halves]
    bottom = low - 0.5 * scale
    keys = 3.2 + sum(family_room(family) for family in case.threads)
    top = max(max(tops) + 0.1 * scale, bottom + (keys - below) * scale)
    edges = np.cumsum([0.0, *panels])
    centres = (edges[:-1] + edges[1:]) / 2
    title = title_lines(case.title, float(edges[-1]) / scale + KEY_WIDTH - 0.5)
    view = View(0.0, float(edges[-1]), bottom, float(top))
    return Layout(view, scale, centres.tolist(), halves, below, title)


def _circle(radius: float, z: float) -> Array:
    """Return points on a circle about the axis, shape (97, 3)."""
    angle = np.linspace(0, 2 * np.pi, 97)
    return polar_points(np.full(97, radius), angle, np.full(97, z))


def family_text(family: ThreadFamily) -> list[str]:
    """Return the lines that name a family, its helix angle and the number of its threads."""
    angle = f"{math.degrees(family.angle):+.3g}".replace("-", MINUS) if family.angle else "0"
    noun = "thread" if family.count == 1 else "threads"
    return wrap(f"{family.name}, {angle}°, {family.count}\N{NO-BREAK SPACE}{noun}", 24)


def family_room(family: ThreadFamily) -> float:
    """Return the height of a family's entry in the keys (in)."""
    return 0.2 + 0.15 * len(family_text(family))
