"""The page of the 3D picture: captions, dimensions, names and keys laid over the solids."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure

from fem.arrays import Array
from fem.shape import Shape, polar_points, turned
from fem.show.colours import NO_TENSION
from fem.show.plates import FREE_PLATE, PLATE_DEPTH
from fem.show.render import facing, project
from fem.show.skin import FRONT
from fem.show.stage import KEY_WIDTH, Layout, Pose, Scene, family_room, family_text, figures
from fem.show.style import DPI, GREY, INK, MARK, SLACK, TITLE_SIZE, wrap
from fem.thread import ThreadFamily

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.cm import ScalarMappable

LEAST_TURN = math.radians(4)
"""A smaller turn is not drawn: its arrow would be shorter than its head."""


def compose(scene: Scene, picture: np.ndarray[Any, Any]) -> Figure:
    """Return the page: `picture` of the solids, shape (height, width, 3), and all that is said."""
    layout = scene.layout
    width, height = layout.page
    figure = Figure(figsize=(width, height), dpi=DPI)
    page = figure.add_axes((0, 0, 1, 1), xlim=(0, width), ylim=(0, height), label="page")
    page.axis("off")
    view = layout.view
    stage = figure.add_axes(
        (0, layout.below / height, 1 - KEY_WIDTH / width, view.height / layout.scale / height),
        label="stage",
        xlim=(view.left, view.right),
        ylim=(view.bottom, view.top),
    )
    stage.axis("off")
    # pixel by pixel, so that nothing is resampled; below all that is laid over it
    figure.figimage(picture, 0, round(layout.below * DPI), zorder=-1)
    for number in range(len(scene.poses)):
        _say_pose(stage, page, scene, number)
    _draw_scale_bar(stage, layout)
    _print(page, 0.3, height - 0.2, "\n".join(layout.title), size=TITLE_SIZE, weight="bold")
    if scene.note:
        note = wrap(f"Stopped early: {scene.note}.", int(width * 15), lines=2)
        _print(page, 0.3, 0.1 + 0.15 * len(note), "\n".join(note), size=8.5)
    _draw_keys(figure, page, scene)
    return figure


def _print(axes: Axes, x: float, y: float, text: str, **style: Any) -> None:
    """Print plain text; a dollar sign in it starts no formula."""
    axes.text(x, y, text, **{"va": "top", "color": INK, "parse_math": False, **style})


def _say_pose(stage: Axes, page: Axes, scene: Scene, number: int) -> None:
    """Add what belongs to one tube: caption, length, turn, and the names of the families."""
    layout, pose = scene.layout, scene.poses[number]
    centre = layout.centres[number]
    place = centre / layout.scale, layout.below - 0.02
    _print(page, *place, "\n".join(pose.caption), size=9.5, ha="center")
    _draw_length(stage, layout, number, pose.height)
    if abs(pose.twist) > LEAST_TURN:
        _draw_turn(stage, scene, pose, centre)
    _draw_tags(stage, scene, number)


def _draw_length(stage: Axes, layout: Layout, number: int, height: float) -> None:
    """Draw the distance of the plates as a dimension line to the left of the tube."""
    x = layout.centres[number] - layout.halves[number] - 0.3 * layout.scale
    ends = project(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, height]]))[:, 1]
    tick = 0.05 * layout.scale
    stage.plot([x, x], ends, color=GREY, lw=0.8)
    for end in ends:
        stage.plot([x - tick, x + tick], [end, end], color=GREY, lw=0.8)
    _print(
        stage,
        x - 0.06 * layout.scale,
        float(ends.mean()),
        f"{figures(height)} mm",
        size=8.5,
        rotation=90,
        ha="right",
        va="center",
    )


def _draw_turn(stage: Axes, scene: Scene, pose: Pose, centre: float) -> None:
    """Draw the index mark's place at rest and an arrow from there, a spiral if it turns round."""
    radius = FREE_PLATE * scene.case.tube.outer_radius
    top = pose.height + PLATE_DEPTH * scene.case.tube.outer_radius
    spoke = polar_points(np.array([0.0, radius]), np.full(2, FRONT), np.full(2, top))
    shift = np.array([centre, 0.0])
    stage.plot(*(project(spoke) + shift).T, color=MARK, lw=1.0, ls=(0, (2, 1.5)), gid="rest mark")
    share = np.linspace(0, 1, 30 + int(60 * abs(pose.twist)))
    inner = 0.7 if abs(pose.twist) < 2 * math.pi else 0.35
    bow = radius * (inner + (0.85 - inner) * share)
    arc = project(polar_points(bow, FRONT + pose.twist * share, np.full(len(share), top))) + shift
    stage.plot(*arc.T, color=INK, lw=0.9, gid="turn")
    head = float(np.clip(0.2 * radius / scene.layout.scale * 72, 4, 9))
    arrow = {"arrowstyle": "-|>", "color": INK, "lw": 0.9, "mutation_scale": head}
    stage.annotate("", arc[-1], arc[-2], arrowprops={**arrow, "shrinkA": 0, "shrinkB": 0})


