"""The pictures of trust, as files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fem.plots.trust.parity import plot_parity
from fem.plots.trust.sheets import trust_sheet
from fem.trust.tolerance import Tolerance
from fem.wording.glyphs import save_figure
from fem.wording.picture_text import DPI

if TYPE_CHECKING:
    import pandas

    from fem.study.study_result import Outcome
    from fem.trust.corrected import CorrectedModel

MAP, PARITY = "trust.png", "corrected.png"


def save_pictures(
    outcome: Outcome,
    table: pandas.DataFrame,
    tolerances: Sequence[Tolerance],
    model: CorrectedModel | None,
    folder: Path,
) -> list[Path]:
    """Write trust.png, if a number varies, and corrected.png, if there is a corrected model.

    See :func:`left_out` for what is said of the others.

    Raises
    ------
    OSError
        If one cannot be written.
    """
    sheet = trust_sheet(outcome, table, tolerances)
    figures = {
        MAP: sheet and sheet.figure(),
        PARITY: model and plot_parity(model),
    }
    files = []
    for name, figure in figures.items():
        (folder / name).unlink(missing_ok=True)  # an older one would show another study
        if figure:
            files.append(folder / name)
            save_figure(figure, files[-1], dpi=DPI, facecolor="white")
    return files


def left_out(files: Sequence[Path], lacking: str) -> list[str]:
    """Return a sentence on each thing that a study does not yield.

    Parameters
    ----------
    files
        What was written.
    lacking
        Why there is no corrected model, empty if there is one.
    """
    said = []
    if MAP not in {file.name for file in files}:
        said.append(f"no {MAP}: no number varies, over which a map could be drawn")
    if lacking:
        said.append(f"no corrected fast model: {lacking}")
    return said
