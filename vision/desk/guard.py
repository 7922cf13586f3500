"""Stands before every request: this computer only, our own pages only, nothing too large, nothing loaded from elsewhere.

A web page from elsewhere could send requests to 127.0.0.1 from the user's browser. So Host must be ours (against names that
are made to point here), Origin, where a browser states it, must be ours, and whatever changes something carries the token that
only our own pages know; a page of another origin cannot read it.
"""

from __future__ import annotations

import asyncio
import logging
import secrets
import time
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.datastructures import Headers, MutableHeaders

Message = MutableMapping[str, Any]
Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]
Refuse = Callable[[int, str, str], App]  # status, kind, what the request accepts -> a response
NAMES = ("127.0.0.1", "localhost", "[::1]")
CHANGING = {"POST", "PUT", "PATCH", "DELETE"}
STALL_S = 30.0  # a body that stops arriving for so long is given up, so that slow senders cannot hold the desk
DRAIN_BYTES = 8 * 2**30  # a refused upload is read to its end, so that the browser gets to see why
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
PARTS = {
    "", "photos", "camera", "combined", "phone", "pair", "setup", "samples", "waiting", "again",
    "jobs", "trays", "study", "readings", "compare", "records", "records.csv", "instruments",
    "equipment", "tags", "about", "reports", "export", "backup.zip", "theme", "api", "static",
}  # fmt: skip
TOKEN_HEADER = "x-flutegauge-token"  # noqa: S105 - a header's name
log = logging.getLogger("flutegauge.desk")


class TooLargeError(Exception):
    """A request's body passed the limit."""


class StalledError(Exception):
    """Nothing more of a request's body came for too long."""


class Guard:
    """ASGI middleware; ``refuse`` makes the answer to what is not let through. ``hosts``: names it answers to, unstated loopback's."""

    def __init__(
        self, app: App, *, port: int, most_bytes: int, refuse: Refuse, stall_s: float = STALL_S, hosts: set[str] | None = None
    ) -> None:
        self._app, self._most_bytes, self._refuse, self._stall_s = app, most_bytes, refuse, stall_s
        self._hosts = hosts or {f"{name}:{port}" for name in NAMES}
        self._origins = {f"http://{host}" for host in self._hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through or answer it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began, headers = time.monotonic(), Headers(scope=scope)
        status = 0

        async def sending(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                added = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    added.setdefault(name, value)
            await send(message)

        refused = self._why_not(scope, headers)
        if refused is not None:
            if refused[1] == "too_large":
                await _drain(receive)
            await self._refuse(*refused, headers.get("accept", ""))(scope, receive, sending)
        else:
            try:
                await self._app(scope, self._counting(receive), sending)
            except TooLargeError:
                await _drain(receive)
                await self._refuse(413, "too_large", headers.get("accept", ""))(scope, receive, sending)
            except StalledError:
                await self._refuse(408, "stalled", headers.get("accept", ""))(scope, receive, sending)
        log.info("%s %s %s %.0f ms", scope["method"], part_of(scope["path"]), status, 1000 * (time.monotonic() - began))

    def _why_not(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        if headers.get("host", "") not in self._hosts:
            return 421, "host"
        if scope["method"] not in CHANGING:
            return None
        origin = headers.get("origin")
        if origin is not None and origin not in self._origins:
            return 403, "expired"
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return 403, "expired"
        if _length(headers) > self._most_bytes:
            return 413, "too_large"
        return None

    def _counting(self, receive: Receive) -> Receive:
        taken, body = 0, True

        async def counted() -> Message:
            nonlocal taken, body
            waited = self._stall_s if body else None  # after the body comes only word that the sender has gone
            try:
                message = await asyncio.wait_for(receive(), waited)
            except TimeoutError:
                raise StalledError from None
            body = message["type"] == "http.request" and message.get("more_body", False)
            taken += len(message.get("body", b""))
            if taken > self._most_bytes:
                raise TooLargeError
            return message

        return counted


def part_of(path: str) -> str:
    """Return which part of the desk a path belongs to; the rest, which may hold codes or names, stays out of the log."""
    first = path.split("/")[1] if "/" in path else ""
    return f"/{first}" if first in PARTS else "other"


def new_token() -> str:
    """Return the token of one run of the desk."""
    return secrets.token_urlsafe(24)


def same(token: str, other: object) -> bool:
    """Tell whether a token sent is ours, in constant time."""
    return isinstance(other, str) and secrets.compare_digest(token.encode(), other.encode())


def _length(headers: Headers) -> int:
    stated = headers.get("content-length", "0")
    return int(stated) if stated.isdigit() else 0


async def _drain(receive: Receive) -> None:
    taken = 0
    while taken < DRAIN_BYTES:
        message = await receive()
        taken += len(message.get("body", b""))
        if message["type"] == "http.disconnect" or not message.get("more_body", False):
            return
