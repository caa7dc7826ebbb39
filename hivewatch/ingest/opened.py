"""Open a table by what its file holds: Parquet, JSON, or CSV, the last two gzipped or not."""

from __future__ import annotations

import gzip
import io
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, cast

from hivewatch.errors import UsageError
from hivewatch.ingest.lines import Sheet, Table
from hivewatch.ingest.objects import JsonTable
from hivewatch.ingest.parquet import ParquetTable

GZIP, PARQUET, MARK = b"\x1f\x8b", b"PAR1", b"\xef\xbb\xbf"


@contextmanager
def open_sheet(path: Path | None, stdin: BinaryIO) -> Iterator[tuple[Sheet, Callable[[], int]]]:
    """Open a file, or standard input; also gives the bytes read so far.

    Raises
    ------
    UsageError
        If it cannot be opened or read, or is no table.
    """
    name = "standard input" if path is None else path.name
    try:
        raw = stdin if path is None else path.open("rb")
        with raw:
            buffered = io.BufferedReader(raw)  # type: ignore[type-var]
            start = buffered.peek(4)[:4]
            if start == PARQUET or (path is not None and path.suffix.lower() == ".parquet"):
                if path is None:
                    wrong = "Parquet cannot be read from a pipe"
                    raise UsageError(name, "", wrong, "name the file")
                yield ParquetTable(path), lambda: 0
                return
            packed = gzip.GzipFile(fileobj=buffered) if start[:2] == GZIP else buffered
            plain = cast("io.BufferedReader", packed)
            is_json = plain.peek(64)[:64].removeprefix(MARK).lstrip()[:1] in {b"[", b"{"}
            text = io.TextIOWrapper(plain, "utf-8-sig", errors="surrogateescape", newline="")
            sheet = JsonTable(text, name) if is_json else Table(text, name)
            yield sheet, raw.tell if path is not None else lambda: 0
    except (EOFError, gzip.BadGzipFile, zlib.error) as error:
        said = name if path is None else str(path)
        raise UsageError(said, "", f"cannot be unpacked ({error})", "fetch it again") from error
    except OSError as error:
        said = name if path is None else str(path)
        wrong = f"cannot be read ({error.strerror or error})"
        raise UsageError(said, "", wrong, "check the name") from error
