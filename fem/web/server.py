"""The server behind the page: on this machine alone, until it is broken off."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import secrets
import socket
import webbrowser
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from aiohttp import web

from fem.browser.assets import asset
from fem.browser.pack import pack
from fem.case.case import Case
from fem.core.errors import InputError
from fem.web.explorer import LiveExplorer
from fem.web.guard import add_headers, binary, guard
from fem.web.jobs import JobDesk
from fem.web.study import StudyRoom

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit

ADDRESS = "127.0.0.1"
MOST_BYTES = 65536
"""A request brings no more."""
OF_BASE = "of the base case of the study, whichever of its settings is shown"
"""What the live explorer of a study says of itself."""
PATIENCE = 1.0
"""Requests that are under way when the server ends are given so long (s)."""


def serve(
    exhibits: Sequence[Exhibit] | Callable[[], Sequence[Exhibit]],
    title: str,
    *,
    base: Case | None = None,
    port: int | None = None,
    browser: bool = False,
    study: StudyRoom | None = None,
) -> None:
    """Serve the page until Ctrl-C or SIGTERM.

    Parameters
    ----------
    exhibits
        What is shown, or what loads it: the server listens while it does.
    title
        What the page is called.
    base
        The case of the live explorer; None if there is none.
    port
        Port to listen on; None for one that is free.
    browser
        Whether to open the page in a browser, where that is possible.
    study
        The study whose settings are chosen in the page, if there is one.

    Raises
    ------
    InputError
        If nothing can be served on that port, or what loads the exhibits raises it.
    """
    listening = listen(port)
    key = secrets.token_urlsafe(16)
    address = f"http://{ADDRESS}:{listening.getsockname()[1]}/{key}/"
    faults: list[InputError] = []

    def end(fault: InputError) -> None:
        faults.append(fault)
        asyncio.get_running_loop().call_soon(_end)

    app = make_app(exhibits, title, base=base, key=key, study=study, failed=end)

    async def tell(_: web.Application) -> None:
        print(f"{address}\nserved on this machine alone until Ctrl-C", flush=True)
        if browser:
            asyncio.get_running_loop().run_in_executor(None, _open_browser, address)

    app.on_startup.append(tell)
    web.run_app(app, sock=listening, print=None, access_log=None, shutdown_timeout=PATIENCE)
    for fault in faults:
        raise fault


def _end() -> None:
    """End the server as Ctrl-C does; requests that wait are answered before."""
    raise web.GracefulExit


def listen(port: int | None) -> socket.socket:
    """Return a socket that listens on a port of 127.0.0.1, or on a free one.

    Raises
    ------
    InputError
        If that is impossible.
    """
    try:
        return socket.create_server((ADDRESS, port or 0))
    except OverflowError:
        raise InputError(f"port {port}: allowed are 1 to 65535") from None
    except OSError as error:
        other = "name another by --port, or none"
        if error.errno == errno.EADDRINUSE:
            raise InputError(f"port {port} of {ADDRESS} is in use: {other}") from None
        why = error.strerror or str(error)
        raise InputError(f"port {port} of {ADDRESS} cannot be used ({why}): {other}") from None


def make_app(
    exhibits: Sequence[Exhibit] | Callable[[], Sequence[Exhibit]],
    title: str,
    *,
    base: Case | None,
    key: str,
    study: StudyRoom | None = None,
    failed: Callable[[InputError], None] | None = None,
) -> web.Application:
    """Return the application that answers below ``/<key>/``; see :func:`serve`.

    `failed` is told what went wrong where the exhibits are loaded and cannot be.
    """
    app = web.Application(middlewares=[guard], client_max_size=MOST_BYTES)
    root = f"/{key}/"
    explorer = LiveExplorer(base, OF_BASE if study else "")
    desk = JobDesk(explorer)
    scene = Scene(exhibits, title, failed)
    app.add_routes(
        [
            web.get(root, _page),
            web.get(f"{root}assets/{{name}}", _asset),
            web.get(f"{root}scene", scene.answer),
        ]
    )
    for room in (explorer, desk):
        app.add_routes(room.routes(root))
    app.add_routes(study.routes(root) if study else [web.get(f"{root}study", _no_study)])
    app.on_response_prepare.append(add_headers)
    app.cleanup_ctx.append(scene.packing)
    app.on_cleanup.append(desk.close)
    return app


@dataclass
class Scene:
    """What is shown: loaded and packed once, while the browser loads the page."""

    exhibits: Sequence[Exhibit] | Callable[[], Sequence[Exhibit]]
    title: str
    failed: Callable[[InputError], None] | None

    async def packing(self, _: web.Application) -> AsyncIterator[None]:
        """Begin as the server starts."""
        self._packed = asyncio.create_task(self._load())
        yield
        self._packed.cancel()
        with contextlib.suppress(asyncio.CancelledError, Exception):
            await self._packed

    async def _load(self) -> bytes:
        try:
            return await asyncio.to_thread(self._pack)
        except InputError as fault:
            if self.failed is not None:
                self.failed(fault)
            raise

    def _pack(self) -> bytes:
        return pack(self.exhibits() if callable(self.exhibits) else self.exhibits, self.title)

    async def answer(self, _: web.Request) -> web.Response:
        """Answer the pack."""
        return binary(await asyncio.shield(self._packed))  # a tab that leaves stops it for none


async def _page(_: web.Request) -> web.StreamResponse:
    return web.FileResponse(asset("page.html"))


async def _no_study(_: web.Request) -> web.Response:
    return web.json_response({"offered": False, "reason": "no study is shown"})


async def _asset(request: web.Request) -> web.StreamResponse:
    try:
        path = asset(request.match_info["name"])
    except KeyError:
        raise web.HTTPNotFound from None
    return web.FileResponse(path, headers={"Cache-Control": "no-cache"})


def _open_browser(address: str) -> None:
    """Open the page; where there is no browser, the address is printed anyway."""
    with contextlib.suppress(webbrowser.Error, OSError):
        webbrowser.open(address)
