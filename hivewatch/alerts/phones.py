"""Phones that asked to ring: each a channel, reached through its push service (RFC 8030).

A repeat after a crash carries the same `Topic` and the same notification tag: the phone shows it in
the first one's place, and does not ring again. A push service is somebody else's machine that a
browser named: it must be a public one, is given bounded time, and the words of its answers are not
read.
"""

from __future__ import annotations

import hashlib
import ipaddress
import json
import socket
import ssl
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlsplit

from sqlalchemy import Connection

from hivewatch.alerts import webpush
from hivewatch.alerts.channels import CONNECT_S, READ_S, test_letter
from hivewatch.alerts.ledger import Letter, Outcome
from hivewatch.clock import Clock, WallClock
from hivewatch.errors import StoreError
from hivewatch.store import phones
from hivewatch.store.open import Store
from hivewatch.store.phones import Phone

KIND = "phone"
DAY_S = 86_400
# How soon a phone that saves its battery is woken (RFC 8030 section 5.3), and for how long the push
# service keeps a message for one that is off (5.2): own choice, by when the news is no use.
URGENCY = {"emergency": "high", "today": "normal"}
TTL_S = {"emergency": 7 * DAY_S, "today": 3 * DAY_S}
LATER = ("low", 14 * DAY_S)  # for the next visit
RETRY_AFTER_MAX_S = 3600  # [s] own choice: no service is waited for longer than that at its word
PASSING_4XX = frozenset({408, 425, 429})  # RFC 9110 section 15.5: others are for good
GONE = frozenset({404, 410})  # RFC 8030 section 7.3, and RFC 9110 section 15.5.11

Reach = Callable[[str], socket.socket]


class _NotPublicError(OSError):
    """The push service's name stands for a machine that is not out in the world."""


def reach_public(host: str) -> socket.socket:
    """Connect to a host, if all its addresses are public ones: no browser sends us home."""
    found = [str(at[4][0]) for at in socket.getaddrinfo(host, 443, type=socket.SOCK_STREAM)]
    if not found or not all(map(is_public, found)):
        raise _NotPublicError
    for at in found[:-1]:
        try:
            return socket.create_connection((at, 443), CONNECT_S)
        except OSError:
            continue
    return socket.create_connection((found[-1], 443), CONNECT_S)


def is_public(address: str) -> bool:
    """Whether an address is one of the world's, and not of this machine or its network."""
    at = ipaddress.ip_address(address.partition("%")[0])
    if isinstance(at, ipaddress.IPv6Address):
        inside = at.ipv4_mapped or at.sixtofour
        if inside is not None:
            at = inside
    return at.is_global and not at.is_multicast


@dataclass(frozen=True, slots=True)
class Line:
    """How push services are reached; tests lead it to a machine of their own."""

    reach: Reach = reach_public
    trust: Callable[[], ssl.SSLContext] = ssl.create_default_context
    answer_s: float = READ_S
    clock: Clock = field(default_factory=WallClock)  # of the world: a token must not be expired


OUT = Line()


class _Answer(NamedTuple):
    """What a push service said: its status, and for how long it wants to be left alone."""

    status: int
    retry_after_s: int


