"""What the 3D picture shows and where: the poses of the tube, their threads, the layout."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from matplotlib.cm import ScalarMappable
from matplotlib.colors import ListedColormap, Normalize

from fem.arrays import Array
from fem.case import Case
from fem.result import Result, limit_name
from fem.shape import Shape, polar_points
from fem.show.colours import Scales, scales_of
from fem.show.exhibit import Exhibit, at_rest, exhibits
from fem.show.parts import driven, family_words, moved
from fem.show.plates import BASE_PLATE, FREE_PLATE, PLATE_DEPTH
from fem.show.render import View, project
from fem.show.style import DPI, title_lines, wrap
from fem.thread import ThreadFamily

MINUS = "\N{MINUS SIGN}"

SLACK_SHARE = 0.05
"""A family of which less is taut is named as slack."""

KEY_WIDTH = 2.45
"""Width of the column with the keys (in)."""


@dataclass(frozen=True)
class Pose:
    """One of the tubes in the picture.

    Attributes
    ----------
    step
        Number of the state.
    shape
        The body.
    twist
        Turn of the free end (rad).
    height
        Distance of the plates now (mm).
    caption
        The lines said below it.
    """

    step: int
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
    exhibit
        The path that the poses are of.
    poses
        The tubes, from left to right.
    scales
        What the colours mean; they span what the poses show.
    layout
        Where things are.
    """

    exhibit: Exhibit
    poses: list[Pose]
    scales: Scales
    layout: Layout

    @property
    def case(self) -> Case:
        """The case."""
        return self.exhibit.case

    @property
    def note(self) -> str:
        """Why the end of the path is not the one asked for; empty if it is."""
        return self.exhibit.note

    @property
    def colours(self) -> ScalarMappable | None:
        """Colours of tensions; None where all threads hang slack."""
        scale = self.scales.tension
        if scale is None or all(self._slackest(pose)[1] for pose in self.poses):
            return None
        shades = ListedColormap(scale.colours / 255, "tension")
        return ScalarMappable(Normalize(scale.low, scale.high), shades)

    @property
    def any_slack(self) -> bool:
        """Whether a thread is drawn as one without tension."""
        return any(self._slackest(pose)[0] for pose in self.poses)

    def _slackest(self, pose: Pose) -> tuple[bool, bool]:
        """Return whether any part of a thread is without tension, and whether all are."""
        least = self.scales.least_tension
        slack = [family.tension <= least for family in pose.shape.threads]
        return any(part.any() for part in slack), all(part.all() for part in slack)


def set_scene(result: Result) -> Scene:
    """Gather what the picture shows: the shapes at the beginning and at the end of the path.

    Before a move of the free end that at its beginning is shown as well. What lies beyond the limit
    point that ends a path is not shown.
    """
    exhibit = next(exhibit for exhibit in exhibits(result) if exhibit.model == "fe")
    case, steps = exhibit.case, {0, len(exhibit.rows) - 1}
    if len(moved(exhibit, case)) > 1:
        steps.add(len(driven(exhibit, case)) - 1)
    poses = [
        Pose(
            step,
            exhibit.shapes[step],
            math.radians(row["twist_deg"]),
            case.tube.length + row["displacement_mm"],
            _caption(row, case),
        )
        for step, row in ((step, exhibit.rows[step]) for step in sorted(steps))
    ]
    shown = replace(exhibit, shapes=[pose.shape for pose in poses])
    layout = lay_out(case, poses, below=0.9 if exhibit.note else 0.6)
    return Scene(exhibit, poses, scales_of([shown]), layout)


def _caption(row: dict[str, Any], case: Case) -> list[str]:
    """Return the lines below a tube: where on the path, how it moved, who hangs slack."""
    if at_rest(row):
        return ["at rest"]
    kind = f"{limit_name(row)}," if row["limit"] else "at"
    where = f"{kind} {figures(row['pressure_kPa'])} kPa" if row["step"] else "before inflation"
    slack = [family.name for family in case.threads if row[f"taut.{family.name}"] < SLACK_SHARE]
    return [
        f"{where}: twist {figures(row['twist_deg'])}°,",
        f"displacement {figures(row['displacement_mm'])} mm, bulge {figures(row['bulge_mm'])} mm",
        *wrap(f"slack: {', '.join(slack)}" if slack else "", 40, lines=1),
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
    narrowest = 2.7 if sum(len(pose.caption) > 1 for pose in poses) < 2 else 3.1
    panels = [max(2 * half / scale + 1.5, narrowest) * scale for half in halves]
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
    """Return the lines that describe a family in the key."""
    angle, *others = family_words(family)
    said = [family.name, angle.replace("-", MINUS), *others]
    text = ", ".join(word.replace(" ", "\N{NO-BREAK SPACE}") for word in said)
    return wrap(text, 24)


def family_room(family: ThreadFamily) -> float:
    """Return the height of a family's entry in the keys (in)."""
    return 0.2 + 0.15 * len(family_text(family))
