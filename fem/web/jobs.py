"""FE solves that the page asks for: begun, watched, stopped, shown."""

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
from fem.scene.result_view import exhibits
from fem.web.explorer import LiveExplorer
from fem.web.guard import binary, json_of


class Wanted(Setting):
    """A setting that is to be solved by FE."""

    resolution: Resolution = "standard"
    tab: str = Field(default="", max_length=64, description="Which tab asks; it has one solve.")


class JobDesk:
    """Answers for the FE solves of one server."""

    def __init__(self, explorer: LiveExplorer) -> None:
        self._explorer, self._jobs = explorer, Jobs()

    def routes(self, root: str) -> list[web.RouteDef]:
        """Return what it answers."""
        one = f"{root}live/fe/{{job}}"
        return [
            web.post(f"{root}live/fe", self.start),
            web.get(one, self.progress),
            web.delete(one, self.stop),
            web.get(f"{one}/scene", self.scene),
        ]

    async def start(self, request: web.Request) -> web.Response:
        """Begin to solve a setting."""
        wanted = Wanted.parse(await json_of(request))
        ranges = (await self._explorer.opened()).ranges
        case = ranges.case(wanted, ranges.steps)
        name = self._jobs.start(case, wanted.resolution, wanted.tab)
        return web.json_response({"job": name})

    async def progress(self, request: web.Request) -> web.Response:
        """Answer how far a solve has come."""
        return web.json_response(asdict(self._jobs.progress(request.match_info["job"])))

    async def stop(self, request: web.Request) -> web.Response:
        """Stop a solve, and answer how far it had come."""
        self._jobs.stop(request.match_info["job"])
        return await self.progress(request)

    async def scene(self, request: web.Request) -> web.Response:
        """Answer the shapes of a solve that is done."""
        result = self._jobs.result(request.match_info["job"])
        scales = (await self._explorer.opened()).scales
        return binary(await asyncio.to_thread(_packed, result, scales))

    async def close(self, _: web.Application) -> None:
        """End all processes."""
        await asyncio.to_thread(self._jobs.close)


def _packed(result: Result, scales: Scales) -> bytes:
    return pack(exhibits(result), result.case.title, scales)
