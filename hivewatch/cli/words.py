"""What all commands share: their options, and how they read and print."""

from __future__ import annotations

import json
import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hivewatch.clock import WallClock
from hivewatch.errors import UsageError

if TYPE_CHECKING:
    from hivewatch.settings import Settings
    from hivewatch.store.open import Store


class Format(StrEnum):
    """How to print data."""

    text = "text"
    json = "json"


class Decimal(StrEnum):
    """What stands between whole and part in the numbers of a file."""

    point = "point"
    comma = "comma"


Config = Annotated[
    Path | None,
    typer.Option(
        "--config",
        metavar="FILE",
        help="Settings file. Default: hivewatch.toml here, or in /etc/hivewatch.",
    ),
]
AsOf = Annotated[
    str | None,
    typer.Option(
        metavar="TIME",
        help="As told at this time, by what had come by then; such as 2026-05-01T12:00:00Z.",
    ),
]
Form = Annotated[Format, typer.Option("--format", help="How to print.")]


def present_s() -> int:
    """Give the present Unix time in seconds."""
    return WallClock().now_s()


def settings_of(config: Path | None) -> Settings:
    """Read the settings."""
    from hivewatch.settings import load

    return load(config, os.environ)


def store_of(config: Path | None, *, may_make: bool = False) -> Store:
    """Open the store that the settings name; one that is not there is only made to load into."""
    from hivewatch.store.open import Store

    path = settings_of(config).store.path
    if not may_make and not path.exists() and path.parent.is_dir():
        remedy = "hivewatch apiary load FILE makes it; or name the settings file with --config"
        raise UsageError(str(path), "", "no store there yet", remedy)
    return Store(path)


def time_s(text: str | None, option: str, otherwise_s: int) -> int:
    """Read a time given on the command line."""
    from hivewatch.mistakes import WrongValueError
    from hivewatch.moments import read_seconds

    if text is None:
        return otherwise_s
    try:
        return read_seconds(text)
    except WrongValueError as error:
        remedy = error.remedy or "write it as 2026-05-01T12:00:00Z, or with an offset"
        raise UsageError(option, text, error.wrong, remedy) from error


def span_s(since: str | None, until: str | None, end_s: int) -> tuple[int, int]:
    """Read `--since` and `--until`; without them from the first to `end_s`."""
    since_s, until_s = time_s(since, "--since", 0), time_s(until, "--until", end_s)
    if since is not None and until is not None and until_s <= since_s:
        raise UsageError("--until", until, f"not later than --since {since}", "exchange the two")
    return since_s, until_s


def print_json(data: Any) -> None:  # noqa: ANN401 - whatever JSON can hold
    """Print data as JSON, and nothing else."""
    typer.echo(json.dumps(data, ensure_ascii=False, indent=2))


def read_text(file: Path) -> tuple[str, str]:
    """Read a file whole, or standard input; also gives the name to call it by."""
    from hivewatch.mistakes import read_utf8

    is_stdin = str(file) == "-"
    try:
        raw = sys.stdin.buffer.read() if is_stdin else file.read_bytes()
    except OSError as error:
        wrong = f"cannot be read ({error.strerror})"
        raise UsageError(str(file), "", wrong, "check the name") from error
    name = "standard input" if is_stdin else file.name
    return read_utf8(raw, name), name
