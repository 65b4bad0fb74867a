"""What a corrected fast model is told of a point: the setting, and the state of the fast model.

The difference of the models is smooth in the fast model's own state (how far the bore has grown,
how slack each family still is), less so in the slack rule by its words. So slack comes as a strain,
other texts as one column of 0 and 1 to each value.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.core.arrays import Array
from fem.quantities import table
from fem.quantities.column import find
from fem.trust.pairs import FAST, PRESSURE

if TYPE_CHECKING:
    import pandas

    from fem.case.case import Case
    from fem.trust.ranges import Ranges

DRIVE = "drive"
"""How far the drive has gone, as a share of all of it in the study."""

STATE = (
    *(table.twist, table.stretch, table.bore_stretch),
    *(table.end_force, table.end_torque, table.thread_strain),
)
"""What of the fast model's state tells of the difference."""

SLACK = "slack"


def described(
    rows: pandas.DataFrame, cases: Mapping[str, Case], ranges: Ranges
) -> pandas.DataFrame:
    """Return the inputs of points, unscaled, a column to each.

    Parameters
    ----------
    rows
        Columns ``case``, those of the fields that vary, ``ordinal``, ``pressure_kPa`` and those of
        the fast model, ending in ``.fast``.
    cases
        The cases by their keys.
    ranges
        What the fields that vary may be.
    """
    import pandas

    base = next(iter(cases.values()))
    columns: dict[str, Any] = {DRIVE: drive(rows, base, ranges)}
    for name in ranges.numbers:
        columns[name] = rows[name].to_numpy(float)
    for name, known in ranges.texts.items():
        if name.partition(".")[0] != SLACK:
            columns |= {_is(name, value): (rows[name] == value).to_numpy(float) for value in known}
    for number, family in enumerate(base.threads):
        strains = {key: case.threads[number].slack_strain for key, case in cases.items()}
        columns[f"slack_strain.{family.name}"] = rows["case"].map(strains).to_numpy(float)
    for name in rows.columns:
        own = name.removesuffix(FAST)
        measure = find(own) if own != name and own not in columns else None
        if measure and measure.quantity in STATE:
            values = rows[name].to_numpy(float)
            columns[own] = np.log(values) if measure.quantity is table.bore_stretch else values
    return pandas.DataFrame(columns, index=rows.index)


def drive(rows: pandas.DataFrame, base: Case, ranges: Ranges) -> Array:
    """Return how far the drive has gone, 1 at its end in the study, shape (points,)."""
    from fem.continuation.load_steps import steps_of

    if by_pressure(base):
        return rows[PRESSURE].to_numpy(float) / ranges.pressure
    return rows["ordinal"].to_numpy(float) / steps_of(base)


def by_pressure(case: Case) -> bool:
    """Return whether the pressure is set at every step, and alone tells how far the path is."""
    return case.pressure is not None and case.move is None


def at_rest(case: Case) -> bool:
    """Return whether nothing acts on the tube at the beginning: there both models agree."""
    loaded = case.end.force or case.end.torque
    return not loaded and all(family.slack_strain >= 0 for family in case.threads)


def _is(name: str, value: str) -> str:
    """Return the column that tells whether a field has a value: ``hold bonded.A``."""
    stem, dot, family = name.partition(".")
    return f"{stem} {value.replace('.', '_')}{dot}{family}"
