"""A row of the step table, or the columns of many rows: the values of the quantities."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from operator import attrgetter
from typing import Any

from fem.quantities.column import Measure
from fem.quantities.measures import Figures, Step
from fem.quantities.table import QUANTITIES


def step_columns(state: Step) -> dict[str, Any]:
    """Return the columns of many states by name: arrays, or one value for all."""
    return {measure.column: value for measure, value in _values(state, state.tube)}


def step_row(state: Step) -> dict[str, Any]:
    """Return the row of one state by column name."""
    values = _values(state, state.tube)
    return {measure.column: measure.quantity.type(value) for measure, value in values}


def measures(tube: Figures) -> dict[str, float]:
    """Return by column name what follows from one state of the tube, without its path."""
    values = _values(None, tube)
    return {measure.column: float(value) for measure, value in values}


def _values(state: Step | None, tube: Figures) -> Iterator[tuple[Measure, Any]]:
    """Yield the columns and their values, the columns of a family together."""
    sources: dict[str, list[Any]] = {"tube": [tube], "threads": tube.threads}
    if state:
        sources["path"] = [state]
    for of, group in groupby(QUANTITIES, attrgetter("of")):
        quantities = [q for q in group if state is None or state.model in q.models]
        for source in sources.get(of, []):
            family = source.name if of == "threads" else ""
            for quantity in quantities:
                value = quantity.value(source)
                if value is not None:
                    yield Measure(quantity, family), value
