"""The channels a message can take: each an address that Apprise knows, under a name of ours.

A name is the kind of service and a short digest of the address without its secrets: it says which
line of the settings is meant to whoever knows that file, and nothing to others.

What a repeat after a crash looks like depends on the service. Both copies have the same words and
the same alert number at their end. `json`, `xml`, `form` and `apprise` channels also carry the
same `Idempotency-Key` header, so that the receiver can drop the second. A mail refers to the same
`References` id (RFC 5322, 3.6.4), so that both stand in one conversation; mail has no way to
replace. The other services are given nothing of the kind by Apprise: there both are seen.
"""

from __future__ import annotations

import hashlib
import logging
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, Protocol
from urllib.parse import parse_qsl, unquote, urlsplit

from pydantic import SecretStr

from hivewatch.alerts.ledger import Letter, Outcome
from hivewatch.alerts.rules import Reason

CONNECT_S = 10.0  # [s] own choice; only where the address names no cto=
READ_S = 20.0  # [s] own choice; only where the address names no rto=
SLOW_DOWN_S = 60  # [s] own choice: first pause after "too many requests"
HEADER_KINDS = frozenset({"json", "xml", "form", "apprise"})
MAIL_KIND = "mailto"
# The loudest that a service knows, for emergencies: a silenced phone lets it through where its
# owner allows. Of the services that have loudness, the two whose server can stand at home.
LOUDEST: dict[str, str | int] = {"ntfy": "max", "gotify": 10}

# RFC 9110 15.5: a client error is the sender's to mend; these few may pass by themselves.
_TOO_MANY = 429
_PASSING_4XX = frozenset({408, 409, 421, 423, 425, _TOO_MANY})
_REFUSED = frozenset({3, 4})  # a redirect that was not followed is for good, too
_HTTP_CODE = re.compile(r"error=(\d{3})")
_SMTP_CODE = re.compile(r"(?:\(|refused: )([245]\d\d)[ ,]")  # RFC 5321 4.2.1: 5yz is for good
_PLAIN_WORDS = frozenset({"http", "https", "smtp", "text", "html", "post", "true", "false"})
_SECRET_CHARS_MIN = 4  # shorter parts of an address are no secret and would mangle the line


class Channel(Protocol):
    """Somewhere a message can go."""

    @property
    def name(self) -> str:
        """What decisions and logs call it."""

    @property
    def kind(self) -> str:
        """The kind of service, a label of the metrics."""

    def send(self, letter: Letter) -> Outcome:
        """Hand one message over; blocks until the service has answered or the time is out."""


class AppriseChannel:
    """One address, reached through Apprise; used by one thread at a time."""

    def __init__(self, address: str, service: Any, name: str) -> None:  # noqa: ANN401
        """Take a service that Apprise has made from the address."""
        self.name = name
        self.kind = _kind(address)
        self.targets = len(service)
        self._secrets = _secrets(address)
        self._service = service
        self._loudness = getattr(service, "priority", None)
        if service.socket_connect_timeout == type(service).socket_connect_timeout:
            service.socket_connect_timeout = CONNECT_S
        if service.socket_read_timeout == type(service).socket_read_timeout:
            service.socket_read_timeout = READ_S

    def send(self, letter: Letter) -> Outcome:
        """Hand one message over; what Apprise logs meanwhile becomes the outcome's line."""
        import apprise  # noqa: PLC0415 - slow to load, and only where something is sent

        if self.kind in HEADER_KINDS:
            self._service.headers["Idempotency-Key"] = letter.key
        elif self.kind == MAIL_KIND:
            self._service.headers["References"] = f"<{letter.key}@hivewatch>"
        if self.kind in LOUDEST:
            loud = letter.urgency == "emergency"
            self._service.priority = LOUDEST[self.kind] if loud else self._loudness
        kinds = {
            "emergency": apprise.NotifyType.FAILURE,
            "today": apprise.NotifyType.WARNING,
        }
        post = apprise.Apprise(asset=self._service.asset)
        post.add(self._service)
        with _listen() as lines:
            is_sent = post.notify(
                title=letter.title,
                body=f"{letter.body}\n(alert {letter.key[:8]})",
                notify_type=kinds.get(letter.urgency, apprise.NotifyType.INFO),
                body_format=apprise.NotifyFormat.TEXT,
            )
        line = self._without_secrets("; ".join(dict.fromkeys(lines)))
        if is_sent:
            return Outcome("sent", "sent", line or "taken by the service")
        return _classified(line or "the service gave no reason")

    def _without_secrets(self, line: str) -> str:
        """Take every part of the address out of a line."""
        for secret in self._secrets:
            line = line.replace(secret, "…")
        return " ".join(line.split())


