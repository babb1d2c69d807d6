"""The door of the page's server: loopback hosts only, one token a run, small posts, headers that shut the rest out."""

from __future__ import annotations

import hmac
from collections.abc import Mapping
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MAX_BODY_BYTES = 256 * 1024
"""A change is a few hundred bytes; a whole survey some tens of kilobytes (invented default)."""

_HOSTS = ("127.0.0.1", "localhost")
HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; "
        "object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
"""On every answer; an answer that may be kept says so itself, the rest get ``cache-control: no-store``."""


class _TooLargeError(Exception):
    pass


class Guard:
    """ASGI middleware that answers only the page it opened itself.

    Parameters
    ----------
    app
        The application behind the door.
    token
        This run's secret; it comes once in the address, then in a cookie named after the port.
    """

    def __init__(self, app: ASGIApp, *, token: str) -> None:
        self.app = app
        self.token = token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}
        port = (scope.get("server") or ("", 0))[1]
        send = _with_headers(send)
        refusal = _refusal(scope["method"], headers, port)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        asked = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if scope["path"] == "/" and scope["method"] == "GET" and self._is_token(asked):
            response = RedirectResponse("/", status_code=303)
            response.set_cookie(f"perpend_{port}", self.token, httponly=True, samesite="strict", path="/")
            await response(scope, receive, send)
            return
        if not self._is_token(_shown_token(headers, port)):
            words = "Not allowed: open the page from the address that perpend printed; each start has a new one.\n"
            await PlainTextResponse(words, 403)(scope, receive, send)
            return
        await self._limited(scope, receive, send, headers)

    def _is_token(self, shown: str) -> bool:
        return hmac.compare_digest(shown.encode(), self.token.encode())

    async def _limited(self, scope: Scope, receive: Receive, send: Send, headers: Mapping[str, str]) -> None:
        words = f"Too large: a post may have {MAX_BODY_BYTES // 1024} kB.\n"
        declared = headers.get("content-length", "0")
        if not declared.isdigit() or int(declared) > MAX_BODY_BYTES:
            await PlainTextResponse(words, 413, headers={"connection": "close"})(scope, receive, send)
            return
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > MAX_BODY_BYTES:
                raise _TooLargeError
            return message

        try:
            await self.app(scope, counted, send)
        except _TooLargeError:
            await PlainTextResponse(words, 413, headers={"connection": "close"})(scope, receive, send)


def _refusal(method: str, headers: Mapping[str, str], port: int) -> PlainTextResponse | None:
    own = {f"{host}:{port}" for host in _HOSTS}
    if headers.get("host", "") not in own:
        return PlainTextResponse(f"Refused: the host {headers.get('host', '')!r} is not this page's.\n", 421)
    origin = headers.get("origin")
    if origin is not None and origin != f"http://{headers['host']}":
        return PlainTextResponse(f"Refused: the origin {origin!r} is not this page's.\n", 403)
    if method not in ("GET", "HEAD") and origin is None:
        return PlainTextResponse("Refused: a change must name its origin.\n", 403)
    if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
        return PlainTextResponse("Refused: asked for from another page.\n", 403)
    return None


def _shown_token(headers: Mapping[str, str], port: int) -> str:
    try:
        cookie = SimpleCookie(headers.get("cookie", "")).get(f"perpend_{port}")
    except CookieError:
        return ""
    return "" if cookie is None else cookie.value


def _with_headers(send: Send) -> Send:
    async def wrapped(message: Message) -> None:
        if message["type"] == "http.response.start":
            have = {name.lower() for name, _ in message["headers"]}
            extra = [(k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in have]
            if b"cache-control" not in have:
                extra.append((b"cache-control", b"no-store"))
            message = {**message, "headers": [*message["headers"], *extra]}
        await send(message)

    return wrapped
