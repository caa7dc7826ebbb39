"""A table from a Parquet file, as lines of the same table in CSV.

So that each is checked, told and held in quarantine in one way, whatever file it came in.
"""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from hivewatch.errors import UsageError
from hivewatch.ingest.lines import CHARS, LINES, RECEIVED, Heading, Line, in_chunks, line_text
from hivewatch.store.columns import READINGS, TEXT, kind_of, text_cell

TIMES = ("time", RECEIVED)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class ParquetTable:
    """Reads a Parquet file some ten thousand rows at a time.

    Raises
    ------
    UsageError
        If it cannot be read, or its times are none.
    """

    def __init__(self, path: Path) -> None:
        """Read which columns there are."""
        self._arrow = load_pyarrow("import", "use CSV")
        self._name = path.name
        try:
            self._file = self._arrow.parquet.ParquetFile(path)
        except (OSError, self._arrow.ArrowException) as error:
            wrong = "cannot be read as Parquet"
            raise UsageError(str(path), "", wrong, "fetch it again") from error
        columns = tuple(self._file.schema_arrow.names)
        self.heading = Heading(",".join(columns), columns, ",", path.name)
        kind = kind_of(columns)
        times = (
            set(TIMES)
            if kind is READINGS
            else {name for name, form in kind.columns.items() if form.arrow.startswith("timestamp")}
        )
        for name in set(columns) & times:
            found = self._file.schema_arrow.field(name).type
            if not self._arrow.types.is_timestamp(found) or found.tz is None:
                wrong = "not a column of times with a time zone"
                raise UsageError(path.name, name, wrong, "use timestamp[ms, tz=UTC]")
        texts = {} if kind is READINGS else kind.columns
        self._texts = {name for name, form in texts.items() if form is TEXT}

    def chunks(self) -> Iterator[list[Line]]:
        """Give the rows as lines, numbered from 1."""
        try:
            yield from in_chunks(self._lines())
        except (OSError, ValueError, self._arrow.ArrowException) as error:
            wrong = "cannot be read to its end"
            raise UsageError(self._name, "", wrong, "fetch it again") from error

    def _lines(self) -> Iterator[Line]:
        number = 0
        for batch in self._file.iter_batches(self._rows_at_once()):
            columns = [
                self._cells(name, batch.column(place))
                for place, name in enumerate(self.heading.columns)
            ]
            for cells in zip(*columns, strict=True):
                number += 1
                yield Line(number, list(cells), line_text(cells))

    def _rows_at_once(self) -> int:
        """Read fewer rows at once where they are long."""
        about = self._file.metadata
        sizes = [about.row_group(n).total_byte_size for n in range(about.num_row_groups)]
        row_bytes = sum(sizes) / max(1, about.num_rows)
        return int(max(1, min(LINES, CHARS / max(1.0, row_bytes))))

    def _cells(self, name: str, column: Any) -> list[str]:  # noqa: ANN401 - a module without types
        """Write a column as text that reads back as the same value; nothing is an empty cell."""
        if self._arrow.types.is_timestamp(column.type):
            in_us = column.cast(self._arrow.timestamp("us", tz=column.type.tz), safe=False)
            stamps = in_us.cast(self._arrow.int64()).to_pylist()
            return ["" if one is None else _rfc3339(one) for one in stamps]
        found = column.to_pylist()
        if name in self._texts:
            return ["" if one is None else text_cell(str(one)) for one in found]
        return ["" if one is None else _cell(one) for one in found]


def _cell(value: Any) -> str:  # noqa: ANN401 - whatever a column can hold
    if isinstance(value, str):
        return value
    if isinstance(value, bytes):
        return b64encode(value).decode()
    if isinstance(value, bool | list | dict):
        return json.dumps(value, ensure_ascii=False, default=str)
    return str(value)


def _rfc3339(time_us: int) -> str:
    try:
        return (_EPOCH + timedelta(microseconds=time_us)).isoformat().replace("+00:00", "Z")
    except OverflowError:
        return f"{time_us} us"


def load_pyarrow(command: str, instead: str) -> Any:  # noqa: ANN401 - a module without types
    """Give the library that Parquet needs.

    Raises
    ------
    UsageError
        If it is not installed; says what to do instead.
    """
    try:
        import pyarrow  # noqa: ICN001, PLC0415 - an extra
        import pyarrow.parquet  # noqa: PLC0415
    except ImportError as error:
        wrong = "Parquet needs pyarrow, which is not installed"
        remedy = f"pip install 'hivewatch[parquet]', or {instead}"
        raise UsageError(command, "", wrong, remedy) from error
    return pyarrow
