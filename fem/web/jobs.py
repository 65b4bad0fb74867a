"""FE solves that the page requests: start, progress, stop, shapes."""

from __future__ import annotations

import asyncio
from dataclasses import asdict

from aiohttp import web
from pydantic import Field

from fem.browser.pack import pack
from fem.explore.fe_job import Jobs
from fem.explore.setting import Resolution, Setting
from fem.results.result import Result
from fem.scene.colours import Scales
from fem.scene.result_view import result_views
from fem.web.explorer import LiveExplorer
from fem.web.guard import json_of, pack_response


class SolveRequest(Setting):
    """A setting to solve with FE."""

    resolution: Resolution = "standard"
    tab: str = Field(default="", max_length=64, description="The browser tab; it has one solve.")


class SolveHandler:
    """Handles requests for FE solves."""

    def __init__(self, explorer: LiveExplorer) -> None:
        self._explorer, self._jobs = explorer, Jobs()

    def routes(self, root: str) -> list[web.RouteDef]:
        """Return the routes of its requests."""
        one = f"{root}live/fe/{{job}}"
        return [
            web.post(f"{root}live/fe", self.start),
            web.get(one, self.progress),
            web.delete(one, self.stop),
            web.get(f"{one}/scene", self.scene),
        ]

    async def start(self, request: web.Request) -> web.Response:
        """Start to solve a setting, and return the name of the solve."""
        requested = SolveRequest.parse(await json_of(request))
        ranges = (await self._explorer.data()).ranges
        case = ranges.case(requested, ranges.steps)
        name = self._jobs.start(case, requested.resolution, requested.tab)
        return web.json_response({"job": name})

    async def progress(self, request: web.Request) -> web.Response:
        """Return the progress of a solve."""
        return web.json_response(asdict(self._jobs.progress(request.match_info["job"])))

    async def stop(self, request: web.Request) -> web.Response:
        """Stop a solve, and return its progress."""
        self._jobs.stop(request.match_info["job"])
        return await self.progress(request)

    async def scene(self, request: web.Request) -> web.Response:
        """Return the shapes of a solve that is done."""
        result = self._jobs.result(request.match_info["job"])
        scales = (await self._explorer.data()).scales
        return pack_response(await asyncio.to_thread(_packed, result, scales))

    async def close(self, _: web.Application) -> None:
        """End all processes."""
        await asyncio.to_thread(self._jobs.close)


def _packed(result: Result, scales: Scales) -> bytes:
    return pack(result_views(result), result.case.title, scales)
