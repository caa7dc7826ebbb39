"""The lines of a table, each with its number, its cells and its text; those of a CSV file."""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import NamedTuple, Protocol, TextIO

from hivewatch.errors import UsageError
from hivewatch.mistakes import printable
from hivewatch.wire.quantities import QUANTITIES

LONG = ("time", "device", "quantity", "value")
RECEIVED = "received"  # a column that either form may have: when each reading came
LINES = 40_000  # own choice: lines a transaction, some ten megabytes at once
CHARS = 8_000_000  # own choice: the same where lines are long
LINE_CHARS_MAX = 16_000_000  # own choice: the longest message of a broker, as base64, fits in
DELIMITERS = ",;\t"
_NOT_UTF8 = re.compile("[\udc80-\udcff]")  # what is read with "surrogateescape"
csv.field_size_limit(LINE_CHARS_MAX)


@dataclass(frozen=True, slots=True)
class Heading:
    """The first line of a table: what each column is, and where that stands."""

    text: str
    columns: tuple[str, ...]
    delimiter: str
    where: str

    @property
    def is_long(self) -> bool:
        """Whether each line holds one reading."""
        return {*self.columns} - {RECEIVED} == {*LONG}


class Line(NamedTuple):
    """One line of a table: its number, its cells, its text as it came; and why it is none."""

    number: int
    cells: list[str]
    text: str
    fault: str = ""


class Sheet(Protocol):
    """A table of whatever form; its cells are those of CSV, as `store/columns.py` has them."""

    heading: Heading

    def chunks(self) -> Iterator[list[Line]]:
        """Give the lines, some ten thousand at a time, numbered as they stand in the file."""


class Table:
    """Reads a CSV table line by line.

    Raises
    ------
    UsageError
        If the heading is none.
    """

    def __init__(self, text: TextIO, name: str) -> None:
        """Read the heading."""
        self._text = text
        self._number = 0
        self._kept: list[str] = []
        first = next(self._physical(), "")
        self.heading = _heading(readable(self._take() or first), f"{name}: line 1")

    def chunks(self) -> Iterator[list[Line]]:
        """Give the lines; empty ones are left out."""
        return in_chunks(self._lines())

    def _lines(self) -> Iterator[Line]:
        delimiter, read = self.heading.delimiter, self._physical()
        for first in read:
            number, fault = self._number, ""
            if '"' not in first:  # nothing is quoted: a line is a line
                cells = first.rstrip("\r\n").split(delimiter)
                self._kept.clear()
                if cells != [""]:
                    yield Line(number, cells, first)
                continue
            try:
                cells = next(csv.reader(chain((first,), read), delimiter=delimiter))
            except csv.Error as error:
                cells, fault = ["?"], str(error)
            yield Line(number, cells, self._take(), fault)

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


def in_chunks(lines: Iterator[Line]) -> Iterator[list[Line]]:
    """Gather lines, some ten thousand, or fewer of long ones; what is not UTF-8 is no line."""
    chunk: list[Line] = []
    chars = 0
    for line in lines:
        is_text = line.text.isascii() or not _NOT_UTF8.search(line.text)
        chunk.append(line if is_text else _not_utf8(line))
        chars += len(line.text)
        if len(chunk) >= LINES or chars >= CHARS:
            yield chunk
            chunk, chars = [], 0
    if chunk:
        yield chunk


def _not_utf8(line: Line) -> Line:
    return Line(line.number, ["?"], readable(line.text), "not UTF-8 text")


def readable(text: str) -> str:
    """Replace what was read from bytes that are not UTF-8."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def line_text(cells: Sequence[str]) -> str:
    """Write cells as a line of CSV."""
    if any(mark in cell for cell in cells for mark in ',"\r\n'):
        out = io.StringIO()
        csv.writer(out).writerow(cells)
        return out.getvalue()
    return ",".join(cells) + "\n"


def _heading(text: str, where: str) -> Heading:
    delimiter = max(DELIMITERS, key=text.count)
    try:
        cells = next(csv.reader([text], delimiter=delimiter), [])
    except csv.Error as error:
        raise UsageError(
            where, printable(text[:80]), f"no heading ({error})", "check the file"
        ) from error
    return Heading(text.rstrip("\r\n"), tuple(cell.strip() for cell in cells), delimiter, where)


def check_readings(heading: Heading) -> None:
    """Refuse a heading that is none of the two forms of a table of readings.

    Raises
    ------
    UsageError
        If it is not.
    """
    where, columns = heading.where, heading.columns
    if not heading.text.strip("\ufeff \t"):
        raise UsageError(where, "", "has no heading", f"begin it with {','.join(LONG)}")
    is_wide = not {"quantity", "value"} & set(columns)
    for wanted in LONG[:2] if is_wide else LONG:
        if wanted not in columns:
            said = printable(heading.text[:80])
            raise UsageError(where, said, f"no column {wanted!r}", f"use {','.join(LONG)}")
    about = {"time", "device", RECEIVED} if is_wide else {*LONG, RECEIVED}
    what, known = ("quantity", list(QUANTITIES)) if is_wide else ("column of readings", [])
    for column in columns:
        if columns.count(column) > 1:
            raise UsageError(where, printable(column), "stands there twice", "keep one")
        if column not in about and column not in known:
            close = difflib.get_close_matches(column, [*known, *LONG, RECEIVED], 1)
            hint = (
                f"did you mean {close[0]}?" if close else f"use one of {', '.join(known or LONG)}"
            )
            raise UsageError(where, printable(column), f"no such {what}", hint)
