"""The page of the trust map: panels over the first two numbers that vary, texts and pressures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from fem.plots.study.facets import Facet, facets
from fem.plots.study.sheet import WIDE, Block, Panel, Sheet
from fem.plots.trust.share import draw_share, share_scale
from fem.study.plot_data import CURVE, LEVEL, STEP, Axis, Survey, survey
from fem.trust.pairs import BOTH, STATES
from fem.trust.tolerance import Tolerance

if TYPE_CHECKING:
    import pandas

    from fem.study.study_result import Outcome

LEVELS = 4
"""Pressures that are shown at most."""

ABREAST = 4
SMALL = 2.6
"""Width of a panel at most where there are more than two (in)."""

NO_BREAK = "\N{NO-BREAK SPACE}"

SHARE = "share"


def trust_sheet(
    outcome: Outcome, table: pandas.DataFrame, tolerances: Sequence[Tolerance]
) -> Sheet | None:
    """Return the page, or None where no number varies over which a map could be drawn.

    Over one number that varies, the other axis is the pressure (or what drives the tube).

    Parameters
    ----------
    outcome
        The study.
    table
        Its trust map, see :func:`fem.trust.map.trust_map`.
    tolerances
        Those it was made with.
    """
    seen = survey(outcome)
    if seen is None or not seen.numeric:
        return None
    seen = _by_step(seen)
    seen = replace(seen, rows=_rows(seen, table))
    if len(seen.numeric) > 1:
        across, up = seen.numeric[:2]
        levels = seen.picked(LEVELS)
    else:
        (across,), levels = seen.numeric, []
        words, _, unit = seen.label.rstrip("]").partition(" [")
        up = Axis(LEVEL, words, unit, scattered=across.scattered)
    parts, notes = facets(seen, (across, up))
    scale = share_scale(table[SHARE].to_numpy(float))
    panels = [
        Panel(words, partial(draw_share, points=points, across=across, up=up, scale=scale, plain=p))
        for words, points, p in _drawn(seen, parts, (across, up), levels)
    ]
    limits = _range(seen.rows[across.column]), _range(seen.rows[up.column])
    ratio = 0.85
    if across.unit == up.unit:
        ratio = float(np.clip(np.ptp(limits[1]) / np.ptp(limits[0]), 0.5, 1.5))
    columns = len(levels) if len(levels) > 1 else min(ABREAST, len(panels))
    wide = SMALL if len(panels) > 2 else WIDE
    block = Block(panels, columns, across.label, up.label, limits, ratio, scale, widest=wide)
    return Sheet(outcome.study.title, _heading(outcome, tolerances), [block], _below(table, notes))


def _by_step(seen: Survey) -> Survey:
    """Return a survey whose levels are all those of one step each, as the map is made by steps.

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
        label=STEP,
        levels=[float(level) for level in reach.index],
        shown=float(most[-1]),
    )


def _rows(seen: Survey, table: pandas.DataFrame) -> pandas.DataFrame:
    """Return the rows of a survey, each point once, with the share of the tolerance and state."""
    rows = seen.rows.assign(ordinal=seen.rows.groupby(CURVE).cumcount())
    rows = rows[rows.ordinal > 0].drop_duplicates(["case", "ordinal"])
    found = table[["case", "ordinal", SHARE, "state"]]
    places = ["case", LEVEL, "pressure_kPa", "ordinal", *(axis.column for axis in seen.axes)]
    return rows[places].merge(found, on=["case", "ordinal"]).assign(model="fast", stable=True)


def _drawn(
    seen: Survey, parts: Sequence[Facet], plane: tuple[Axis, Axis], levels: Sequence[float]
) -> list[tuple[list[str], pandas.DataFrame, bool]]:
    """Return what stands above each panel, its points, and whether they may be joined."""
    drawn = []
    for part in parts:
        if not levels:
            points = part.rows.rename(columns={SHARE: "value"})
            drawn.append((list(part.words), points, part.plain))
        for level in levels:
            points = part.points(plane, "fast", SHARE, level)
            there = part.rows[part.rows[LEVEL] == level].set_index("case")["state"]
            points = points.assign(state=points.case.map(there))
            drawn.append(([*part.words, seen.where(level)], points, part.plain))
    return drawn


def _heading(outcome: Outcome, tolerances: Sequence[Tolerance]) -> str:
    words = ", ".join(str(tolerance).replace(" ", NO_BREAK) for tolerance in tolerances)
    most = "the greatest error" if len(tolerances) > 1 else "the error"
    return (
        f"Fast model against FE model ({outcome.study.resolution} mesh): {most} as a share of the "
        f"tolerance, {words}"
    )


def _below(table: pandas.DataFrame, notes: Sequence[str]) -> list[str]:
    """Return what is said below the panels."""
    counts = {state: int((table.state == state).sum()) for state in STATES}
    within = int(table.trusted.sum())
    said = [f"{within} of {len(table)} points of the study are within the tolerance", *notes]
    said += [
        f"at {count} the {state} alone"
        for state, count in counts.items()
        if state != BOTH and count
    ]
    text = "; ".join(said)
    return [f"{text[0].upper()}{text[1:]}."]


def _range(values: pandas.Series[float]) -> tuple[float, float]:
    low, high = float(values.min()), float(values.max())
    room = 0.025 * (high - low) or 1.0
    return low - room, high + room
