"""Figures of trust: the map over the first two numbers that vary, and the corrected model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fem.plots.layout import FigureLayout, Panel, save_figures
from fem.plots.study.facets import facets
from fem.plots.study.figures import MAX_COLUMNS, SMALL_PANEL, sentence, shared_axes
from fem.plots.trust.parity import parity_figure
from fem.plots.trust.share import draw_share, share_scale
from fem.study.plot_data import CURVE, LEVEL, STEP, Axis, PlotData, plot_data
from fem.trust.pairs import BOTH, PRESSURE, STATES
from fem.trust.tolerance import Tolerance
from fem.wording.comparison import count_text

if TYPE_CHECKING:
    import pandas

    from fem.study.study_result import StudyResult
    from fem.trust.corrected import CorrectedModel

MAP, PARITY = "trust", "corrected"
"""Stems of the files."""

MAX_LEVELS = 4
"""Most pressures that are shown."""

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

    See :func:`left_out` for the reasons why one is missing.

    Raises
    ------
    OSError
        If one cannot be written.
    """
    drawn = {
        MAP: trust_figure(study_result, table, tolerances),
        PARITY: model and parity_figure(model),
    }
    figures = {name: figure for name, figure in drawn.items() if figure}
    return save_figures(figures, folder, drawn)


def left_out(files: Sequence[Path], no_model: str) -> list[str]:
    """Return a sentence on each output that a study does not have.

    Parameters
    ----------
    files
        The files that were written.
    no_model
        Why there is no corrected model; empty if there is one.
    """
    sentences = []
    if f"{MAP}.png" not in {file.name for file in files}:
        sentences.append(f"no {MAP}.png: a map requires a number that varies")
    if no_model:
        sentences.append(f"no corrected fast model: {no_model}")
    return sentences


def trust_figure(
    study_result: StudyResult, table: pandas.DataFrame, tolerances: Sequence[Tolerance]
) -> FigureLayout | None:
    """Return the map, or None if no number varies.

    If only one number varies, the other axis is the pressure (or what drives the tube).

    Parameters
    ----------
    study_result
        The study.
    table
        Its trust map, see :func:`fem.trust.pairs.trust_map`.
    tolerances
        The tolerances it was made with.
    """
    data = plot_data(study_result)
    if data is None or not data.numeric:
        return None
    data = _by_step(data)
    data = replace(data, rows=_rows(data, table))
    levels = data.pick_levels(MAX_LEVELS) if len(data.numeric) > 1 else []
    name, unit = (data.drive.quantity.label, data.drive.unit) if data.drive else (STEP, "")
    over = Axis(LEVEL, name, unit, scattered=data.numeric[0].scattered)
    x, y = [*data.numeric, over][:2]
    parts, notes = facets(data, (x, y))
    scale = share_scale(table[SHARE].to_numpy(float))
    panels = [
        Panel(
            [*part.labels, *([] if level is None else [data.where(level)])],
            partial(draw_share, field=part.field("fast", SHARE, level), scale=scale),
        )
        for part in parts
        for level in levels or (None,)
    ]
    allowed = ", ".join(str(tolerance).replace(" ", NO_BREAK) for tolerance in tolerances)
    error = "greatest error" if len(tolerances) > 1 else "error"
    return FigureLayout(
        study_result.study.title,
        panels,
        len(levels) if len(levels) > 1 else min(MAX_COLUMNS, len(panels)),
        heading=f"Fast model compared with FE model ({study_result.study.resolution} mesh): "
        f"{error} divided by the tolerance, {allowed}",
        notes=sentence(_notes(table, notes)),
        **shared_axes(data.rows, x, y),
        panel_width=SMALL_PANEL if len(panels) > 2 else FigureLayout.panel_width,
        scale=scale,
    )


def _by_step(data: PlotData) -> PlotData:
    """Return the data with the number of the step as level, as in the trust map.

    Cases that differ in their last pressure (or mass of air) share few levels: at a level of some,
    the others would seem to have ended.
    """
    number = data.rows.groupby(CURVE).cumcount()
    if data.rows.groupby(number)[LEVEL].nunique().max() == 1:
        return data
    reach = number.value_counts().sort_index()
    most = reach.index[2 * reach > reach.max()]
    return replace(
        data,
        rows=data.rows.assign(**{LEVEL: number.astype(float)}),
        drive=None,
        levels=[float(level) for level in reach.index],
        main_level=float(most[-1]),
    )


def _rows(data: PlotData, table: pandas.DataFrame) -> pandas.DataFrame:
    """Return the rows of the data, each point once, with the share of the tolerance and state."""
    rows = data.rows.assign(ordinal=data.rows.groupby(CURVE).cumcount())
    rows = rows[rows.ordinal > 0].drop_duplicates(["case", "ordinal"])
    found = table[["case", "ordinal", SHARE, "state"]]
    places = ["case", LEVEL, PRESSURE, "ordinal", *(axis.column for axis in data.axes)]
    return rows[places].merge(found, on=["case", "ordinal"]).assign(model="fast", stable=True)


def _notes(table: pandas.DataFrame, notes: Sequence[str]) -> list[str]:
    """Return the notes below the panels."""
    within, counts = int(table.trusted.sum()), table.state.value_counts()
    alone = [state for state in STATES if state != BOTH and counts.get(state)]
    return [
        f"{within} of {len(table)} points of the study are within the tolerance",
        *notes,
        *(f"only the {state} at {count_text(counts[state], 'point')}" for state in alone),
    ]
