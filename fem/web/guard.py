"""Checks of every request: host and origin; errors as JSON; security headers.

The server listens on 127.0.0.1 only, but any page in a browser on this machine can send requests
there. They are refused by a random key in the path; by a check of the Host header, against other
names that resolve to 127.0.0.1; by a check of the Origin header, in which a browser names the
sending page; and because data must be JSON, which another page cannot send without permission.
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
"""Content-Security-Policy: the page neither loads from nor sends to other servers."""

HEADERS = {
    "Content-Security-Policy": POLICY,
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}

type Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


@web.middleware
async def guard(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Refuse other hosts and origins, and return errors as JSON with a message.

    Input that cannot be used has status 200, and the page shows the message: browsers log any other
    status as an error in the console.
    """
    if request.host not in hosts(request):
        return error_response(403, f'host "{request.host}" refused: only this machine is served')
    origin = request.headers.get("Origin")
    if origin is not None and origin not in {f"http://{host}" for host in hosts(request)}:
        return error_response(403, f'origin "{origin}" refused: only the own page is served')
    try:
        return await handler(request)
    except InputError as error:
        return error_response(200, str(error))
    except UnknownSolveError as error:
        return error_response(404, str(error))
    except web.HTTPNotFound:
        return error_response(404, "not found")
    except web.HTTPException as error:
        return error_response(error.status, error.text or error.reason)
    except Exception as error:  # an internal error must not end the server or the page
        print(f"{request.method} {request.rel_url.name}: {error!r}", file=sys.stderr)
        return error_response(500, f"internal error: {type(error).__name__}: {error}")


def hosts(request: web.Request) -> set[str]:
    """Return the Host headers that name this server."""
    port = request.transport.get_extra_info("sockname")[1] if request.transport else 0
    return {f"{name}:{port}" for name in NAMES}


async def add_headers(_: web.Request, response: web.StreamResponse) -> None:
    """Add the security headers; data are never cached, files are requested again."""
    response.headers.update(HEADERS)
    response.headers.setdefault("Cache-Control", "no-store")


def error_response(status: int, message: str) -> web.Response:
    """Return an error as JSON."""
    return web.json_response({"error": message}, status=status)


def pack_response(packed: bytes) -> web.Response:
    """Return a pack as a response."""
    return web.Response(body=packed, content_type="application/octet-stream")


async def json_of(request: web.Request) -> Any:
    """Return the JSON data of a request.

    Raises
    ------
    aiohttp.web.HTTPBadRequest
        If it has none.
    """
    if request.content_type != "application/json":
        raise web.HTTPBadRequest(text=f'content type "{request.content_type}": JSON required')
    try:
        return await request.json()
    except (json.JSONDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise web.HTTPBadRequest(text=f"not valid JSON: {error}") from None
