"""ETags: whoever asks again for what has not changed is told so, without the answer (RFC 9110).

A list carries the server's time; that alone is no change, so it is left out of the tag, which is
therefore a weak one. An endpoint that gives a strong tag keeps it.
"""

from __future__ import annotations

import hashlib
import re
from http import HTTPStatus
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

JSON = "application/json"
_NOW = re.compile(rb'"now":"[^"]{20}",?', re.ASCII)
_TAG = re.compile(r'\*|(?:W/)?("[\x21\x23-\x7e\x80-\xff]*")')
KEPT_ON_304 = {b"etag", b"cache-control", b"content-location", b"date", b"expires", b"vary"}

CONDITION = {
    "name": "if-none-match",
    "in": "header",
    "required": False,
    "schema": {"type": "string"},
    "description": "ETags of answers that you have; 304 if one of them still holds",
}


class Tags:
    """Gives every JSON answer to a GET its ETag, and 304 in its place where it is known."""

    def __init__(self, app: ASGIApp, root: str) -> None:
        """Take the app, and the path below which answers are tagged."""
        self.app, self.root = app, root

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hold an answer back until it is whole, tag it, and send it or 304."""
        is_ours = scope["type"] == "http" and scope["method"] == "GET"
        if not is_ours or not scope["path"].startswith(self.root):
            await self.app(scope, receive, send)
            return
        asked = ", ".join(Headers(scope=scope).getlist("if-none-match"))
        await self.app(scope, receive, _Held(send, asked).take)


class _Held:
    def __init__(self, send: Send, asked: str) -> None:
        self._send, self._asked = send, asked
        self._start: Message | None = None
        self._parts: list[bytes] = []

    async def take(self, message: Message) -> None:
        if message["type"] == "http.response.start" and _is_tagged(message):
            self._start = message
            return
        if self._start is None or message["type"] != "http.response.body":
            await self._send(message)
            return
        self._parts.append(message.get("body", b""))
        if message.get("more_body", False):
            return
        start, body = self._start, b"".join(self._parts)
        headers = MutableHeaders(scope=start)
        headers.setdefault("etag", tag_of(body))
        if knows(self._asked, headers["etag"]):
            kept = [(name, value) for name, value in start["headers"] if name in KEPT_ON_304]
            start, body = {**start, "status": int(HTTPStatus.NOT_MODIFIED), "headers": kept}, b""
        await self._send(start)
        await self._send({"type": "http.response.body", "body": body})


def _is_tagged(start: Message) -> bool:
    kind = Headers(raw=start["headers"]).get("content-type", "")
    return start["status"] == HTTPStatus.OK and kind.startswith(JSON)


def tag_of(body: bytes) -> str:
    """Give the weak ETag of a JSON answer."""
    told = _NOW.sub(b"", body, count=1) if body.startswith(b'{"now":') else body
    return f'W/"{hashlib.blake2b(told, digest_size=12).hexdigest()}"'


def knows(asked: str, tag: str) -> bool:
    """Say whether If-None-Match names a tag, by the weak comparison (RFC 9110 section 13.1.2)."""
    opaque = tag.removeprefix("W/")
    return any(one[0] == "*" or one[1] == opaque for one in _TAG.finditer(asked))


def describe(paths: dict[str, Any], root: str) -> None:
    """Write into an OpenAPI document what `Tags` does."""
    tag = {"description": "changes when the answer does", "schema": {"type": "string"}}
    for path, operations in paths.items():
        one = operations.get("get", {})
        told = one.get("responses", {}).get("200", {})
        if path.startswith(root) and JSON in told.get("content", {}):
            told["headers"] = {"ETag": tag}
            unchanged = {"description": "It has not changed", "headers": {"ETag": tag}}
            one["responses"]["304"] = unchanged
            one.setdefault("parameters", []).append(CONDITION)
