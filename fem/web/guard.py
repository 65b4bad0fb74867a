"""What every request meets: its host, its errors in words, what the page may do and load.

The server listens on 127.0.0.1 alone, yet every page that a browser has open may send requests
there. A random key in the path keeps them out; so does the check of the Host header, which a name
that is made to point at 127.0.0.1 does not pass, and that of the Origin header, by which a browser
says which page sends; and what is sent has to be JSON, which a page from elsewhere may not send
unasked.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Awaitable, Callable
from typing import Any

from aiohttp import web

from fem.core.errors import InputError
from fem.explore.fe_job import UnknownSolveError

NAMES = ("127.0.0.1", "localhost")

POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    ]
)
"""Content-Security-Policy: the page loads nothing from elsewhere, and sends nothing there."""

HEADERS = {
    "Content-Security-Policy": POLICY,
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}

type Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


@web.middleware
async def guard(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Refuse another host or origin, and answer errors as JSON with one sentence.

    Input that cannot be used is no fault of the page, which shows the sentence: it is answered with
    status 200, for a browser writes every other one into its console as an error.
    """
    if request.host not in hosts(request):
        return failure(403, f'host "{request.host}": only this machine itself is served')
    origin = request.headers.get("Origin")
    if origin is not None and origin not in {f"http://{host}" for host in hosts(request)}:
        return failure(403, f'origin "{origin}": only the page of this server is answered')
    try:
        return await handler(request)
    except InputError as error:
        return failure(200, str(error))
    except UnknownSolveError as error:
        return failure(404, str(error))
    except web.HTTPNotFound:
        return failure(404, "there is nothing here")
    except web.HTTPException as error:
        return failure(error.status, error.text or error.reason)
    except Exception as error:  # a fault of ours must end neither the server nor the page
        print(f"{request.method} {request.rel_url.name}: {error!r}", file=sys.stderr)
        return failure(500, f"a fault of the program: {type(error).__name__}: {error}")


def hosts(request: web.Request) -> set[str]:
    """Return the Host headers that name this server."""
    port = request.transport.get_extra_info("sockname")[1] if request.transport else 0
    return {f"{name}:{port}" for name in NAMES}


async def add_headers(_: web.Request, response: web.StreamResponse) -> None:
    """Say what the page may do; data are kept by no cache, files are asked for anew."""
    response.headers.update(HEADERS)
    response.headers.setdefault("Cache-Control", "no-store")


def failure(status: int, sentence: str) -> web.Response:
    """Return an error as JSON."""
    return web.json_response({"error": sentence}, status=status)


def binary(packed: bytes) -> web.Response:
    """Return a pack."""
    return web.Response(body=packed, content_type="application/octet-stream")


async def json_of(request: web.Request) -> Any:
    """Return the JSON that a request brings.

    Raises
    ------
    aiohttp.web.HTTPBadRequest
        If it brings none.
    """
    if request.content_type != "application/json":
        raise web.HTTPBadRequest(text=f'content type "{request.content_type}": JSON is due')
    try:
        return await request.json()
    except (json.JSONDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise web.HTTPBadRequest(text=f"not valid JSON: {error}") from None