def _classified(line: str) -> Outcome:
    """Say whether another try makes sense, by the codes in the service's line."""
    codes = [int(code) for code in _HTTP_CODE.findall(line)]
    refused = any(code // 100 in _REFUSED and code not in _PASSING_4XX for code in codes)
    refused = refused or any(code.startswith("5") for code in _SMTP_CODE.findall(line))
    reason: Reason = "refused" if refused else "passing fault"
    if refused:
        return Outcome("failed", reason, line)
    if _TOO_MANY in codes:
        return Outcome("waiting", reason, line, SLOW_DOWN_S)
    return Outcome("waiting", reason, line)


def open_channels(addresses: Sequence[str | SecretStr]) -> list[AppriseChannel]:
    """Make the channels of the settings; an address that Apprise cannot read is left out.

    `hivewatch.settings.load` refuses such an address before; `check` says which it is.
    """
    channels: list[AppriseChannel] = []
    names: set[str] = set()
    for address in map(_plain, addresses):
        service = _service(address)
        if service is not None:
            name = _name(address, service, names)
            names.add(name)
            channels.append(AppriseChannel(address, service, name))
    return channels


def check(addresses: Sequence[str | SecretStr], *, test: Letter | None = None) -> list[str]:
    """Say of each address whether it can be used, a line each; with `test`, send it there.

    Parameters
    ----------
    addresses : Sequence[str or SecretStr]
        As in the settings.
    test : Letter or None
        A message to send to each; None opens no connection at all.

    Returns
    -------
    list[str]
        In the order of the settings. A fault holds the word "cannot" or "failed".
    """
    if not addresses:
        return ["channels: none in the settings"]
    lines = []
    names: set[str] = set()
    for number, address in enumerate(map(_plain, addresses), start=1):
        service = _service(address)
        if service is None:
            lines.append(
                f"channel {number} ({_kind(address)}): cannot be read; compare it with the Apprise"
                " page of that service"
            )
            continue
        name = _name(address, service, names)
        names.add(name)
        channel = AppriseChannel(address, service, name)
        said = "ready; nothing was sent"
        if test is not None:
            outcome = channel.send(test)
            said = "test sent" if outcome.state == "sent" else f"test failed: {outcome.line}"
        if channel.targets > 1:
            said += (
                f"; reaches {channel.targets} addresses: when one of them fails, the others ring"
                " again; better one channel each"
            )
        lines.append(f"channel {name}: {said}")
    return lines


def test_letter() -> Letter:
    """Make the message that `hivewatch check` sends when it is asked to."""
    body = "This is a test of the alerts. Nothing is wrong at your hives."
    return Letter(0, "", "test-0", "hivewatch: a test", body, "next visit", 0, 0)


def _plain(address: str | SecretStr) -> str:
    return address.get_secret_value() if isinstance(address, SecretStr) else address


def _service(address: str) -> Any:  # noqa: ANN401 - Apprise has two hundred classes of them
    """Make Apprise's service for an address, None when it cannot be read."""
    _ears()
    import apprise  # noqa: PLC0415 - slow to load, and only where alerts are sent

    asset = apprise.AppriseAsset(
        app_id="hivewatch",
        app_desc="hivewatch",
        app_url="",
        image_url_mask="",
        image_url_logo="",
        async_mode=False,  # in the channel's own thread: no pool that a hung service can fill,
        service_timeout=0,  # nor a send that is given up and rings all the same
    )
    return apprise.Apprise.instantiate(address, asset=asset, suppress_exceptions=True)


def _name(address: str, service: Any, taken: set[str]) -> str:  # noqa: ANN401
    """Name a channel, the same at every start as long as its address is."""
    shown = str(service.url(privacy=True))
    name = f"{_kind(address)}-{hashlib.sha256(shown.encode()).hexdigest()[:6]}"
    number = 1
    unique = name
    while unique in taken:
        number += 1
        unique = f"{name}-{number}"
    return unique


def _kind(address: str) -> str:
    """Give the kind of service: the scheme, without the letter that stands for TLS."""
    scheme = address.partition("://")[0].lower()[:24]
    for plain in (*HEADER_KINDS, MAIL_KIND, "ntfy"):
        if scheme == f"{plain}s":
            return plain
    return scheme if re.fullmatch(r"[a-z0-9+.-]+", scheme) else "unknown"


def _secrets(address: str) -> list[str]:
    """List what must not be seen of an address: everything but its scheme, longest first."""
    parts = urlsplit(address)
    words = [parts.netloc, parts.path, *re.split(r"[@:,;]", parts.netloc)]
    words += [*re.split(r"[/,;@:]", parts.path)]
    for _, value in parse_qsl(parts.query, keep_blank_values=True):
        words += [value, *re.split(r"[\s,;@:/]", value)]
    words += [unquote(word) for word in words]
    kept = {
        word
        for word in words
        if len(word) >= _SECRET_CHARS_MIN and word.lower() not in _PLAIN_WORDS
    }
    return sorted(kept, key=len, reverse=True)


_HEARD: ContextVar[list[str] | None] = ContextVar("heard", default=None)


class _Ears(logging.Handler):
    """Keeps what Apprise says on behalf of the thread that asked it to send."""

    def emit(self, record: logging.LogRecord) -> None:
        """Take warnings, and the reason of a broken connection, which Apprise keeps lower."""
        lines = _HEARD.get()
        if lines is None:
            return
        said = record.getMessage()
        if record.levelno >= logging.WARNING or said.startswith("Socket Exception"):
            lines.append(said)


_EARS = _Ears(logging.DEBUG)


def _ears() -> None:
    """Listen to Apprise ourselves: its lines can hold addresses, so no other log gets them."""
    logger = logging.getLogger("apprise")
    if _EARS not in logger.handlers:
        logger.addHandler(_EARS)
        logger.propagate = False
        logger.setLevel(logging.DEBUG)
        logging.getLogger("urllib3").setLevel(logging.WARNING)  # below it quotes hosts and paths


@contextmanager
def _listen() -> Iterator[list[str]]:
    """Collect the lines of one send."""
    lines: list[str] = []
    token = _HEARD.set(lines)
    try:
        yield lines
    finally:
        _HEARD.reset(token)
