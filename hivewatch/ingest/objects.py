"""A table from JSON: an array of objects, or objects alone, in either case one a line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, TextIO

from hivewatch.errors import UsageError
from hivewatch.ingest.lines import LINE_CHARS_MAX, Heading, Line, in_chunks, line_text
from hivewatch.store.columns import READINGS, TEXT, kind_of, text_cell
from hivewatch.wire.quantities import QUANTITIES


class JsonTable:
    """Reads JSON line by line; its columns are the keys that its kind of record can have.

    Raises
    ------
    UsageError
        If the first line holds no object.
    """

    def __init__(self, text: TextIO, name: str) -> None:
        """Read the keys of the first record."""
        self._text, self._name = text, name
        self._number = 0
        self._is_array = self._is_closed = False
        self._first = next(self._objects(), None)
        keys = list(self._first[1]) if self._first and isinstance(self._first[1], dict) else []
        if self._first is not None and not keys:
            remedy = "write [, an object a line, and ]"
            raise UsageError(f"{name}: line {self._first[0]}", "", "no object by itself", remedy)
        kind = kind_of(keys)
        is_wide = kind is READINGS and not {"quantity", "value"} & set(keys)
        known = ["time", "device", "received", *QUANTITIES] if is_wide else list(kind.columns)
        columns = (*keys, *(one for one in known if one not in keys)) if keys else ()
        texts = {} if kind is READINGS else kind.columns
        self._texts = {name for name, form in texts.items() if form is TEXT}
        self.heading = Heading(",".join(columns), columns, ",", name)

    def chunks(self) -> Iterator[list[Line]]:
        """Give the records as lines.

        Raises
        ------
        UsageError
            If the array has no end.
        """
        yield from in_chunks(self._lines())
        if self._is_array and not self._is_closed:
            wrong = f"ends with line {self._number}, before its array does"
            raise UsageError(self._name, "", wrong, "fetch it again; what is whole was taken in")

    def _lines(self) -> Iterator[Line]:
        if self._first is not None:
            yield self._line(*self._first)
        for found in self._objects():
            yield self._line(*found)

    def _objects(self) -> Iterator[tuple[int, Any, str]]:
        """Give each line that is no bracket of the array: its number, what it says, its text."""
        while line := self._text.readline(LINE_CHARS_MAX):
            self._number += 1
            text = line.strip()
            if not self._is_array and self._number == 1 and text.startswith("["):
                self._is_array, text = True, text[1:].strip()
            if self._is_array and text.endswith("]"):
                self._is_closed, text = True, text[:-1].strip()
            said = text.removesuffix(",")
            if said:
                yield self._number, _parsed(said), line

    def _line(self, number: int, said: Any, text: str) -> Line:  # noqa: ANN401 - any JSON
        if not isinstance(said, dict):  # bytes that are not UTF-8 are told as such
            return Line(number, ["?"], text, "not a JSON object by itself")
        other = said.keys() - set(self.heading.columns)
        if other:
            return Line(number, ["?"], text, f"{min(other)[:80]!r} is no key of the others")
        cells = [self._cell(name, said.get(name)) for name in self.heading.columns]
        return Line(number, cells, line_text(cells))

    def _cell(self, name: str, value: Any) -> str:  # noqa: ANN401 - any JSON
        if value is None:
            return ""
        if isinstance(value, str):
            return text_cell(value) if name in self._texts else value
        return json.dumps(value, ensure_ascii=False)


def _parsed(text: str) -> Any:  # noqa: ANN401 - any JSON
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None
