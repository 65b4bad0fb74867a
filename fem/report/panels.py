"""The curves of a result, one picture per panel, so that panels are stacked on a narrow page."""

from __future__ import annotations

from typing import NamedTuple

from markupsafe import Markup
from matplotlib import rc_context
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from fem.plots.curves import legend_entries, notes_on, plot_panel
from fem.plots.panels import PathSection, path_sections
from fem.plots.style import STYLE
from fem.quantities.column import named
from fem.report.pictures import Picture, picture
from fem.results.result import Result

SIZE = 3.45, 3.0
"""Width and height of a panel's picture (in): three fit side by side on a wide page."""

SAMPLE = 0.46, 0.2
"""Width and height of a line sample (in)."""


class Row(NamedTuple):
    """The panels of one part of the path, under a heading that names its load."""

    heading: str
    pictures: list[Picture]


def panel_rows(result: Result) -> list[Row]:
    """Return the curves, one row per part of the path."""
    return [
        Row(section.heading, [_drawn(result, section, y) for y in section.ys])
        for section in path_sections(result.case, result.runs)
    ]


def legend(result: Result) -> list[tuple[Markup, str]]:
    """Return samples of the lines and marks of the curves, with their labels."""
    return [(_sample(artist), label) for label, artist in legend_entries(result).items()]


def notes(result: Result) -> list[str]:
    """Return notes on the curves: why runs ended early, signs of end loads."""
    sections = path_sections(result.case, result.runs)
    return [note.replace("\n", " ") for note in notes_on(result, sections)]


def _drawn(result: Result, section: PathSection, y: str) -> Picture:
    with rc_context(STYLE):
        figure = Figure(figsize=SIZE, layout="constrained")
        plot_panel(figure.subplots(), section, y, result)
    labels = [named(name).quantity.label for name in (y, section.x)]
    return picture(figure, " against ".join(labels))


def _sample(artist: Artist) -> Markup:
    """Return a short piece of a line with its mark; the label beside it is its description."""
    figure = Figure(figsize=SAMPLE)
    axes = figure.add_axes((0, 0, 1, 1), xlim=(0, 1), ylim=(-1, 1))
    axes.axis("off")
    sample = Line2D([0.06, 0.5, 0.94], [0.0, 0.0, 0.0], markevery=[1])
    sample.update_from(artist)
    sample.set_clip_on(False)
    axes.add_line(sample)
    named = 'role="img" aria-label=""'
    return Markup(str(picture(figure, "").markup).replace(named, 'aria-hidden="true"'))
