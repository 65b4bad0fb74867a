"""The figures of trust: the map over the first two numbers that vary, and the corrected model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fem.plots.layout import FigureLayout, Panel, save_figures
from fem.plots.study.facets import facets
from fem.plots.study.figures import MOST_COLUMNS, SMALL, sentence, shared_axes
from fem.plots.trust.parity import parity_figure
from fem.plots.trust.share import draw_share, share_scale
from fem.study.plot_data import CURVE, LEVEL, STEP, Axis, PlotData, plot_data
from fem.trust.pairs import BOTH, PRESSURE, STATES
from fem.trust.tolerance import Tolerance

if TYPE_CHECKING:
    import pandas

    from fem.study.study_result import StudyResult
    from fem.trust.corrected import CorrectedModel

MAP, PARITY = "trust", "corrected"
"""Stems of the files."""

LEVELS = 4
"""Pressures that are shown at most."""

NO_BREAK = "\N{NO-BREAK SPACE}"

SHARE = "share"


def save_pictures(
    study_result: StudyResult,
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
    drawn = {
        MAP: trust_figure(study_result, table, tolerances),
        PARITY: model and parity_figure(model),
    }
    there = {name: figure for name, figure in drawn.items() if figure}
    return save_figures(there, folder, drawn)


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
    if f"{MAP}.png" not in {file.name for file in files}:
        said.append(f"no {MAP}.png: no number varies, over which a map could be drawn")
    if lacking:
        said.append(f"no corrected fast model: {lacking}")
    return said


def trust_figure(
    study_result: StudyResult, table: pandas.DataFrame, tolerances: Sequence[Tolerance]
) -> FigureLayout | None:
    """Return the map, or None where no number varies over which it could be drawn.

    Over one number that varies, the other axis is the pressure (or what drives the tube).

    Parameters
    ----------
    study_result
        The study.
    table
        Its trust map, see :func:`fem.trust.pairs.trust_map`.
    tolerances
        Those it was made with.
    """
    seen = plot_data(study_result)
    if seen is None or not seen.numeric:
        return None
    seen = _by_step(seen)
    seen = replace(seen, rows=_rows(seen, table))
    levels = seen.picked(LEVELS) if len(seen.numeric) > 1 else []
    words, unit = (seen.drive.quantity.label, seen.drive.unit) if seen.drive else (STEP, "")
    over = Axis(LEVEL, words, unit, scattered=seen.numeric[0].scattered)
    across, up = [*seen.numeric, over][:2]
    parts, notes = facets(seen, (across, up))
    scale = share_scale(table[SHARE].to_numpy(float))
    panels = [
        Panel(
            [*part.words, *([] if level is None else [seen.where(level)])],
            partial(draw_share, field=part.field("fast", SHARE, level), scale=scale),
        )
        for part in parts
        for level in levels or (None,)
    ]
    allowed = ", ".join(str(tolerance).replace(" ", NO_BREAK) for tolerance in tolerances)
    error = "the greatest error" if len(tolerances) > 1 else "the error"
    return FigureLayout(
        study_result.study.title,
        panels,
        len(levels) if len(levels) > 1 else min(MOST_COLUMNS, len(panels)),
        heading=f"Fast model against FE model ({study_result.study.resolution} mesh): {error} as a "
        f"share of the tolerance, {allowed}",
        notes=sentence(_notes(table, notes)),
        **shared_axes(seen.rows, across, up),
        widest=SMALL if len(panels) > 2 else FigureLayout.widest,
        scale=scale,
    )


def _by_step(seen: PlotData) -> PlotData:
    """Return the data with the number of the step as level, as in the trust map.

    Cases that are driven by unlike parts (of the air, of a pressure that varies) share few levels:
    at a level of some, the others would seem to have ended.
    """
    number = seen.rows.groupby(CURVE).cumcount()
    if seen.rows.groupby(number)[LEVEL].nunique().max() == 1:
        return seen
    reach = number.value_counts().sort_index()
    most = reach.index[2 * reach > reach.max()]
    return replace(
        seen,
        rows=seen.rows.assign(**{LEVEL: number.astype(float)}),
        drive=None,
        levels=[float(level) for level in reach.index],
        shown=float(most[-1]),
    )


def _rows(seen: PlotData, table: pandas.DataFrame) -> pandas.DataFrame:
    """Return the rows of the data, each point once, with the share of the tolerance and state."""
    rows = seen.rows.assign(ordinal=seen.rows.groupby(CURVE).cumcount())
    rows = rows[rows.ordinal > 0].drop_duplicates(["case", "ordinal"])
    found = table[["case", "ordinal", SHARE, "state"]]
    places = ["case", LEVEL, PRESSURE, "ordinal", *(axis.column for axis in seen.axes)]
    return rows[places].merge(found, on=["case", "ordinal"]).assign(model="fast", stable=True)


def _notes(table: pandas.DataFrame, notes: Sequence[str]) -> list[str]:
    """Return what is said below the panels."""
    within, counts = int(table.trusted.sum()), table.state.value_counts()
    alone = [state for state in STATES if state != BOTH and counts.get(state)]
    return [
        f"{within} of {len(table)} points of the study are within the tolerance",
        *notes,
        *(f"at {counts[state]} the {state} alone" for state in alone),
    ]
