"""The live explorer behind the page: what it offers, where it settles, what it can reach."""

from __future__ import annotations

import asyncio
import math
from dataclasses import asdict, replace
from functools import cached_property, lru_cache
from typing import Any, NamedTuple

from aiohttp import web

from fem.browser.pack import described as of_column
from fem.browser.pack import pack
from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.units import ANGLE
from fem.explore.reachable_set import AXES, RINGS, ReachableSet, reachable_set
from fem.explore.setting import RESOLUTIONS, Setting, SlackForAll, evaluate_setting
from fem.explore.slider_ranges import UNITS, SliderRanges, slider_ranges
from fem.fast.shape import uniform_shape
from fem.quantities import table
from fem.quantities.column import Measure
from fem.scene.colours import Scales, stretch_scale, tension_scale
from fem.scene.result_view import Exhibit
from fem.scene.surface import Skin
from fem.web.guard import binary, json_of
from fem.wording.remarks import cautions
from fem.wording.tables import PRESSURE

KEPT = 32
"""Number of reachable sets that are kept."""


class Opened(NamedTuple):
    """What the explorer offers, the scales of its colours, and the skin of its tube.

    The fast model's tube has the same skin at all settings, and to find it takes as long as all the
    rest of a move.
    """

    ranges: SliderRanges
    scales: Scales
    skin: Skin


class LiveExplorer:
    """The live explorer of one case, the same for every tab: it keeps no setting of any.

    Parameters
    ----------
    base
        The case; None if what is shown has no one case.
    note
        What is to be said of it before all else.
    """

    def __init__(self, base: Case | None, note: str = "") -> None:
        self._base, self._note = base, note
        self._opening, self._reaching = asyncio.Lock(), asyncio.Lock()
        self._reached = lru_cache(KEPT)(self._reach)

    def routes(self, root: str) -> list[web.RouteDef]:
        """Return what it answers."""
        return [
            web.get(f"{root}live", self.describe),
            web.post(f"{root}live/settle", self.settle),
            web.get(f"{root}live/reach", self.reach),
        ]

    @cached_property
    def _found(self) -> Opened:
        if self._base is None:
            raise InputError("no case is shown that the explorer could set")
        found = slider_ranges(self._base)
        found = replace(found, notes=(*filter(None, [self._note]), *found.notes))
        shape = uniform_shape(found.base, evaluate_setting(found.start, found.base).rest)
        return Opened(found, explorer_scales(found), Skin(shape, found.base.tube))

    async def opened(self) -> Opened:
        """Return what it offers, found once.

        Raises
        ------
        InputError
            If it offers nothing.
        """
        async with self._opening:
            return await asyncio.to_thread(lambda: self._found)

    async def describe(self, _: web.Request) -> web.Response:
        """Answer what the explorer offers."""
        try:
            found = (await self.opened()).ranges
        except InputError as error:
            return web.json_response({"offered": False, "reason": str(error)})
        return web.json_response(described(found))

    async def settle(self, request: web.Request) -> web.Response:
        """Answer where the fast model settles at a setting."""
        setting = Setting.parse(await json_of(request))
        opened = await self.opened()
        return binary(await asyncio.to_thread(settled, setting, *opened))

    async def reach(self, request: web.Request) -> web.Response:
        """Answer what can be reached by turning the first two rings."""
        found = (await self.opened()).ranges
        slack, angles = _asked(request, found)
        async with self._reaching:  # one at a time: it takes all of a processor
            levels = await asyncio.to_thread(self._reached, slack, tuple(angles[RINGS:]))
        return web.json_response(levels)

    def _reach(self, slack: SlackForAll, others: tuple[float, ...]) -> dict[str, Any]:
        return _levels(reachable_set(self._found.ranges, slack, (0.0,) * RINGS + others))


def described(found: SliderRanges) -> dict[str, Any]:
    """Return what the explorer offers as JSON data."""
    start = found.start
    return {
        "offered": True,
        "families": [
            {"name": family.name, "unit": ANGLE.shown, "value": angle, **asdict(ends)}
            for family, angle, ends in zip(
                found.base.threads, start.angles, found.angles, strict=True
            )
        ],
        "slack": {
            "rule": start.slack.rule,
            "value": start.slack.value,
            "rules": [
                {"rule": rule, "unit": UNITS.get(rule, "")} | (asdict(ends) if ends else {})
                for rule, ends in found.slack.items()
            ],
        },
        "pressure": of_column(PRESSURE) | {"value": start.pressure, **asdict(found.pressure)},
        "resolution": "standard",
        "resolutions": list(RESOLUTIONS),
        "notes": list(found.notes),
    }


def explorer_scales(found: SliderRanges) -> Scales:
    """Return the scales of all that the explorer shows, so that a colour keeps its meaning.

    They reach to what the case itself comes to at the greatest pressure, as its threads are and
    taken up. What is beyond has the last colour.
    """
    angles, high = found.start.angles, found.pressure.high
    settings = [
        Setting(angles=angles, slack=slack, pressure=high)
        for slack in (found.start.slack, SlackForAll(rule="taken up"))
    ]
    rows = [evaluate_setting(setting, found.base).row for setting in settings]
    names = [Measure(table.tension, family.name).column for family in found.base.threads]
    return Scales(
        stretch_scale(rows[0][table.wall_stretch_max.column]),
        tension_scale(max(row[name] for row in rows for name in names)) if names else None,
    )


def settled(setting: Setting, ranges: SliderRanges, scales: Scales, skin: Skin) -> bytes:
    """Return the pack of the fast model at a setting: one state, so that a move is quick.

    Raises
    ------
    InputError
        If the setting is not offered, makes no case, or has no solution even at rest.
    """
    ranges.check(setting)
    found = evaluate_setting(setting, ranges.base)
    exhibit = Exhibit(
        name=ranges.base.title,
        case=found.case,
        model="fast",
        rows=[found.row],
        shapes=[uniform_shape(found.case, found.row)],
        note=cautions(found.case, found.row, found.termination),
        skin=skin,
    )
    return pack([exhibit], ranges.base.title, scales)


def _asked(request: web.Request, found: SliderRanges) -> tuple[SlackForAll, list[float]]:
    """Return the slack rule and the angles that a question names; else those of the case.

    Raises
    ------
    InputError
        If they cannot be used.
    """
    query, start = request.query, found.start
    slack = start.slack.model_dump()
    if "slack" in query:
        slack = {"rule": query["slack"], "value": query.get("value") or None}
    angles = query["angles"].split(",") if query.get("angles") else start.angles
    setting = Setting.parse({"angles": angles, "slack": slack, "pressure": start.pressure})
    found.case(setting)
    return setting.slack, list(setting.angles)


def _levels(found: ReachableSet) -> dict[str, Any]:
    """Return what can be reached as JSON data: points row by row, None where there is no state."""
    levels, *grid, axes = found.points.shape
    flat = found.points.round(4).reshape(levels, -1, axes).tolist()
    return {
        "columns": [of_column(measure) for measure in AXES],
        "drive": of_column(PRESSURE),
        "levels": [
            {
                "pressure": float(pressure),
                "grid": grid,
                "points": [None if math.isnan(point[0]) else point for point in points],
            }
            for pressure, points in zip(found.pressures, flat, strict=True)
        ],
    }
