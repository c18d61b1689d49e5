"""Who may ask the page for anything, and how long a request's headers may take."""

import asyncio
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any, Final

from uvicorn.protocols.http.auto import AutoHTTPProtocol

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

HOST_NAMES: Final = ("127.0.0.1", "localhost")
"""Names of this machine that a browser may use."""

MOST_BODY: Final = 64 * 1024 * 1024
"""Largest body of any request; each upload has its own, smaller limit [bytes]."""

CONTENT_POLICY: Final = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
    "connect-src 'self'; frame-ancestors 'none'; form-action 'self'; base-uri 'self'; "
    "object-src 'none'"
)
"""What the page may load: nothing from elsewhere (the framework compiles its templates itself)."""

HEADERS: Final = (
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
)

FOREIGN_LINK_HTML: Final = (
    b"<!doctype html><html lang=en><meta charset=utf-8><title>moulddesign</title>"
    b"<p>Another site has sent you here. <a href=''>Open the page</a> if that is what you want.</p>"
)
"""Shown instead of the page to who follows a link from another site: nothing is built yet."""


class Guard:
    """Lets through what the page itself asks for, and refuses the rest."""

    # Plain ASGI: a middleware of the framework would not see websockets.

    def __init__(self, app: App, port: int) -> None:
        self.app = app
        self.hosts = {f"{name}:{port}".encode() for name in HOST_NAMES}
        self.origins = {b"http://" + host for host in self.hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request, or refuse it."""
        if scope["type"] not in {"http", "websocket"}:
            await self.app(scope, receive, send)
            return
        headers = _headers(scope["headers"])
        if _header_count(scope, b"host") != 1 or headers[b"host"] not in self.hosts:
            await _refused(scope, send, 421, body=b"This name is not served here.")
        elif _header_count(scope, b"origin") > 1 or self._is_foreign(headers):
            if _is_visit(scope, headers):
                await _refused(scope, send, 403, body=FOREIGN_LINK_HTML)
            else:
                await _refused(scope, send, 403, body=b"Other sites may not ask for this.")
        elif _too_large(headers):
            await _refused(scope, send, 413, body=b"That is too large.")
        else:
            await self.app(scope, receive, _with_headers(send))

    def _is_foreign(self, headers: dict[bytes, bytes]) -> bool:
        origin = headers.get(b"origin")
        if origin is not None and origin not in self.origins:
            return True
        return headers.get(b"sec-fetch-site", b"none") not in {b"none", b"same-origin"}


def _headers(pairs: Iterable[tuple[bytes, bytes]]) -> dict[bytes, bytes]:
    return {name.lower(): value for name, value in pairs}


def _header_count(scope: Scope, name: bytes) -> int:
    """Return how often a header was sent: of two, one could hide the other."""
    return sum(one.lower() == name for one, _ in scope["headers"])


def _is_visit(scope: Scope, headers: dict[bytes, bytes]) -> bool:
    return (
        scope["type"] == "http"
        and scope["method"] == "GET"
        and scope["path"] == "/"
        and headers.get(b"sec-fetch-mode") == b"navigate"
        and headers.get(b"sec-fetch-dest") == b"document"
    )


def _too_large(headers: dict[bytes, bytes]) -> bool:
    length = headers.get(b"content-length", b"0")
    return not length.isdigit() or int(length) > MOST_BODY


async def _refused(scope: Scope, send: Send, status: int, *, body: bytes) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    kind = b"text/html" if body.startswith(b"<") else b"text/plain"
    headers = [
        (b"content-type", kind + b"; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        *HEADERS,
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _with_headers(send: Send) -> Send:
    async def send_with_headers(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in message.get("headers", ())}
            more = [pair for pair in HEADERS if pair[0] not in own]
            message = dict(message) | {"headers": [*message.get("headers", ()), *more]}
        await send(message)

    return send_with_headers


HEADERS_LIMIT_S: Final = 10.0
"""Longest time from the first byte of a request, or from the connection, to the end of its headers;
our choice: a browser on this machine takes milliseconds [s]."""


class HeaderLimitProtocol(AutoHTTPProtocol):  # type: ignore[misc, valid-type]
    """HTTP that closes a connection whose headers do not come to an end: it would be kept for ever.

    uvicorn 0.54 limits the time between requests alone.
    """

    _limit: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:
        """Begin to wait for the first request."""
        super().connection_made(transport)
        self._limit = self.loop.call_later(HEADERS_LIMIT_S, transport.close)

    def data_received(self, data: bytes) -> None:
        """Wait no longer where the headers are whole; wait for those of the next request."""
        before = self.cycle
        if self._limit is None and (before is None or before.response_complete):
            self._limit = self.loop.call_later(HEADERS_LIMIT_S, self.transport.close)
        super().data_received(data)
        is_upgraded = self.transport.get_protocol() is not self
        if self.cycle is not before or is_upgraded:
            self._stop_waiting()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no longer."""
        self._stop_waiting()
        super().connection_lost(exc)

    def _stop_waiting(self) -> None:
        if self._limit is not None:
            self._limit.cancel()
            self._limit = None
