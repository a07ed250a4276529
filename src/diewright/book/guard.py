"""The door of the local server: who may ask, and how much may be sent.

The server listens on the loopback address only. Even so any web page open in the same browser could call it, so each request must name
this very host (against rebinding of names), carry the token that the address printed at the start set as a cookie, and, if it changes
anything, come from a page of ours (Origin). Bodies above their limit are refused before they are read.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from starlette.exceptions import HTTPException

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]

COOKIE = "diewright"
JSON_LIMIT = 1_000_000
UPLOAD_LIMIT = 200_000_000
HEADERS = [
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
]


class _TooLarge(HTTPException):
    """The body went over its limit while it was read; the application's own handler says so."""

    def __init__(self, limit: int) -> None:
        super().__init__(413, _too_large(limit))


class Guard:
    """ASGI wrapper around the application."""

    def __init__(self, app: Callable[[Scope, Receive, Send], Awaitable[None]], token: str, hosts: tuple[str, ...]) -> None:
        self.app = app
        self.token = token
        self.hosts = hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _refuse(send, *refusal)
            return
        query = parse_qs(scope["query_string"].decode("latin-1"))
        if scope["method"] == "GET" and "token" in query:
            await send(
                {"type": "http.response.start", "status": 303, "headers": [(b"location", scope["path"].encode()), self._cookie(), *HEADERS]}
            )
            await send({"type": "http.response.body", "body": b""})
            return
        limit = UPLOAD_LIMIT if scope["path"] == "/api/part" else JSON_LIMIT
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > limit:
            await _refuse(send, 413, _too_large(limit))
            return
        seen = 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > limit:
                raise _TooLarge(limit)
            return message

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", []), *HEADERS]}
            await send(message)

        await self.app(scope, counted, dressed)

    def _cookie(self) -> tuple[bytes, bytes]:
        return (b"set-cookie", f"{COOKIE}={self.token}; Path=/; HttpOnly; SameSite=Strict".encode())

    def _refusal(self, scope: Scope, headers: dict[str, str]) -> tuple[int, str] | None:
        host = headers.get("host", "")
        if host not in self.hosts:
            return 403, f"This server answers to {self.hosts[0]} only."
        if scope["method"] not in ("GET", "HEAD") and headers.get("origin", f"http://{host}") != f"http://{host}":
            return 403, "The request comes from a page that is not part of this job book."
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return 403, "The request comes from a page that is not part of this job book."
        if not self._token_fits(scope, headers):
            return 401, "This address lacks its key: open the job book with the full address that diewright printed when it started."
        return None

    def _token_fits(self, scope: Scope, headers: dict[str, str]) -> bool:
        cookie = SimpleCookie()
        try:
            cookie.load(headers.get("cookie", ""))
        except CookieError:
            return False
        given = [cookie[COOKIE].value] if COOKIE in cookie else []
        given += parse_qs(scope["query_string"].decode("latin-1")).get("token", [])
        given.append(headers.get("x-diewright-token", ""))
        return any(hmac.compare_digest(g.encode(), self.token.encode()) for g in given)


def _too_large(limit: int) -> str:
    return f"What was sent is larger than {limit // 1_000_000} MB."


async def _refuse(send: Send, status: int, what: str) -> None:
    body = json.dumps({"error": what, "where": "", "help": ""}).encode()
    head: list[tuple[bytes, bytes]] = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode()), *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": head})
    await send({"type": "http.response.body", "body": body})
