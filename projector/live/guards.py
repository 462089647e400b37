"""Who may speak to the server: pages that it served itself, to this machine, and nobody else.

Any web page that a browser shows may send requests to 127.0.0.1. So the Host has to be this server (else a foreign name
could be pointed at it), the Origin its own, and the address holds a token that no other page knows.
"""

from __future__ import annotations

import hmac
import logging
import time
from collections.abc import Iterable

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send

_LOG = logging.getLogger(__name__)
_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self';"
        " base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "cache-control": "no-store",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
}


class Guard:
    """Lets through what comes from this server's own pages. token: the first part of every path; hosts: what the
    server is called, "127.0.0.1:8017".
    """

    def __init__(self, app: ASGIApp, token: str, hosts: Iterable[str]):
        self.app, self.token, self.hosts = app, token, frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or hand on with the security headers."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        refusal = self.refusal(scope)
        if refusal is None:
            await self.app(scope, receive, _with_headers(send))
            return
        status, words = refusal
        _LOG.warning("refused: %s", words)
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008, "reason": words})
        else:
            await PlainTextResponse(f"{words}\n", status)(scope, receive, _with_headers(send))

    def refusal(self, scope: Scope) -> tuple[int, str] | None:
        """Why a request is not answered, with its status; None where it is."""
        headers = {key.decode("latin-1").lower(): value.decode("latin-1") for key, value in scope["headers"]}
        if headers.get("host", "") not in self.hosts:
            return 403, "another host than this server"
        origin, is_reading = headers.get("origin"), scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
        if origin is None and not is_reading:
            return 403, "no origin"
        if origin is not None and origin not in {f"http://{host}" for host in self.hosts}:
            return 403, "another origin than this server"
        given = scope["path"].split("/")[1] if "/" in scope["path"] else ""
        if not hmac.compare_digest(given.encode(), self.token.encode()):
            return 404, "there is nothing here; use the address that the command printed"
        return None


def _with_headers(send: Send) -> Send:
    async def sent(message):
        if message["type"] == "http.response.start":
            present = {key.lower() for key, _ in message["headers"]}
            added = [(key.encode(), value.encode()) for key, value in _HEADERS.items() if key.encode() not in present]
            message = {**message, "headers": [*message["headers"], *added]}
        await send(message)

    return sent


class Pace:
    """How many messages come in: more than a hand can make is a flood. a_second: so many on, kept up for `seconds`."""

    def __init__(self, a_second: float = 200.0, seconds: float = 3.0, clock=time.monotonic):
        self._a_second, self._room = a_second, a_second * seconds
        self._clock, self._level, self._last = clock, 0.0, clock()

    def is_flood(self) -> bool:
        """Count one more; whether it is too many."""
        now = self._clock()
        self._level = max(0.0, self._level - (now - self._last) * self._a_second) + 1.0
        self._last = now
        return self._level > self._room
