"""The page of the 3D picture: captions, dimensions, names and keys laid over the solids."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure

from fem.arrays import Array
from fem.shape import Shape, turned
from fem.show.colours import NO_TENSION
from fem.show.marks import LEAST_TURN, draw_families, draw_length, draw_turn, round_length
from fem.show.plates import FREE_PLATE
from fem.show.render import facing, project
from fem.show.stage import KEY_WIDTH, Layout, Scene, figures
from fem.show.style import DPI, INK, MARK, SLACK, TITLE_SIZE, shortened, wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.cm import ScalarMappable


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
    beside = centre - layout.halves[number] - 0.3 * layout.scale
    draw_length(stage, beside, pose.height, layout.scale, f"{figures(pose.height)} mm")
    draw_turn(stage, centre, scene.case.tube, pose.height, pose.twist, layout.scale)
    _draw_tags(stage, scene, number)


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
        stage.text(x, height, f" {shortened(family.name)}", va="center", size=9, color=INK)


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


def _draw_scale_bar(stage: Axes, layout: Layout) -> None:
    """Draw a bar of a round length at the lower left; it is true across the line of sight."""
    length = round_length(0.9 * layout.scale)
    left = layout.view.left + 0.3 * layout.scale
    y = layout.view.bottom + 0.1 * layout.scale
    stage.plot([left, left + length], [y, y], color=INK, lw=2, solid_capstyle="butt", gid="scale")
    _print(stage, left, y + 0.06 * layout.scale, f"{length:g} mm", size=8.5, va="bottom")


def _draw_keys(figure: Figure, page: Axes, scene: Scene) -> None:
    """Draw the column at the right: families, colour bar, and what the marks mean."""
    width, height = scene.layout.page
    x = width - KEY_WIDTH + 0.25
    y = height - scene.layout.head - 0.05
    y = draw_families(page, scene.case.threads, x, y)
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
