"""The forms of a table that is written: CSV, JSON (an array, one record a line) and Parquet.

All three take the same rows in the same columns, some at a time.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Mapping
from typing import Any, BinaryIO

from hivewatch.ingest.parquet import load_pyarrow
from hivewatch.store.columns import Form
from hivewatch.store.whole import Rows

Columns = Mapping[str, Form]
Write = Callable[[BinaryIO, Columns, Iterable[Rows]], int]


def _written(
    rows: Rows, columns: Columns, how: Callable[[Form], Callable[[Any], Any]], nothing: str | None
) -> list[list[Any]]:
    """Write each column of some rows."""
    return [
        [nothing if value is None else write(value) for value in column]
        for column, write in zip(zip(*rows, strict=True), map(how, columns.values()), strict=True)
    ]


def _csv(out: BinaryIO, columns: Columns, pages: Iterable[Rows]) -> int:
    """Write lines under a heading; every value reads back as the same."""
    count = 0
    out.write(f"{','.join(columns)}\n".encode())
    for rows in filter(None, pages):
        text = io.StringIO()
        cells = _written(rows, columns, lambda form: form.cell, "")
        csv.writer(text, lineterminator="\n").writerows(zip(*cells, strict=True))
        out.write(text.getvalue().encode())
        count += len(rows)
    return count


def _json(out: BinaryIO, columns: Columns, pages: Iterable[Rows]) -> int:
    """Write an array of objects, one a line."""
    count = 0
    out.write(b"[")
    for rows in filter(None, pages):
        plain = _written(rows, columns, lambda form: form.plain, None)
        lines = [
            json.dumps(dict(zip(columns, record, strict=True)), ensure_ascii=False)
            for record in zip(*plain, strict=True)
        ]
        out.write((",\n" if count else "\n").encode() + ",\n".join(lines).encode())
        count += len(rows)
    out.write(b"\n]\n")
    return count


def _parquet(out: BinaryIO, columns: Columns, pages: Iterable[Rows]) -> int:
    """Write row groups; times are UTC, what is nested is JSON text."""
    arrow = pyarrow()
    kinds = {
        "timestamp[ms]": arrow.timestamp("ms", tz="UTC"),
        "timestamp[us]": arrow.timestamp("us", tz="UTC"),
        **{name: arrow.type_for_alias(name) for name in ("string", "int64", "double", "bool")},
        "binary": arrow.binary(),
    }
    schema = arrow.schema([(name, kinds[form.arrow]) for name, form in columns.items()])
    count = 0
    with arrow.parquet.ParquetWriter(out, schema) as writer:
        for rows in filter(None, pages):
            stored = _written(rows, columns, lambda form: form.stored, None)
            arrays = [
                arrow.array(column, kind) for column, kind in zip(stored, schema.types, strict=True)
            ]
            writer.write_table(arrow.Table.from_arrays(arrays, schema=schema))
            count += len(rows)
    return count


WRITE: dict[str, Write] = {"csv": _csv, "json": _json, "parquet": _parquet}


def pyarrow() -> Any:  # noqa: ANN401 - a module without types
    """Give the library that Parquet needs, or say that it is not installed."""
    return load_pyarrow("export", "write .csv.gz")
