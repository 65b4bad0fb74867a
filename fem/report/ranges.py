"""Least and greatest values of each model of a study at the last step, with their settings."""

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

MAX_COLUMNS = 3
"""Up to this number of varied quantities, each has its own column."""

SETTING = "setting"
"""Head of the one column for more of them."""

ROUND_OFF = 6
"""Number of decimals; further ones are round-off."""


def range_tables(data: PlotData) -> list[TextTable]:
    """Return one table per model: each measure, its least and greatest value, the settings."""
    at = data.rows[data.rows[LEVEL] == data.main_level]
    places = [axis.label for axis in data.axes] if len(data.axes) <= MAX_COLUMNS else [SETTING]
    titles = [f"{end}\n{below}" for end in ("least", "greatest") for below in ("value", *places)]
    text_columns = (0, 2, 4) if places == [SETTING] else (0,)
    return [
        TextTable(
            f"{NAMES[model]} {data.where(data.main_level)}",
            ["quantity", *titles],
            [*_rows(data, at[at.model == model])],
            text_columns=text_columns,
        )
        for model in data.models
        if (at.model == model).any()
    ]


def _rows(data: PlotData, rows: pandas.DataFrame) -> Iterator[list[str]]:
    for picture in study_pictures(data):
        unit = picture.quantity.kind.shown
        for label, column in picture.columns.items():
            known = rows[rows[column].notna()]
            if known.empty:
                continue
            values = picture.quantity.factor * known[column].to_numpy(float)
            cells = [with_unit(", ".join(filter(None, [picture.axis_name, label])), unit)]
            for place in (int(values.argmin()), int(values.argmax())):
                value = round(float(values[place]), ROUND_OFF) + 0.0  # no negative zero
                cells += [f"{value:.4g}", *_cells(data, known.iloc[place])]
            yield cells


def _cells(data: PlotData, row: pandas.Series[Any]) -> list[str]:
    """Return the setting of a row: one cell per axis, or one cell for all."""
    if len(data.axes) > MAX_COLUMNS:
        return [setting_text(data, row)]
    values = ((axis, row[axis.column]) for axis in data.axes)
    return [f"{value:.4g}" if axis.numeric else str(value) for axis, value in values]


def setting_text(data: PlotData, row: pandas.Series[Any]) -> str:
    """Return the setting of a row as text."""
    return "; ".join(axis.text(row[axis.column]) for axis in data.axes)
