"""The forms a setting can have, each with the words that say what is allowed."""

from __future__ import annotations

import ipaddress
import re
from dataclasses import dataclass
from datetime import time
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import SplitResult, urlsplit

from pydantic import AfterValidator, Field, PlainSerializer, PlainValidator

from hivewatch.mistakes import Allowed, WrongValueError

_CLOCK_SPAN = re.compile(r"([01]\d|2[0-3]):([0-5]\d)-([01]\d|2[0-3]):([0-5]\d)")
TOPIC_CHARS_MAX = 200  # [characters] own choice; MQTT 5.0 section 1.5.4 allows 65,535 bytes


@dataclass(frozen=True)
class Quiet:
    """The hours of the yard's own time in which only emergencies ring; may pass midnight."""

    start: time
    end: time

    def __str__(self) -> str:
        """Give it as it is written in the file."""
        return f"{self.start:%H:%M}-{self.end:%H:%M}"


def _read_quiet(value: object) -> Quiet | None:
    if value is None or isinstance(value, Quiet):
        return value
    if not isinstance(value, str):
        raise WrongValueError("not text")
    if not value.strip():
        return None
    parts = _CLOCK_SPAN.fullmatch(value.strip())
    if parts is None:
        raise WrongValueError("not two times of day")
    start_h, start_min, end_h, end_min = (int(part) for part in parts.groups())
    quiet = Quiet(time(start_h, start_min), time(end_h, end_min))
    if quiet.start == quiet.end:
        raise WrongValueError("start and end are the same", 'use "" for no quiet hours')
    return quiet


def read_path(value: object) -> Path:
    """Take a path as it is written; it is made absolute by whoever knows the file's folder."""
    if isinstance(value, Path):
        return value
    if not isinstance(value, str):
        raise WrongValueError("not text")
    if not value.strip():
        raise WrongValueError("empty")
    if not value.isprintable():
        raise WrongValueError("has a character that no file name should have")
    if value.startswith("~"):
        raise WrongValueError("~ is not expanded", "write the path in full")
    return Path(value)


def _split(url: str) -> tuple[SplitResult, int | None]:
    try:
        return (parts := urlsplit(url)), parts.port
    except ValueError:
        raise WrongValueError("not an address", "use a port from 1 to 65535") from None


def _check_address(url: str, schemes: tuple[str, str], secret_key: str) -> SplitResult:
    both = " or ".join(dict.fromkeys(f"{scheme}://" for scheme in schemes))
    parts, port = _split(url)
    if parts.scheme not in schemes:
        raise WrongValueError("unknown scheme" if "://" in url else "no scheme", f"use {both}")
    if parts.password is not None:
        raise WrongValueError("holds a password", f"take it out and use {secret_key}")
    if parts.username is not None:
        raise WrongValueError("holds a user name", f"take it out and use {secret_key}")
    if not parts.hostname or any(c.isspace() for c in url) or not url.isprintable():
        raise WrongValueError("no host", f"use {schemes[0]}://HOST:PORT")
    if port == 0:
        raise WrongValueError("port 0", "use a port from 1 to 65535")
    return parts


def _check_broker_url(url: str) -> str:
    parts = _check_address(url, ("mqtt", "mqtts"), "username and password_file")
    if parts.path not in {"", "/"} or parts.query or parts.fragment:
        raise WrongValueError("has something after the host", "use mqtt://HOST:PORT alone")
    return url


def _check_mirror_url(url: str) -> str:
    parts = _check_address(url, ("http", "https"), "token_file")
    if parts.query or parts.fragment:
        raise WrongValueError(
            "has something after the path", "org and bucket are keys of their own"
        )
    return url


def _check_public_url(url: str) -> str:
    parts = _check_address(url, ("https", "https"), "the proxy's own settings")
    if parts.path not in {"", "/"} or parts.query or parts.fragment:
        raise WrongValueError("has something after the host", "use https://HOST alone")
    return f"https://{parts.netloc.lower()}"


def _check_topic_root(topic: str) -> str:
    if any(c in "+#" or not c.isprintable() for c in topic):
        raise WrongValueError("has a wildcard or an unprintable character")
    if topic.startswith("$") or "" in topic.split("/"):
        raise WrongValueError("starts with $, or has an empty level")
    return topic


def is_loopback(host: str) -> bool:
    """Whether a host is this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _check_listen_host(host: str) -> str:
    if not is_loopback(host):
        raise WrongValueError(
            "reaches beyond this machine; the server listens on loopback only",
            "use 127.0.0.1, ::1 or localhost",
        )
    return host


def as_tuple(value: Any) -> Any:  # noqa: ANN401 (whatever stands in the file)
    """Let a list of the file pass as the tuple that a frozen tree holds."""
    return tuple(value) if isinstance(value, list) else value


FilePath = Annotated[Path, PlainValidator(read_path), Allowed("a path in quotes")]
QuietHours = Annotated[
    Quiet | None,
    PlainValidator(_read_quiet),
    PlainSerializer(lambda quiet: str(quiet or ""), return_type=str),
    Allowed('"HH:MM-HH:MM", or "" for none'),
]
BrokerUrl = Annotated[
    str, AfterValidator(_check_broker_url), Allowed("mqtt://HOST:PORT or mqtts://HOST:PORT")
]
MirrorUrl = Annotated[str, AfterValidator(_check_mirror_url), Allowed("http:// or https://")]
PublicUrl = Annotated[str, AfterValidator(_check_public_url), Allowed("https://HOST")]
ListenHost = Annotated[
    str, AfterValidator(_check_listen_host), Allowed('"127.0.0.1", "::1" or "localhost"')
]
Port = Annotated[int, Field(ge=1, le=65535), Allowed("a whole number from 1 to 65535")]
Minutes = Annotated[int, Field(ge=1, le=10080), Allowed("whole minutes from 1 to 10080 (a week)")]
Volts = Annotated[
    float, Field(ge=0, le=60, allow_inf_nan=False), Allowed("volts from 0 (never) to 60")
]
Percent = Annotated[
    float, Field(ge=0, le=100, allow_inf_nan=False), Allowed("a number from 0 (never) to 100")
]
TopicRoot = Annotated[
    str,
    Field(min_length=1, max_length=TOPIC_CHARS_MAX),
    AfterValidator(_check_topic_root),
    Allowed('levels joined by "/", without + # and not starting with $'),
]
ClientId = Annotated[
    str,
    Field(pattern=r"^[A-Za-z0-9._-]{1,64}$"),
    Allowed("1 to 64 of A-Z a-z 0-9 . _ -"),
]
Word = Annotated[str, Field(min_length=1, max_length=200), Allowed("1 to 200 characters in quotes")]
