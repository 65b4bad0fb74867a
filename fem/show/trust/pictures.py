"""The pictures of trust, as files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fem.show.style import DPI
from fem.show.trust.parity import plot_parity
from fem.show.trust.sheets import trust_sheet
from fem.trust.tolerance import Tolerance

if TYPE_CHECKING:
    import pandas

    from fem.study.outcome import Outcome
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
            figure.savefig(files[-1], dpi=DPI, facecolor="white")
    return files
