"""What stands before the bench: who may ask, from where, and how much; and the headers that keep a page to itself."""

from __future__ import annotations

import asyncio
import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qs, urlsplit

from shadewright.web import meshes, wire
from shadewright.web.answer import compact

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

COOKIE = "shadewright-bench"
BODY_WAIT = 30.0
"""Seconds in which a request's body must have come."""
MOST_UPLOADS = 2
"""Large bodies taken in at once."""
LOOPBACK = frozenset({"localhost", "127.0.0.1", "[::1]", "::1"})
MESHES = "/api/meshes"
FRAMES = "/api/frames"

HEADERS = {
    "content-security-policy": "default-src 'self'; img-src 'self' data: blob:; style-src 'self'; script-src 'self'; connect-src 'self'; "
    "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


@dataclass(frozen=True)
class Rules:
    """Who may ask. token: asked for from everybody where the bench is open to other machines; None on loopback."""

    token: str | None = None

    def __repr__(self) -> str:
        return f"Rules(token={'none' if self.token is None else 'kept to itself'})"


class _Refused(Exception):
    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.status, self.sentence = status, sentence


class Guard:
    """Wraps the application: checks each request before it gets there, and reads its body within limits."""

    def __init__(self, app: App, rules: Rules) -> None:
        self.app, self.rules = app, rules
        self.uploads = asyncio.Semaphore(MOST_UPLOADS)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what may pass; answer the rest with one sentence."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            # No page of ours opens a web socket.
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = _headers(scope)
        guarded = _with_headers(send, scope)
        try:
            self._require_own_host(headers)
            self._require_same_site(scope, headers)
            if self.rules.token is not None and await self._let_in_by_token(scope, headers, guarded):
                return
            if scope["method"] not in ("POST", "PUT", "PATCH", "DELETE"):
                await self.app(scope, receive, guarded)
                return
            if scope["method"] == "POST" and scope["path"] == FRAMES:
                # A photograph is not held in memory: the application writes it down as it comes, within limits.
                _require_kind(headers, "application/octet-stream")
                async with self.uploads:
                    await self.app(scope, receive, guarded)
                return
            limit, kind = (meshes.MOST_BYTES, "application/octet-stream") if scope["path"] == MESHES else (wire.MOST_BYTES, "application/json")
            if scope["method"] == "POST":
                _require_kind(headers, kind)
            if limit > wire.MOST_BYTES:
                async with self.uploads:
                    body = await _body(receive, headers, limit)
            else:
                body = await _body(receive, headers, limit)
        except _Refused as refused:
            await _answer(guarded, refused.status, refused.sentence)
            return
        if body is not None:
            await self.app(scope, _replayed(body, receive), guarded)

    def _require_own_host(self, headers: dict[str, str]) -> None:
        """On loopback only names of this machine are answered, so that no other site can pass for it by its own name."""
        host = headers.get("host")
        if not host:
            raise _Refused(400, "the request names no host.")
        if self.rules.token is None and _hostname(host) not in LOOPBACK:
            raise _Refused(403, "the bench answers on this machine only, as 127.0.0.1 or localhost.")

    def _require_same_site(self, scope: Scope, headers: dict[str, str]) -> None:
        """No other site's page may ask, or have a browser ask, for anything but to open the page itself."""
        origin, host = headers.get("origin"), headers.get("host", "")
        if origin is not None and (origin == "null" or urlsplit(origin).netloc.lower() != host.lower()):
            raise _Refused(403, "another site's page may not use the bench.")
        site = headers.get("sec-fetch-site", "none")
        opening = scope["method"] in ("GET", "HEAD") and headers.get("sec-fetch-mode") == "navigate" and not scope["path"].startswith("/api/")
        if site not in ("same-origin", "none") and not opening:
            raise _Refused(403, "another site's page may not use the bench.")

    async def _let_in_by_token(self, scope: Scope, headers: dict[str, str], send: Send) -> bool:
        """Let in who brings the token; True where the request is answered already."""
        given = _token(headers)
        if given is not None and self._is_token(given):
            return False
        if scope["method"] == "GET" and scope["path"] == "/":
            asked = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [""])[0]
            if asked and self._is_token(asked):
                cookie = f"{COOKIE}={asked}; Path=/; HttpOnly; SameSite=Strict"
                await send(
                    {
                        "type": "http.response.start", "status": 303,
                        "headers": [(b"location", b"/"), (b"set-cookie", cookie.encode("latin-1")), (b"content-length", b"0")],
                    }
                )  # fmt: skip
                await send({"type": "http.response.body", "body": b""})
                return True
        raise _Refused(401, "this bench asks for its token: open the address that was printed when it was started.")

    def _is_token(self, given: str) -> bool:
        assert self.rules.token is not None
        return hmac.compare_digest(given.encode("utf-8", "replace"), self.rules.token.encode("utf-8"))


