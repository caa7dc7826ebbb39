"""Files that are taken in: tables of readings, and what an export wrote, by files or by folder."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from hivewatch.errors import HivewatchError, UsageError
from hivewatch.ingest.lines import Line, Sheet
from hivewatch.ingest.objects import JsonTable
from hivewatch.ingest.opened import open_sheet
from hivewatch.ingest.tables import SHOWN_MAX, Imported, import_readings
from hivewatch.mistakes import WrongValueError, quoted
from hivewatch.store import refill
from hivewatch.store.columns import KINDS, READINGS, Kind, check_columns, kind_of, value_of
from hivewatch.store.open import Store

LOAD = "hivewatch inspections load"
RECORDS_AT_ONCE = 500  # own choice: records a transaction


@dataclass(slots=True)
class Taken:
    """What became of a file of records."""

    kind: str = "record"
    records: int = 0
    became: Counter[str] = field(default_factory=Counter)  # as `refill.take` has it
    refused: int = 0
    shown: list[str] = field(default_factory=list)  # the first of those, in words


def files_of(folder: Path) -> tuple[list[Path], list[Path]]:
    """List the files of a folder that an export wrote, what others rest on first; and the others.

    Raises
    ------
    UsageError
        If there is none.
    """
    order = list(KINDS)
    files = [path for path in sorted(folder.iterdir()) if not path.name.startswith(".")]
    known = {
        path: order.index(stem)
        for path in files
        if (stem := path.name.partition(".")[0]) in order and path.is_file()
    }
    if not known:
        remedy = "hivewatch export FOLDER --what everything writes one"
        raise UsageError(str(folder), "", "holds no export", remedy)
    return sorted(known, key=lambda path: known[path]), [one for one in files if one not in known]


def import_file(
    store: Store,
    path: Path | None,
    stdin: BinaryIO,
    now_s: int,
    *,
    late: bool = False,
    decimal_comma: bool = False,
    mirrored: bool = False,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> Imported | Taken:
    """Take in a file, whatever it holds: its columns say which kind of record.

    Parameters
    ----------
    path : Path or None
        The file; None reads `stdin`.
    late, decimal_comma, mirrored : bool
        As `import_readings` takes them.
    progress : Callable
        Called with the bytes done and the bytes in all; 0 when unknown.

    Raises
    ------
    UsageError
        If the file cannot be read, or is no table that we know.
    """
    name = "standard input" if path is None else path.name
    if path is not None and path.suffix == ".toml":
        raise UsageError(name, "", "not a table", "hivewatch apiary load reads an apiary file")
    total = path.stat().st_size if path is not None else 0
    with open_sheet(path, stdin) as (sheet, place):
        columns = sheet.heading.columns
        if not columns and isinstance(sheet, JsonTable):
            return Taken(records=sum(map(len, sheet.chunks())))  # none, unless it is cut off
        kind = kind_of(columns)
        if {"hive", "at"} <= set(columns) and "at" not in kind.columns:
            raise UsageError(name, "", "looks like inspections", f"{LOAD} takes them")
        if kind is not READINGS:
            check_columns(kind, columns, sheet.heading.where)
            return _import_records(store, kind, sheet, name, now_s)
        return import_readings(
            store,
            sheet,
            name,
            now_s,
            late=late,
            decimal_comma=decimal_comma,
            mirrored=mirrored,
            progress=lambda: progress(place(), total),
        )


def _import_records(store: Store, kind: Kind, sheet: Sheet, name: str, now_s: int) -> Taken:
    """Take in records, some hundreds a transaction; those that are refused are named."""
    done = Taken(kind.name)
    for lines in sheet.chunks():
        for start in range(0, len(lines), RECORDS_AT_ONCE):
            some = lines[start : start + RECORDS_AT_ONCE]
            with store.write() as connection:
                for line in some:
                    try:
                        record = _record(kind, sheet, line)
                        done.became[refill.take(connection, kind, record, now_s)] += 1
                    except HivewatchError as error:
                        done.refused += 1
                        if len(done.shown) < SHOWN_MAX:
                            done.shown.append(f"{name}: line {line.number}: {error}")
            done.records += len(some)
    return done


def _record(kind: Kind, sheet: Sheet, line: Line) -> dict[str, object]:
    """Read the cells of a line; columns that the file does not have are empty."""
    columns = sheet.heading.columns
    if line.fault:
        raise UsageError("", "", line.fault, "correct it there")
    if len(line.cells) != len(columns):
        wrong = f"{len(line.cells)} cells where the heading has {len(columns)}"
        raise UsageError("", "", wrong, "correct it there")
    record: dict[str, object] = dict.fromkeys(kind.columns)
    for name, cell in zip(columns, line.cells, strict=True):
        try:
            record[name] = value_of(kind, name, cell)
        except WrongValueError as error:
            said, remedy = f"{name} = {quoted(cell)}" if cell else name, error.remedy
            if kind.name == "inspections" and said == "id":
                remedy = f"{LOAD} takes those without"
            raise UsageError("", said, error.wrong, remedy) from error
    return record