@dataclass(frozen=True, slots=True)
class PhoneChannel:
    """One phone."""

    phone: Phone
    store: Path
    contact: str | None
    line: Line = field(default_factory=lambda: OUT)
    kind: str = KIND

    @property
    def name(self) -> str:
        """What decisions and logs call it."""
        return self.phone.name

    def send(self, letter: Letter) -> Outcome:
        """Hand one message to the phone's push service."""
        try:
            answer = self._post(letter)
        except StoreError as error:
            return Outcome("waiting", "passing fault", str(error))
        except _NotPublicError:
            return Outcome("failed", "refused", "its push service is no public machine")
        except TimeoutError:
            return Outcome("waiting", "passing fault", "its push service does not answer")
        except (OSError, HTTPException) as error:
            why = getattr(error, "strerror", None) or type(error).__name__
            return Outcome(
                "waiting", "passing fault", f"its push service cannot be reached ({why})"
            )
        return _became(answer)

    def _post(self, letter: Letter) -> _Answer:
        phone = self.phone
        urgency = URGENCY.get(letter.urgency, LATER[0])
        ttl_s = TTL_S.get(letter.urgency, LATER[1])
        plain = message(letter)
        key = webpush.own_key(self.store)
        body = webpush.seal(
            plain,
            webpush.bytes_of(phone.p256dh),
            webpush.bytes_of(phone.auth),
            padding=webpush.padding_of(plain),
        )
        headers = {
            "authorization": webpush.authorization(
                key, phone.endpoint, self.line.clock.now_s(), self.contact
            ),
            "content-encoding": "aes128gcm",
            "content-type": "application/octet-stream",
            "ttl": str(ttl_s),
            "urgency": urgency,
            "topic": topic(letter.key),
        }
        parts = urlsplit(phone.endpoint)
        path = f"{parts.path or '/'}?{parts.query}" if parts.query else parts.path or "/"
        host = parts.hostname or ""
        asked = HTTPConnection(host)
        try:
            asked.sock = self.line.reach(host)
            asked.sock.settimeout(self.line.answer_s)
            asked.sock = self.line.trust().wrap_socket(asked.sock, server_hostname=host)
            asked.request("POST", path, body, headers)
            answer = asked.getresponse()
            return _Answer(answer.status, _retry_after_s(answer.getheader("retry-after")))
        finally:
            asked.close()


def _became(answer: _Answer) -> Outcome:
    """Say what became of it, by the status."""
    said = f"its push service said {answer.status}"
    if answer.status // 100 == 2:  # noqa: PLR2004 - RFC 9110 section 15.3
        return Outcome("sent", "sent", "taken by its push service")
    if answer.status in GONE:
        why = f"the phone has given up its subscription, or its browser has ({said})"
        return Outcome("failed", "channel removed", why)
    if answer.status in PASSING_4XX or answer.status >= 500:  # noqa: PLR2004 - the same, 15.6
        return Outcome("waiting", "passing fault", said, least_wait_s=answer.retry_after_s)
    return Outcome("failed", "refused", said)


def _retry_after_s(said: str | None) -> int:
    """Read `Retry-After` in seconds; as a date it is left to our own pace (RFC 9110 10.2.3)."""
    said = (said or "").strip()
    if not (said.isascii() and said.isdecimal()):
        return 0
    return min(int(said[:9]), RETRY_AFTER_MAX_S)


def topic(key: str) -> str:
    """Name a message so that its repeat takes its place: 32 characters (RFC 8030 section 5.4)."""
    return webpush.text_of(hashlib.sha256(key.encode()).digest()[:24])


def message(letter: Letter) -> bytes:
    """Write what the service worker shows; words that are too long end in `…`."""
    told = {
        "title": letter.title,
        "body": letter.body,
        "tag": topic(letter.key),
        "stays": letter.urgency == "emergency",
        "opens": f"#/alert/{letter.alert}" if letter.alert else "#/alerts",
    }
    while len(raw := json.dumps(told, ensure_ascii=False).encode()) > webpush.PLAIN_BYTES_MAX:
        over = len(raw) - webpush.PLAIN_BYTES_MAX
        which = "body" if len(letter.title) < len(letter.body) else "title"
        kept = str(told[which]).rstrip("…")
        told[which] = kept[: -max(1, over // 4)] + "…"
    return raw


def channels(store: Store, contact: str | None) -> list[PhoneChannel]:
    """Make the channels of all phones that ring."""
    with store.read() as connection:
        known = phones.read(connection)
    return [PhoneChannel(one, store.path, contact) for one in known if one.ended_s is None]


def asked(path: Path) -> list[Phone]:
    """Read the phones of a store that is opened for this alone."""
    store = Store(path)
    try:
        with store.read() as connection:
            return phones.read(connection)
    finally:
        store.close()


def try_out(channel: PhoneChannel) -> Outcome:
    """Let a phone ring once, whether or not it rang for a trial before."""
    return channel.send(replace(test_letter(), key=f"trial-{channel.line.clock.now_s()}"))


def note(connection: Connection, name: str, outcome: Outcome, now_s: int) -> None:
    """Keep with the phone how an attempt went; other channels have nothing of the kind."""
    if outcome.state == "sent":
        phones.heard(connection, name, now_s)
    else:
        is_gone = outcome.reason == "channel removed"
        phones.failed(connection, name, now_s, outcome.line, is_gone=is_gone)
