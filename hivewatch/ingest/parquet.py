"""Readings from a Parquet file, as lines of the same table in CSV.

So that each is checked, told and held in quarantine in one way, whatever file it came in.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from hivewatch.errors import UsageError
from hivewatch.ingest.lines import LINES, RECEIVED, Heading, Line, checked

TIMES = ("time", RECEIVED)


class ParquetTable:
    """Reads a Parquet file some ten thousand rows at a time.

    Raises
    ------
    UsageError
        If it cannot be read, or its columns are none of the two forms.
    """

    def __init__(self, path: Path) -> None:
        """Read which columns there are."""
        self._arrow = _pyarrow()
        self._name = path.name
        try:
            self._file = self._arrow.parquet.ParquetFile(path)
        except (OSError, self._arrow.ArrowException) as error:
            wrong = "cannot be read as Parquet"
            raise UsageError(str(path), "", wrong, "fetch it again") from error
        columns = tuple(self._file.schema_arrow.names)
        self.heading = checked(Heading(",".join(columns), columns, ","), path.name)
        for name in set(columns) & set(TIMES):
            kind = self._file.schema_arrow.field(name).type
            if not self._arrow.types.is_timestamp(kind) or kind.tz is None:
                wrong = "not a column of times with a time zone"
                raise UsageError(path.name, name, wrong, "use timestamp[ms, tz=UTC]")

    def chunks(self) -> Iterator[list[Line]]:
        """Give the rows as lines, numbered from 1."""
        number = 0
        try:
            for batch in self._file.iter_batches(LINES):
                columns = [
                    self._cells(name, batch.column(place))
                    for place, name in enumerate(self.heading.columns)
                ]
                rows = [list(cells) for cells in zip(*columns, strict=True)]
                yield [Line(number + n, row, _text(row)) for n, row in enumerate(rows, start=1)]
                number += len(rows)
        except (OSError, self._arrow.ArrowException) as error:
            raise UsageError(
                self._name, "", "cannot be read to its end", "fetch it again"
            ) from error

    def _cells(self, name: str, column: Any) -> list[str]:  # noqa: ANN401 - a module without types
        """Write a column as text that reads back as the same value; nothing is an empty cell."""
        if name in TIMES:
            in_ms = column.cast(self._arrow.timestamp("ms", tz="UTC"), safe=False)
            stamps = in_ms.cast(self._arrow.int64()).to_pylist()
            return ["" if one is None else _rfc3339(one) for one in stamps]
        return ["" if one is None else str(one) for one in column.to_pylist()]


def _rfc3339(time_ms: int) -> str:
    try:
        whole = datetime.fromtimestamp(time_ms // 1000, UTC).isoformat()[:19]
    except (OverflowError, ValueError, OSError):
        return f"{time_ms} ms"
    return f"{whole}.{time_ms % 1000:03}Z"


def _text(cells: list[str]) -> str:
    """Write a line as CSV."""
    if any(mark in cell for cell in cells for mark in ',"\r\n'):
        out = io.StringIO()
        csv.writer(out).writerow(cells)
        return out.getvalue()
    return ",".join(cells) + "\n"


def _pyarrow() -> Any:  # noqa: ANN401 - a module without types
    try:
        import pyarrow  # noqa: ICN001, PLC0415 - an extra
        import pyarrow.parquet  # noqa: PLC0415
    except ImportError as error:
        wrong = "Parquet needs pyarrow, which is not installed"
        remedy = "pip install 'hivewatch[parquet]', or use CSV"
        raise UsageError("import", "", wrong, remedy) from error
    return pyarrow
