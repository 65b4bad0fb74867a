"""The server of the live explorer: slider ranges, fast model, reachable set."""

from __future__ import annotations

import asyncio
import math
from dataclasses import asdict, replace
from functools import cached_property, lru_cache
from typing import Any, NamedTuple

from aiohttp import web

from fem.browser.pack import column_data, pack
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
from fem.scene.result_view import ResultView
from fem.scene.surface import WallSurfaces
from fem.web.guard import json_of, pack_response
from fem.wording.remarks import cautions
from fem.wording.tables import PRESSURE

CACHE_SIZE = 32
"""Number of reachable sets in the cache."""


class ExplorerData(NamedTuple):
    """Slider ranges, colour scales, and the surface of the tube.

    The surface of the fast model's tube is the same at all settings. To compute it takes as long as
    the rest of an evaluation.
    """

    ranges: SliderRanges
    scales: Scales
    surfaces: WallSurfaces


class LiveExplorer:
    """The live explorer of one case, for all tabs; it stores no settings.

    Parameters
    ----------
    base
        The case; None for no explorer.
    note
        A first note to show.
    """

    def __init__(self, base: Case | None, note: str = "") -> None:
        self._base, self._note = base, note
        self._opening, self._reaching = asyncio.Lock(), asyncio.Lock()
        self._cached_reach = lru_cache(CACHE_SIZE)(self._reach)

    def routes(self, root: str) -> list[web.RouteDef]:
        """Return the routes of its requests."""
        return [
            web.get(f"{root}live", self.describe),
            web.post(f"{root}live/evaluate", self.evaluate),
            web.get(f"{root}live/reach", self.reach),
        ]

    @cached_property
    def _data(self) -> ExplorerData:
        if self._base is None:
            raise InputError("the live explorer needs a case")
        ranges = slider_ranges(self._base)
        ranges = replace(ranges, notes=(*filter(None, [self._note]), *ranges.notes))
        shape = uniform_shape(ranges.base, evaluate_setting(ranges.start, ranges.base).rest)
        return ExplorerData(ranges, explorer_scales(ranges), WallSurfaces(shape, ranges.base.tube))

    async def data(self) -> ExplorerData:
        """Return the data, computed once.

        Raises
        ------
        InputError
            If there is no explorer of this case.
        """
        async with self._opening:
            return await asyncio.to_thread(lambda: self._data)

    async def describe(self, _: web.Request) -> web.Response:
        """Return the slider ranges."""
        try:
            ranges = (await self.data()).ranges
        except InputError as error:
            return web.json_response({"available": False, "reason": str(error)})
        return web.json_response(ranges_data(ranges))

    async def evaluate(self, request: web.Request) -> web.Response:
        """Return the fast model at a setting."""
        setting = Setting.parse(await json_of(request))
        data = await self.data()
        return pack_response(await asyncio.to_thread(evaluated, setting, *data))

    async def reach(self, request: web.Request) -> web.Response:
        """Return the reachable set over the first two rings."""
        ranges = (await self.data()).ranges
        slack, angles = _requested(request, ranges)
        async with self._reaching:  # one at a time: it uses a whole processor
            levels = await asyncio.to_thread(self._cached_reach, slack, tuple(angles[RINGS:]))
        return web.json_response(levels)

    def _reach(self, slack: SlackForAll, others: tuple[float, ...]) -> dict[str, Any]:
        return _levels(reachable_set(self._data.ranges, slack, (0.0,) * RINGS + others))


def ranges_data(found: SliderRanges) -> dict[str, Any]:
    """Return the slider ranges as JSON data."""
    start = found.start
    return {
        "available": True,
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
        "pressure": column_data(PRESSURE) | {"value": start.pressure, **asdict(found.pressure)},
        "resolution": "standard",
        "resolutions": list(RESOLUTIONS),
        "notes": list(found.notes),
    }


def explorer_scales(found: SliderRanges) -> Scales:
    """Return the colour scales for all settings, so that a colour always has the same meaning.

    They end at the values of the case at the greatest pressure, with its own slack or with slack
    taken up. Values above the scale take the end colour.
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


def evaluated(
    setting: Setting, ranges: SliderRanges, scales: Scales, surfaces: WallSurfaces
) -> bytes:
    """Return the pack of the fast model at a setting: one state, so that it is quick.

    Raises
    ------
    InputError
        If the setting is outside the ranges, is not a valid case, or has no solution at rest.
    """
    ranges.check(setting)
    found = evaluate_setting(setting, ranges.base)
    view = ResultView(
        name=ranges.base.title,
        case=found.case,
        model="fast",
        rows=[found.row],
        shapes=[uniform_shape(found.case, found.row)],
        note=cautions(found.case, found.row, found.termination),
        surfaces=surfaces,
    )
    return pack([view], ranges.base.title, scales)


def _requested(request: web.Request, found: SliderRanges) -> tuple[SlackForAll, list[float]]:
    """Return the slack rule and the angles of a request; else those of the case.

    Raises
    ------
    InputError
        If they are not valid.
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
    """Return a reachable set as JSON data: points row by row, None where there is no state."""
    levels, *grid, axes = found.points.shape
    flat = found.points.round(4).reshape(levels, -1, axes).tolist()
    return {
        "columns": [column_data(measure) for measure in AXES],
        "drive": column_data(PRESSURE),
        "levels": [
            {
                "pressure": float(pressure),
                "grid": grid,
                "points": [None if math.isnan(point[0]) else point for point in points],
            }
            for pressure, points in zip(found.pressures, flat, strict=True)
        ],
    }
