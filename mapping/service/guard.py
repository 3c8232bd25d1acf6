"""What every request passes before a route, and every reply after it: names, size, headers, one line of log."""

from __future__ import annotations

import asyncio
import time
import uuid
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

from layette.mapping.service import log
from layette.mapping.service.limits import Limits
from layette.mapping.service.names import check_names
from layette.mapping.service.reply import FHIR_JSON, JSON, Refusal, Reply

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

# Styles may stand in the page, scripts may not: the report is one self-contained page, and shown in a frame of ours it
# lives by these rules too. A style can send nothing anywhere, since nothing may be loaded from elsewhere.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; font-src 'self'; "
    "connect-src 'self'; frame-src 'self' blob:; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
)

HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
"""The headers of every reply."""

METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}


class Guard:
    """An ASGI application around another."""

    def __init__(self, app: App, limits: Limits, names: Iterable[str]) -> None:
        """Guard ``app``; ``names`` are those that the server goes by."""
        self.app = app
        self.limits = limits
        self.names = frozenset(names)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        elif scope["type"] == "http":
            await self._http(scope, receive, send)
        else:
            await send({"type": "websocket.close", "code": 1008})

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        outgoing = Outgoing(send, uuid.uuid4().hex[:12])
        began = time.perf_counter()
        try:
            body = await self._let_in(scope, receive)
            await self.app(scope, _replayed(body, receive), outgoing)
        except Refusal as refusal:
            await outgoing.reply(refusal.reply(form_of_path(scope["path"])))
        except Exception as error:  # the last resort; its message may hold words of the visit
            log.LOG.error("%s a fault of the program: %s", outgoing.number, type(error).__name__)
            fault = Refusal("fault", "a fault of the program, not of the input; nothing was decided")
            await outgoing.reply(fault.reply(form_of_path(scope["path"])))
        finally:
            method = scope["method"] if scope["method"] in METHODS else "-"
            route = getattr(scope.get("route"), "path", "-")
            log.request(outgoing.number, method, route, outgoing.status, time.perf_counter() - began)

    async def _let_in(self, scope: Scope, receive: Receive) -> bytes:
        headers = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        check_names(headers, scope["method"], self.names)
        if headers.get("content-encoding", "identity") != "identity":
            raise Refusal("media-type", "a compressed body is not read", expected="the body as it is")
        length = headers.get("content-length", "0")
        if length.isdecimal() and int(length) > self.limits.size:
            raise self._too_large()
        try:
            async with asyncio.timeout(self.limits.upload):
                return await self._body(receive)
        except TimeoutError:
            raise Refusal("upload", f"the body was not here within {self.limits.upload:g} s") from None

    async def _body(self, receive: Receive) -> bytes:
        parts, size = [], 0
        while True:
            message = await receive()
            parts.append(message.get("body", b""))
            size += len(parts[-1])
            if size > self.limits.size:
                raise self._too_large()
            if not message.get("more_body"):
                return b"".join(parts)

    def _too_large(self) -> Refusal:
        return Refusal("too-large", "the body is larger than is read", expected=f"at most {self.limits.size} bytes")


class Outgoing:
    """The way out: adds what every reply has, and remembers how it ended."""

    def __init__(self, send: Send, number: str) -> None:
        """Send by ``send``; ``number`` is the request's own."""
        self.send = send
        self.number = number
        self.status = 0

    async def __call__(self, message: Message) -> None:
        """Pass a message on."""
        if message["type"] == "http.response.start":
            self.status = message["status"]
            own = {name.lower() for name, _ in message["headers"]}
            more = {**HEADERS, "X-Request-Id": self.number}
            added = [(n.lower().encode(), v.encode()) for n, v in more.items() if n.lower().encode() not in own]
            message = {**message, "headers": [*message["headers"], *added]}
        await self.send(message)

    async def reply(self, made: Reply) -> None:
        """Send a whole reply, unless one has begun already."""
        if self.status:
            return
        length = str(len(made.body))
        said = {"content-type": made.media, "content-length": length, **made.headers}
        if made.status in (408, 413):  # what is still on its way is not read
            said["connection"] = "close"
        headers = [(name.lower().encode(), value.encode()) for name, value in said.items()]
        await self({"type": "http.response.start", "status": made.status, "headers": headers})
        await self.send({"type": "http.response.body", "body": made.body})


def _replayed(body: bytes, receive: Receive) -> Receive:
    """Return a channel that gives the body that was read, and then what comes after it."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


def form_of_path(path: str) -> str:
    """Return the form in which an error is told where no route has chosen one."""
    return FHIR_JSON if path == "/fhir" or path.startswith("/fhir/") else JSON
