"""What an export of everything wrote, taken in again: a folder, or its files by themselves."""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

from hivewatch.apiary import read_apiary
from hivewatch.errors import HivewatchError, UsageError
from hivewatch.mistakes import read_utf8
from hivewatch.store import apiary, refill
from hivewatch.store.open import Store

RECORDS_AT_ONCE = 500  # own choice: records a transaction
LINE_CHARS_MAX = 16_000_000  # own choice: the longest message of a broker, as base64, fits in
ORDER = ("apiary", "devices", "readings", "inspections", "findings", "alerts", "quarantine")


class Taken(NamedTuple):
    """What became of a file of records."""

    records: int
    new: int
    told_only: int  # alerts: they stay a record


def files_of(folder: Path) -> list[Path]:
    """List the files of a folder that an export wrote, what others rest on first.

    Raises
    ------
    UsageError
        If there is none.
    """
    known = {
        path: ORDER.index(stem)
        for path in folder.iterdir()
        if (stem := path.name.partition(".")[0]) in ORDER and path.is_file()
    }
    if not known:
        remedy = "hivewatch export FOLDER --what everything writes one"
        raise UsageError(str(folder), "", "holds no export", remedy)
    return sorted(known, key=lambda path: (known[path], path.name))


def import_apiary(store: Store, path: Path) -> list[str]:
    """Take in an apiary file; says what changed."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise UsageError(str(path), "", f"cannot be read ({error.strerror})", "may we?") from error
    given = read_apiary(read_utf8(raw, path.name), path.name)
    with store.write() as connection:
        return apiary.load(connection, given)


def import_records(store: Store, path: Path) -> Taken:
    """Take in lines of JSON, some hundreds a transaction; the same again is no error.

    Raises
    ------
    UsageError
        At the first line that is no record, or says other than the store.
    """
    count = new = told_only = 0
    lines = _lines(path)
    while some := list(islice(lines, RECORDS_AT_ONCE)):
        with store.write() as connection:
            for number, line in some:
                try:
                    record = json.loads(line)
                    new += refill.take(connection, record)
                except HivewatchError as error:
                    where = f"{path.name}: line {number}"
                    said = ": ".join(part for part in (error.where, error.said) if part)
                    raise UsageError(where, said, error.wrong, error.remedy) from error
                except (ValueError, RecursionError) as error:
                    where = f"{path.name}: line {number}"
                    raise UsageError(where, "", "not JSON", "mend it there") from error
                count += 1
                told_only += refill.kind_of(record) == "alerts"
    return Taken(count, new, told_only)


def _lines(path: Path) -> Iterator[tuple[int, str]]:
    """Read lines of a file, gzipped or not, with their numbers."""
    try:
        packed = path.suffix == ".gz"
        opened: Any = gzip.open if packed else open
        with opened(path, "rt", encoding="utf-8") as file:
            number = 0
            while line := file.readline(LINE_CHARS_MAX):
                number += 1
                if line.strip():
                    yield number, line
    except (OSError, EOFError, UnicodeDecodeError) as error:
        raise UsageError(str(path), "", f"cannot be read ({error})", "check the file") from error
