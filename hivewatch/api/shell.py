"""What stands around every request: who may ask, how much, and with which safety headers.

The server listens on loopback. A page from elsewhere can still make a browser on this machine ask
it: by a name that suddenly points here (DNS rebinding), or by a form that posts across sites. Both
are refused before any endpoint sees them.
"""

from __future__ import annotations

from time import perf_counter
from urllib.parse import urlsplit

import structlog
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from hivewatch import metrics
from hivewatch.api import problems
from hivewatch.settings.fields import is_loopback

BODY_MAX_BYTES = 262_144  # own choice: an inspection with sixty frames is under 10 kB
READS = frozenset({"GET", "HEAD", "OPTIONS"})

SAFETY = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}

log = structlog.get_logger(__name__)


class Shell:
    """The outermost layer of the app (pure ASGI)."""

    def __init__(self, app: ASGIApp, host: str, public_url: str | None = None) -> None:
        """Take the app, the host name it is told to listen on, and where a proxy shows it."""
        self.app, self.host = app, host
        self.public = urlsplit(public_url or "").netloc

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Judge the request, pass it on, and time the answer."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = perf_counter()
        headers = Headers(scope=scope)
        refused = self._refuse(scope["method"], headers)
        is_head = scope["method"] == "HEAD"
        answer = _Answer(send, is_private=scope["path"].startswith("/api/"), is_head=is_head)
        if is_head:  # answered as GET, without the body (RFC 9110 section 9.3.2)
            scope = {**scope, "method": "GET"}
        try:
            if refused is not None:
                await refused(scope, receive, answer.send)
            else:
                await self.app(scope, _bounded(receive), answer.send)
        except Exception:
            if answer.status:
                raise
            log.exception("request_failed", method=scope["method"])
            fault = problems.respond(500, "A fault of the program; its log says more.")
            await fault(scope, receive, answer.send)
        finally:
            if not answer.is_stream:  # which takes as long as somebody listens
                took_s = perf_counter() - started
                metrics.REQUEST.labels(f"{(answer.status or 500) // 100}xx").observe(took_s)

    def _refuse(self, method: str, headers: Headers) -> ASGIApp | None:
        """Give the answer to a request that must not be served."""
        host = headers.get("host", "")
        if not self._is_ours(host):
            return problems.respond(
                421, "This server answers to its address or to localhost, not to that name."
            )
        origin = headers.get("origin")
        own = {host, self.public} - {""}
        if method not in READS and origin is not None and urlsplit(origin).netloc not in own:
            return problems.respond(403, "Only this server's own pages may change things.")
        length = headers.get("content-length", "0")
        if length.isdecimal() and int(length) > BODY_MAX_BYTES:
            return problems.respond(413, f"More than {BODY_MAX_BYTES} bytes in one request.")
        return None

    def _is_ours(self, host: str) -> bool:
        """Say whether a Host header names this machine and no other, or the proxy before it."""
        if self.public and host.lower() == self.public:
            return True
        try:
            name = urlsplit(f"//{host}").hostname or ""
        except ValueError:
            return False
        return name == self.host.lower() or is_loopback(name)


class _Answer:
    """Passes an answer on, with the safety headers, and remembers its status."""

    def __init__(self, send: Send, *, is_private: bool, is_head: bool) -> None:
        self._send, self._is_private, self._is_head = send, is_private, is_head
        self.status = 0
        self.is_stream = False

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.status = message["status"]
            headers = MutableHeaders(scope=message)
            self.is_stream = headers.get("content-type", "").startswith("text/event-stream")
            for name, value in SAFETY.items():
                headers[name] = value
            headers.setdefault("cache-control", "no-store" if self._is_private else "no-cache")
        elif self._is_head:
            message = {**message, "body": b""}
        await self._send(message)


def _bounded(receive: Receive) -> Receive:
    """Count a body that does not say its length, and stop it at the limit."""
    seen = 0

    async def take() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > BODY_MAX_BYTES:
            raise HTTPException(413, f"More than {BODY_MAX_BYTES} bytes in one request.")
        return message

    return take