def _draw_tags(stage: Axes, scene: Scene, number: int) -> None:
    """Name the families to the right of a tube, each with a line to one of its threads."""
    layout, families = scene.layout, scene.case.threads
    if not families:
        return
    radius = scene.case.tube.outer_radius
    low = project(np.array([0.0, -radius, 0.0]))[1]
    rim = project(np.array([0.0, -FREE_PLATE * radius, scene.poses[number].height]))[1]
    share = (np.arange(len(families)) + 0.5) / len(families)
    wanted = low + (rim - low) * share
    spots = tag_spots(scene.poses[number].shape, wanted, (low, rim))
    apart = max((rim - low) / len(families), 0.2 * layout.scale)
    heights = wanted.mean() + apart * (np.arange(len(families)) - (len(families) - 1) / 2)
    x = layout.centres[number] + layout.halves[number] + 0.12 * layout.scale
    for family, spot, height in zip(families, spots, heights, strict=True):
        across = spot[0] + layout.centres[number]
        stage.plot([across, x], [spot[1], height], color=INK, lw=0.7)
        stage.plot(across, spot[1], "o", ms=3.2, mfc="white", mec=INK, mew=0.8)
        stage.text(x, height, f" {_short(family.name)}", va="center", size=9, color=INK)


def tag_spots(shape: Shape, wanted: Array, within: tuple[float, float]) -> Array:
    """Return a place on a thread of each family, shape (families, 2), mm on the screen plane.

    They are on the right of the visible half, near the `wanted` heights, shape (families,), but
    inside the range `within`, and clear of the threads of other families.
    """
    middles = [turned(family.ends, shape.sectors).mean(axis=1) for family in shape.threads]
    family = np.repeat(np.arange(len(middles)), [len(some) for some in middles])
    middle = np.concatenate(middles)
    place = project(middle)
    towards = facing(middle * [1, 1, 0] / np.hypot(middle[:, 0], middle[:, 1])[:, None])
    low, high = within
    margin = 0.06 * (high - low)
    open_to_view = (place[:, 1] > low + margin) & (place[:, 1] < high - margin)
    eligible = (towards > 0.45) & (place[:, 0] > 0) & open_to_view
    spots = []
    for number, height in enumerate(wanted):
        mine = family == number
        others = place[~mine & (towards > 0.3)]
        mine = place[mine & eligible if (mine & eligible).any() else mine]
        mine, others = (some[:: 1 + len(some) // 1000] for some in (mine, others))
        clear = np.linalg.norm(mine[:, None] - others, axis=2).min(
            axis=1, initial=0.05 * (high - low)
        )
        spots.append(mine[np.argmin(np.abs(mine[:, 1] - height) - 3 * clear)])
    return np.array(spots)


def _short(name: str, most: int = 9) -> str:
    """Return a name of at most so many characters, cut in its middle if need be."""
    return name if len(name) <= most else f"{name[: most - 4]}…{name[-3:]}"


def _draw_scale_bar(stage: Axes, layout: Layout) -> None:
    """Draw a bar of a round length at the lower left; it is true across the line of sight."""
    power = 10.0 ** math.floor(math.log10(0.9 * layout.scale))
    length = max(step * power for step in (1, 2, 5) if step * power <= 0.9 * layout.scale)
    left = layout.view.left + 0.3 * layout.scale
    y = layout.view.bottom + 0.1 * layout.scale
    stage.plot([left, left + length], [y, y], color=INK, lw=2, solid_capstyle="butt", gid="scale")
    _print(stage, left, y + 0.06 * layout.scale, f"{length:g} mm", size=8.5, va="bottom")


def _draw_keys(figure: Figure, page: Axes, scene: Scene) -> None:
    """Draw the column at the right: families, colour bar, and what the marks mean."""
    width, height = scene.layout.page
    x = width - KEY_WIDTH + 0.25
    y = height - scene.layout.head - 0.05
    y = _draw_families(page, scene.case.threads, x, y)
    colours = scene.colours
    if colours:
        y = _draw_colour_bar(figure, scene, colours, x, y)
    if scene.any_slack:
        words = f"no tension (below\n{NO_TENSION:.0%} of the scale)" if colours else "no tension"
        page.plot([x, x + 0.3], [y - 0.08] * 2, color=SLACK, lw=0.9, ls=(0, (4, 3)))
        _print(page, x + 0.42, y, words, size=8.5)
        y -= 0.42
    page.plot([x, x + 0.3], [y - 0.08] * 2, color=MARK, lw=3, solid_capstyle="butt")
    _print(page, x + 0.42, y, "index marks of the plates", size=8.5)
    if all(abs(pose.twist) <= LEAST_TURN for pose in scene.poses):
        return
    y -= 0.27
    page.plot([x, x + 0.3], [y - 0.08] * 2, color=MARK, lw=1.0, ls=(0, (2, 1.5)))
    _print(page, x + 0.42, y, "free end's mark at rest", size=8.5)


def _draw_families(page: Axes, families: Sequence[ThreadFamily], x: float, y: float) -> float:
    """List the families, a stroke at the helix angle before each; return the height below."""
    if not families:
        _print(page, x, y, "no threads", size=9)
        return y - 0.4
    for family in families:
        sine, cosine = math.sin(family.angle), math.cos(family.angle)
        page.plot(
            [x + 0.15 - 0.13 * sine, x + 0.15 + 0.13 * sine],
            [y - 0.08 - 0.13 * cosine, y - 0.08 + 0.13 * cosine],
            color=INK,
            lw=1.4,
        )
        _print(page, x + 0.42, y, "\n".join(family_text(family)), size=9)
        y -= family_room(family)
    return y - 0.1


def _draw_colour_bar(
    figure: Figure, scene: Scene, colours: ScalarMappable, x: float, y: float
) -> float:
    """Draw the one colour bar; return the height below."""
    width, height = scene.layout.page
    tall = 1.6
    axes = figure.add_axes((x / width, (y - tall) / height, 0.17 / width, tall / height))
    bar = figure.colorbar(colours, cax=axes)
    bar.set_label("thread tension [N]", color=INK, size=9)
    bar.ax.tick_params(labelsize=8.5, colors=INK)
    bar.outline.set_visible(False)
    return y - tall - 0.3
