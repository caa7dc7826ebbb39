"""What stands in the secret files, and the addresses that alerts go to."""

from __future__ import annotations

import stat
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from hivewatch.mistakes import WrongValueError
from hivewatch.settings.fields import is_loopback
from hivewatch.settings.tree import Settings

SECRET_BYTES_MAX = 65536  # [byte] own choice: far above any password, token or list of channels
_SECRET_WORDS = ("token", "pass", "pwd", "secret", "key", "auth")


def read_secret_file(path: Path) -> str:
    """Read a secret file whole; what keeps it from being read is a `WrongValueError`."""
    try:
        if not path.exists():
            raise WrongValueError("no such file", "make it, or correct the path")
        if path.is_dir():
            raise WrongValueError("a folder, not a file", "name the file in it")
        with path.open("rb") as file:
            raw = file.read(SECRET_BYTES_MAX + 1)
    except OSError as error:
        raise WrongValueError(
            f"cannot be read ({error.strerror})", "let the user who runs hivewatch read it"
        ) from None
    if len(raw) > SECRET_BYTES_MAX:
        raise WrongValueError("far too long for a secret", "correct the path")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise WrongValueError("not UTF-8 text", "correct the path, or save it as UTF-8") from None


def read_secret(path: Path) -> str:
    """Read a file that holds one secret; the line's end does not belong to it."""
    text = read_secret_file(path).rstrip("\r\n")
    if not text:
        raise WrongValueError("an empty file", "put the secret alone into it")
    if "\n" in text or "\r" in text:
        raise WrongValueError("has several lines", "put the secret alone into it")
    return text


def read_channels(path: Path) -> list[tuple[int, str]]:
    """Read a file of addresses, one a line with its line number; # starts a remark."""
    lines = enumerate(read_secret_file(path).splitlines(), start=1)
    return [(n, line.strip()) for n, line in lines if line.strip() and line.strip()[0] != "#"]


def check_channel(url: object) -> str:
    """Check that Apprise knows how to deliver to an address; nothing is sent or opened."""
    if not isinstance(url, str):
        raise WrongValueError("not text", "write the Apprise URL in quotes")
    if "://" not in url or not url.isprintable():
        raise WrongValueError("not an address", "use an Apprise URL, SERVICE://…")
    if not _service(url):
        scheme = url.split("://")[0].lower()
        if scheme in _services():
            raise WrongValueError(
                f"Apprise finds a part of the {scheme}:// address missing or wrong",
                "compare it with the Apprise page of that service",
            )
        raise WrongValueError("no service that Apprise knows", "correct what stands before ://")
    return url


def _service(url: str) -> Any:  # noqa: ANN401 - Apprise has two hundred classes of them
    import apprise  # noqa: PLC0415 - slow to load, and only where there is an address

    return apprise.Apprise.instantiate(url, suppress_exceptions=True)


def _services() -> set[str]:
    import apprise  # noqa: PLC0415

    known: set[str] = set()
    for service in apprise.Apprise().details()["schemas"]:
        for kind in ("protocols", "secure_protocols"):
            known.update(service[kind] or ())
    return known


def holds_secret(url: str) -> bool:
    """Whether an address holds a password, a token or a header, as far as one can see."""
    parts = urlsplit(url)
    if parts.password is not None:
        return True
    for name, _ in parse_qsl(parts.query, keep_blank_values=True):
        if name.startswith(("+", " ")) or any(word in name.lower() for word in _SECRET_WORDS):
            return True
    channel = _service(url)
    return channel is not None and channel.url(privacy=True) != channel.url(privacy=False)


def _is_open_to_all(file: Path) -> bool:
    try:
        return bool(file.stat().st_mode & stat.S_IROTH)
    except OSError:
        return False


def remarks(settings: Settings) -> list[str]:
    """Say what works but is weak: a line each, for `hivewatch check` and the log."""
    mirror = settings.mirror
    files = (
        settings.broker.password_file,
        settings.alerts.channels_file,
        mirror.token_file if mirror else None,
    )
    told = [
        f"{file}: every user of this machine can read it; chmod o-r {file}"
        for file in files
        if file is not None and _is_open_to_all(file)
    ]
    broker = settings.broker
    if broker.password is not None and not broker.tls and not is_loopback(broker.host):
        told.append(
            f"broker {broker.host}: the password crosses the network in the clear; use mqtts://"
        )
    if mirror and mirror.token is not None and mirror.url.startswith("http://"):
        host = urlsplit(mirror.url).hostname or ""
        if not is_loopback(host):
            told.append(f"mirror {host}: the token crosses the network in the clear; use https://")
    return told
