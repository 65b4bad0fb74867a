"""The server of the page: on this machine only, until it is interrupted."""

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
from fem.web.guard import add_headers, guard, pack_response
from fem.web.jobs import SolveHandler
from fem.web.study import StudyHandler

if TYPE_CHECKING:
    from fem.scene.result_view import ResultView

ADDRESS = "127.0.0.1"
MAX_REQUEST = 65536
"""Maximum size of a request (bytes)."""
BASE_CASE_NOTE = "The explorer uses the base case of the study, not the setting chosen above."
"""Note of the live explorer of a study."""
SHUTDOWN_TIMEOUT = 1.0
"""Time for open requests when the server ends (s)."""


def serve(
    views: Sequence[ResultView] | Callable[[], Sequence[ResultView]],
    title: str,
    *,
    base: Case | None = None,
    port: int | None = None,
    browser: bool = False,
    study: StudyHandler | None = None,
) -> None:
    """Serve the page until Ctrl-C or SIGTERM.

    Parameters
    ----------
    views
        The views, or a function that loads them while the server already listens.
    title
        Title of the page.
    base
        The case of the live explorer; None if there is none.
    port
        Port to listen on; None for any free port.
    browser
        Whether to open the page in a browser, if possible.
    study
        The study whose settings can be chosen in the page, if there is one.

    Raises
    ------
    InputError
        If the port cannot be used, or the views cannot be loaded.
    """
    listening = listen(port)
    key = secrets.token_urlsafe(16)
    address = f"http://{ADDRESS}:{listening.getsockname()[1]}/{key}/"
    errors: list[InputError] = []

    def end(error: InputError) -> None:
        errors.append(error)
        asyncio.get_running_loop().call_soon(_end)

    app = make_app(views, title, base=base, key=key, study=study, on_error=end)

    async def print_address(_: web.Application) -> None:
        print(f"{address}\nserved to this machine only; Ctrl-C ends the server", flush=True)
        if browser:
            asyncio.get_running_loop().run_in_executor(None, _open_browser, address)

    app.on_startup.append(print_address)
    web.run_app(app, sock=listening, print=None, access_log=None, shutdown_timeout=SHUTDOWN_TIMEOUT)
    for error in errors:
        raise error


def _end() -> None:
    """End the server as Ctrl-C does, after the open requests."""
    raise web.GracefulExit


def listen(port: int | None) -> socket.socket:
    """Return a socket that listens on a port of 127.0.0.1, or on any free port.

    Raises
    ------
    InputError
        If the port cannot be used.
    """
    try:
        return socket.create_server((ADDRESS, port or 0))
    except OverflowError:
        raise InputError(f"port {port}: it must be from 1 to 65535") from None
    except OSError as error:
        hint = "use another --port, or omit it"
        if error.errno == errno.EADDRINUSE:
            raise InputError(f"port {port} of {ADDRESS} is in use: {hint}") from None
        reason = error.strerror or str(error)
        raise InputError(f"port {port} of {ADDRESS} cannot be used ({reason}): {hint}") from None


def make_app(
    views: Sequence[ResultView] | Callable[[], Sequence[ResultView]],
    title: str,
    *,
    base: Case | None,
    key: str,
    study: StudyHandler | None = None,
    on_error: Callable[[InputError], None] | None = None,
) -> web.Application:
    """Return the application that serves the page below ``/<key>/``; see :func:`serve`.

    `on_error` is called if the views cannot be loaded.
    """
    app = web.Application(middlewares=[guard], client_max_size=MAX_REQUEST)
    root = f"/{key}/"
    explorer = LiveExplorer(base, BASE_CASE_NOTE if study else "")
    solves = SolveHandler(explorer)
    scene = Scene(views, title, on_error)
    app.add_routes(
        [
            web.get(root, _page),
            web.get(f"{root}assets/{{name}}", _asset),
            web.get(f"{root}scene", scene.respond),
        ]
    )
    for handler in (explorer, solves):
        app.add_routes(handler.routes(root))
    app.add_routes(study.routes(root) if study else [web.get(f"{root}study", _no_study)])
    app.on_response_prepare.append(add_headers)
    app.cleanup_ctx.append(scene.running)
    app.on_cleanup.append(solves.close)
    return app


@dataclass
class Scene:
    """The views, loaded and packed once, while the browser loads the page."""

    views: Sequence[ResultView] | Callable[[], Sequence[ResultView]]
    title: str
    on_error: Callable[[InputError], None] | None

    async def running(self, _: web.Application) -> AsyncIterator[None]:
        """Start to load when the server starts."""
        self._packed = asyncio.create_task(self._load())
        yield
        self._packed.cancel()
        with contextlib.suppress(asyncio.CancelledError, Exception):
            await self._packed

    async def _load(self) -> bytes:
        try:
            return await asyncio.to_thread(self._pack)
        except InputError as error:
            if self.on_error is not None:
                self.on_error(error)
            raise

    def _pack(self) -> bytes:
        return pack(self.views() if callable(self.views) else self.views, self.title)

    async def respond(self, _: web.Request) -> web.Response:
        """Return the pack."""
        # shield: a tab that is closed must not cancel it for others
        return pack_response(await asyncio.shield(self._packed))


async def _page(_: web.Request) -> web.StreamResponse:
    return web.FileResponse(asset("page.html"))


async def _no_study(_: web.Request) -> web.Response:
    return web.json_response({"available": False, "reason": "no study is shown"})


async def _asset(request: web.Request) -> web.StreamResponse:
    try:
        path = asset(request.match_info["name"])
    except KeyError:
        raise web.HTTPNotFound from None
    return web.FileResponse(path, headers={"Cache-Control": "no-cache"})


def _open_browser(address: str) -> None:
    """Open the page; without a browser, the printed address can be used."""
    with contextlib.suppress(webbrowser.Error, OSError):
        webbrowser.open(address)
