"""The pictures of a study: which there are, and what stands on each."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from fem.show.study.measures import measures
from fem.show.study.sheets import map_sheet, measure_sheet, reach_sheet
from fem.show.study.survey import survey
from fem.show.style import DPI
from fem.study.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.figure import Figure

STEPS = 3
"""Levels of the small pictures."""

STAGED = ("twist", "displacement")
"""Measures that are shown on their way too."""


def save_pictures(outcome: Outcome, folder: Path) -> list[Path]:
    """Write the pictures of a study into `folder`; return their files.

    There are none if no curve has a row.

    Raises
    ------
    OSError
        If one cannot be written.
    """
    files = []
    for name, figure in figures(outcome):
        files.append(folder / f"{name}.png")
        figure.savefig(files[-1], dpi=DPI, facecolor="white")
    return files


def figures(outcome: Outcome) -> Iterator[tuple[str, Figure]]:
    """Yield the pictures by the stems of their files."""
    seen = survey(outcome)
    if seen is None:
        return
    for measure in measures(seen):
        yield measure.name, measure_sheet(seen, measure).figure()
        if len(seen.numeric) > 1 and measure.name in STAGED and len(seen.picked(STEPS)) > 1:
            yield f"{measure.name}_steps", map_sheet(seen, measure, seen.picked(STEPS)).figure()
    yield "reach", reach_sheet(seen).figure()
