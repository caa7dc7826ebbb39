"""The lines of a CSV file, each with its number and its text as it came."""

from __future__ import annotations

import csv
import difflib
import gzip
import io
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, TextIO

from hivewatch.errors import UsageError
from hivewatch.wire.quantities import QUANTITIES

LONG = ("time", "device", "quantity", "value")
RECEIVED = "received"  # a column that either form may have: when each reading came
LINES = 40_000  # own choice: lines a transaction, some ten megabytes at once
LINE_CHARS_MAX = 65_536  # own choice
DELIMITERS = ",;\t"


@dataclass(frozen=True, slots=True)
class Heading:
    """The first line of a table: what each column is."""

    text: str
    columns: tuple[str, ...]
    delimiter: str

    @property
    def is_long(self) -> bool:
        """Whether each line holds one reading."""
        return {*self.columns} - {RECEIVED} == {*LONG}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a table: its number in the file, its cells, and its text as it came."""

    number: int
    cells: list[str]
    text: str


@contextmanager
def open_table(path: Path | None, stdin: BinaryIO) -> Iterator[tuple[TextIO, Callable[[], int]]]:
    """Open a file, gzipped or not, or standard input; also gives the bytes read so far.

    Raises
    ------
    UsageError
        If it cannot be opened or read.
    """
    name = "standard input" if path is None else str(path)
    try:
        raw = stdin if path is None else path.open("rb")
        with raw:
            buffered = io.BufferedReader(raw)  # type: ignore[type-var]
            packed = buffered.peek(2)[:2] == b"\x1f\x8b"
            plain: BinaryIO = gzip.GzipFile(fileobj=buffered) if packed else buffered  # type: ignore[assignment]
            text = io.TextIOWrapper(plain, "utf-8-sig", errors="replace", newline="")
            yield text, raw.tell if path is not None else lambda: 0
    except (EOFError, gzip.BadGzipFile, zlib.error) as error:
        raise UsageError(name, "", f"cannot be unpacked ({error})", "fetch it again") from error
    except OSError as error:
        wrong = f"cannot be read ({error.strerror or error})"
        raise UsageError(name, "", wrong, "check the name") from error


class Table:
    """Reads a table line by line.

    Raises
    ------
    UsageError
        If the heading is none of the two forms.
    """

    def __init__(self, text: TextIO, name: str) -> None:
        """Read the heading."""
        self._text = text
        self._number = 0
        self._kept: list[str] = []
        first = next(self._physical(), "")
        self.heading = _heading(self._take() or first, name)

    def chunks(self) -> Iterator[list[Line]]:
        """Give the lines, some ten thousand at a time; empty lines are left out."""
        reader = csv.reader(self._physical(), delimiter=self.heading.delimiter)
        chunk: list[Line] = []
        while True:
            number = self._number + 1
            try:
                cells = next(reader)
            except StopIteration:
                break
            except csv.Error as error:
                cells = [f"({error})"]
            text = self._take()
            if cells:
                chunk.append(Line(number, cells, text))
            if len(chunk) >= LINES:
                yield chunk
                chunk = []
        if chunk:
            yield chunk

    def _physical(self) -> Iterator[str]:
        while line := self._text.readline(LINE_CHARS_MAX):
            self._number += 1
            self._kept.append(line)
            yield line

    def _take(self) -> str:
        """Give the text read since the last call."""
        text = "".join(self._kept)
        self._kept.clear()
        return text


def _heading(text: str, name: str) -> Heading:
    """Read the heading: long, or wide with known quantities."""
    delimiter = max(DELIMITERS, key=text.count)
    columns = tuple(cell.strip() for cell in next(csv.reader([text], delimiter=delimiter), []))
    return checked(Heading(text.rstrip("\r\n"), columns, delimiter), f"{name}: line 1")


def checked(heading: Heading, where: str) -> Heading:
    """Give a heading back if it is one of the two forms.

    Raises
    ------
    UsageError
        If it is not.
    """
    columns = heading.columns
    for wanted in ("time", "device"):
        if wanted not in columns:
            raise UsageError(
                where, heading.text[:80], f"no column {wanted!r}", f"use {','.join(LONG)}"
            )
    for column in columns:
        if columns.count(column) > 1:
            raise UsageError(where, column, "stands there twice", "keep one")
        about = {"time", "device", RECEIVED}
        if not heading.is_long and column not in QUANTITIES and column not in about:
            close = difflib.get_close_matches(column, [*QUANTITIES, *LONG, RECEIVED], 1)
            hint = f"did you mean {close[0]}?" if close else f"use one of {', '.join(QUANTITIES)}"
            raise UsageError(where, column, "no such quantity", hint)
    return heading
