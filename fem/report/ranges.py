"""What each model of a study reaches at the last step, least and greatest, and by which setting."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from fem.plots.study.pictures import study_pictures
from fem.quantities.column import with_unit
from fem.study.plot_data import LEVEL, PlotData
from fem.wording.run_sections import NAMES
from fem.wording.text_table import TextTable

if TYPE_CHECKING:
    import pandas

FEW = 3
"""So many things that vary have a column each."""

IN_WORDS = "setting"
"""Head of the column that more of them share."""

ROUND_OFF = 6
"""Decimals beyond which figures are round-off."""


def range_grids(data: PlotData) -> list[TextTable]:
    """Return a table to each model: each measure, its least and greatest value, the settings."""
    at = data.rows[data.rows[LEVEL] == data.shown]
    places = [axis.label for axis in data.axes] if len(data.axes) <= FEW else [IN_WORDS]
    titles = [f"{end}\n{below}" for end in ("least", "greatest") for below in ("value", *places)]
    text_columns = (0, 2, 4) if places == [IN_WORDS] else (0,)
    return [
        TextTable(
            f"{NAMES[model]} {data.where(data.shown)}",
            ["measure", *titles],
            [*_rows(data, at[at.model == model])],
            text_columns=text_columns,
        )
        for model in data.models
        if (at.model == model).any()
    ]


def _rows(data: PlotData, rows: pandas.DataFrame) -> Iterator[list[str]]:
    for picture in study_pictures(data):
        unit = picture.quantity.kind.shown
        for words, column in picture.columns.items():
            known = rows[rows[column].notna()]
            if known.empty:
                continue
            values = picture.quantity.factor * known[column].to_numpy(float)
            cells = [with_unit(", ".join(filter(None, [picture.words, words])), unit)]
            for place in (int(values.argmin()), int(values.argmax())):
                value = round(float(values[place]), ROUND_OFF) + 0.0  # no negative zero
                cells += [f"{value:.4g}", *_cells(data, known.iloc[place])]
            yield cells


def _cells(data: PlotData, row: pandas.Series[Any]) -> list[str]:
    """Return what tells the setting of a row: a cell to each axis, or all in words."""
    if len(data.axes) > FEW:
        return [setting(data, row)]
    values = ((axis, row[axis.column]) for axis in data.axes)
    return [f"{value:.4g}" if axis.numeric else str(value) for axis, value in values]


def setting(data: PlotData, row: pandas.Series[Any]) -> str:
    """Return the setting of a row in words."""
    return "; ".join(axis.say(row[axis.column]) for axis in data.axes)