def _headers(scope: Scope) -> dict[str, str]:
    return {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}


def _hostname(host: str) -> str:
    """The name in a Host header, without the port."""
    if host.startswith("["):
        return host.split("]", 1)[0].lower() + "]"
    return host.rsplit(":", 1)[0].lower() if host.count(":") == 1 else host.lower()


def _token(headers: dict[str, str]) -> str | None:
    """The token of a request: from its Authorization header, or from the cookie."""
    authorization = headers.get("authorization", "")
    if authorization.lower().startswith("bearer "):
        return authorization[7:].strip()
    for part in headers.get("cookie", "").split(";"):
        name, _, value = part.strip().partition("=")
        if name == COOKIE:
            return value
    return None


def _require_kind(headers: dict[str, str], kind: str) -> None:
    if headers.get("content-encoding", "identity") not in ("", "identity"):
        raise _Refused(415, "send the body as it is, not packed.")
    if headers.get("content-type", "").split(";", 1)[0].strip().lower() != kind:
        raise _Refused(415, f"send the body as content-type: {kind}.")


async def _body(receive: Receive, headers: dict[str, str], limit: int) -> bytes | None:
    """The whole body; None where the client has gone."""
    announced = headers.get("content-length", "0")
    too_large = _Refused(413, f"the body is larger than the {limit:,} bytes that are taken.")
    found = bytearray()
    try:
        async with asyncio.timeout(BODY_WAIT):
            if len(announced) > 12 or (announced.isascii() and announced.isdigit() and int(announced) > limit):
                await _drained(receive, {"more_body": len(announced) <= 12 and int(announced) < 5 * limit}, limit)
                raise too_large
            while True:
                message = await receive()
                if message["type"] == "http.disconnect":
                    return None
                found += message.get("body", b"")
                if len(found) > limit:
                    await _drained(receive, message, limit)
                    raise too_large
                if not message.get("more_body", False):
                    return bytes(found)
    except TimeoutError:
        raise _Refused(408, f"the body did not come within {BODY_WAIT:g} s.") from None


async def _drained(receive: Receive, message: Message, limit: int) -> None:
    """Hear out a client that sends too much, within reason, so that it hears the refusal."""
    dropped = 0
    while message.get("more_body", False) and dropped < 4 * limit:
        message = await receive()
        dropped += len(message.get("body", b""))


def _replayed(body: bytes, receive: Receive) -> Receive:
    """A receive that gives the body once, and then what the client does."""
    given = False

    async def again() -> Message:
        nonlocal given
        if not given:
            given = True
            return {"type": "http.request", "body": body, "more_body": False}
        return await receive()

    return again


def _with_headers(send: Send, scope: Scope) -> Send:
    """A send that adds the guard's headers to every answer."""
    cache = b"no-store" if scope["path"].startswith("/api/") else b"no-cache"

    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = [(name.encode("latin-1"), value.encode("latin-1")) for name, value in HEADERS.items()]
            kept = [pair for pair in message.get("headers", []) if pair[0].lower() != b"cache-control"]
            message = {**message, "headers": [*kept, *own, (b"cache-control", cache)]}
        await send(message)

    return guarded


async def _answer(send: Send, status: int, sentence: str) -> None:
    body = compact({"sentence": sentence})
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode("ascii"))]
    if status == 401:
        headers.append((b"www-authenticate", b"Bearer"))
    if status in (408, 413):
        headers.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
