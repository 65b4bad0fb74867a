"""The pictures of a study: which there are, and what stands on each."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from fem.plots.study.measures import measures, picture_names
from fem.plots.study.sheet import Sheet
from fem.plots.study.sheets import map_sheet, measure_sheet, reach_sheet
from fem.quantities import table
from fem.study.plot_data import survey
from fem.study.study_result import Outcome
from fem.wording.glyphs import save_figure
from fem.wording.picture_text import DPI

STEPS = 3
"""Levels of the small pictures."""

STAGED = (table.twist.name, table.displacement.name)
"""Measures that are shown on their way too."""

NAMES = [*picture_names(), *(f"{name}_steps" for name in STAGED), "reach"]
"""Stems of all files that a study may have."""


def save_pictures(outcome: Outcome, folder: Path) -> list[Path]:
    """Write the pictures of a study into `folder`; return their files.

    There are none if no curve has a row.

    Raises
    ------
    OSError
        If one cannot be written.
    """
    for name in NAMES:
        (folder / f"{name}.png").unlink(missing_ok=True)  # an older one would show another study
    files = []
    for name, sheet in sheets(outcome):
        files.append(folder / f"{name}.png")
        save_figure(sheet.figure(), files[-1], dpi=DPI, facecolor="white")
    return files


def sheets(outcome: Outcome) -> Iterator[tuple[str, Sheet]]:
    """Yield what stands on each picture, by the stem of its file."""
    seen = survey(outcome)
    if seen is None:
        return
    for measure in measures(seen):
        yield measure.name, measure_sheet(seen, measure)
        if len(seen.numeric) > 1 and measure.name in STAGED and len(seen.picked(STEPS)) > 1:
            yield f"{measure.name}_steps", map_sheet(seen, measure, seen.picked(STEPS))
    yield "reach", reach_sheet(seen)
