"""What is stored, out of the store, in files that `hivewatch import` reads.

Readings are a long table, as CSV or Parquet; the apiary is the file of `hivewatch apiary load`; all
else is one JSON object a line.
"""

from __future__ import annotations

import gzip
import json
import shutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

from hivewatch.apiary import Apiary, placed_spans, write_apiary
from hivewatch.errors import UsageError
from hivewatch.mistakes import check_known
from hivewatch.store import apiary as apiary_rows
from hivewatch.store import whole
from hivewatch.store.open import Store
from hivewatch.store.pages import END_MS, read_page, read_page_received
from hivewatch.wire.quantities import BY_NUMBER, QUANTITIES

ROWS = 40_000  # own choice: readings in memory at once, some ten megabytes
END_S = END_MS // 1000
HEADING = "time,device,quantity,value"
FORMS = (".csv", ".csv.gz", ".parquet")
FILES = {
    "apiary": "apiary.toml",
    "readings": "readings.csv.gz",
    **{what: f"{what}.jsonl" for what in whole.READ},
}


class Stay(NamedTuple):
    """Readings of one device: from included, until excluded, in ms."""

    device: str
    number: int
    from_ms: int
    until_ms: int


class Page(NamedTuple):
    """Some readings of one device, by time: (time_ms, quantity, value), or when it came, too."""

    device: str
    readings: Sequence[tuple[int, int, float] | tuple[int, int, float, int]]


@dataclass(frozen=True, slots=True)
class Choice:
    """Which readings: all, or those of some hives or yards, of a time, of some quantities.

    With `received` each is told with when it came, so that a replay goes as it went.
    """

    hives: Sequence[str] = ()
    yards: Sequence[str] = ()
    quantities: Sequence[str] = ()
    since_s: int = 0
    until_s: int = END_S
    received: bool = False


def export(store: Store, file: Path | None, choice: Choice, stdout: BinaryIO) -> int:
    """Write readings out, a page at a time: by device, each by time.

    Parameters
    ----------
    file : Path or None
        A new file, whose name says the form; None writes CSV to `stdout`.

    Returns
    -------
    int
        How many readings.

    Raises
    ------
    UsageError
        If there is no such hive, yard or quantity, or the file cannot be written.
    """
    form = ".csv" if file is None else _form(file)
    with store.read() as connection:
        stays = _stays(apiary_rows.read(connection), apiary_rows.numbers(connection), choice)
    for name in choice.quantities:
        check_known("--quantity", name, QUANTITIES)
    numbers = [QUANTITIES[name].number for name in choice.quantities] or list(BY_NUMBER)
    write = _parquet if form == ".parquet" else _csv
    pages = _pages(store, stays, numbers, received=choice.received)
    if file is None:
        return write(stdout, pages, received=choice.received)
    with _new(file) as out:
        if form == ".csv.gz":
            with gzip.GzipFile(file.name.removesuffix(".gz"), "wb", 6, out, mtime=0) as packed:
                return write(packed, pages, received=choice.received)  # type: ignore[arg-type]
        return write(out, pages, received=choice.received)


def export_all(store: Store, folder: Path, choice: Choice) -> dict[str, int]:
    """Write everything into a new folder, a file a kind; gives how many records of each.

    Raises
    ------
    UsageError
        If there is no such hive or yard, or the folder cannot be written.
    """
    if folder.exists():
        raise UsageError(str(folder), "", "exists already", "name a new folder")
    part = folder.with_name(folder.name + ".part")
    try:
        part.mkdir()
        try:
            done = {
                what: export_some(store, what, part / name, choice) for what, name in FILES.items()
            }
            part.rename(folder)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    except OSError as error:
        wrong = f"cannot be written ({error.strerror or error})"
        remedy = "is the folder above it there, is there room, and may we?"
        raise UsageError(str(folder), "", wrong, remedy) from error
    return done


def export_some(
    store: Store, what: str, file: Path | None, choice: Choice, stdout: BinaryIO | None = None
) -> int:
    """Write all of one kind into a new file, or to `stdout`; gives how many records.

    Of some hives the apiary holds their yards, their devices, and wherever else those stood.
    """
    stdout = stdout or sys.stdout.buffer
    if what == "readings":
        return export(store, file, replace(choice, received=True), stdout)
    ending = Path(FILES[what]).suffix
    if file is not None and file.suffix.lower() != ending:
        raise UsageError(str(file), "", f"not a form we write {what} in", f"end it with {ending}")
    with store.read() as connection:
        known = apiary_rows.read(connection)
        wanted = _wanted(known, apiary_rows.numbers(connection), choice)
        if what == "apiary":
            some = whole.part_of(connection, known, wanted)
            with _out(file, stdout) as out:
                out.write(write_apiary(some).encode())
                out.flush()
            return len(some.hives)
        count = 0
        with _out(file, stdout) as out:
            for record in whole.READ[what](connection, wanted):
                out.write(json.dumps(record, ensure_ascii=False).encode() + b"\n")
                count += 1
            out.flush()
    return count


@contextmanager
def _out(file: Path | None, stdout: BinaryIO) -> Iterator[BinaryIO]:
    if file is None:
        yield stdout
        return
    with _new(file) as out:
        yield out


def _wanted(apiary: Apiary, numbers: dict[str, int], choice: Choice) -> whole.Wanted:
    """Say which records a choice means."""
    stays = _stays(apiary, numbers, choice)
    hives: set[str] | None = None
    if choice.hives or choice.yards:
        hives = {
            one.id for one in apiary.hives if one.id in choice.hives or one.yard in choice.yards
        }
    return whole.Wanted(
        hives=hives,
        yards=choice.yards,
        stays=[(one.device, one.from_ms // 1000, one.until_ms // 1000) for one in stays],
        since_s=choice.since_s,
        until_s=choice.until_s,
    )


def _form(file: Path) -> str:
    """Read the form from a file's name."""
    form = next((form for form in FORMS if file.name.lower().endswith(form)), None)
    if form is None:
        raise UsageError(str(file), "", "not a form we write", f"end it with {', '.join(FORMS)}")
    if form == ".parquet":
        _pyarrow()
    return form


def _pyarrow() -> Any:  # noqa: ANN401 - a module without types
    try:
        import pyarrow  # noqa: ICN001, PLC0415 - an extra
        import pyarrow.parquet  # noqa: PLC0415
    except ImportError as error:
        wrong = "Parquet needs pyarrow, which is not installed"
        remedy = "pip install 'hivewatch[parquet]', or write .csv.gz"
        raise UsageError("export", "", wrong, remedy) from error
    return pyarrow


@contextmanager
def _new(file: Path) -> Iterator[BinaryIO]:
    """Open a new file beside its name, and give it its name when it is whole."""
    if file.exists():
        raise UsageError(str(file), "", "exists already", "name a new file")
    part = file.with_name(file.name + ".part")
    try:
        try:
            with part.open("wb") as out:
                yield out
            part.rename(file)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        wrong = f"cannot be written ({error.strerror or error})"
        remedy = "is the folder there, is there room, and may we?"
        raise UsageError(str(file), "", wrong, remedy) from error


def _stays(apiary: Apiary, numbers: dict[str, int], choice: Choice) -> list[Stay]:
    """List whose readings of which time are wanted."""
    for name in choice.hives:
        check_known("--hive", name, [one.id for one in apiary.hives])
    for name in choice.yards:
        check_known("--yard", name, [one.id for one in apiary.yards])
    low_ms, high_ms = choice.since_s * 1000, choice.until_s * 1000
    if not choice.hives and not choice.yards:
        return [Stay(name, number, low_ms, high_ms) for name, number in sorted(numbers.items())]
    stays = []
    for hive in apiary.hives:
        if hive.id in choice.hives or hive.yard in choice.yards:
            for name, from_s, until_s in placed_spans(apiary.placements, hive.id):
                end_ms = high_ms if until_s is None else min(until_s * 1000, high_ms)
                if name in numbers:
                    stays.append(Stay(name, numbers[name], max(from_s * 1000, low_ms), end_ms))
    return sorted(stays)


def _pages(
    store: Store, stays: Sequence[Stay], quantities: Sequence[int], *, received: bool
) -> Iterator[Page]:
    """Read page by page, each a moment of its own: what is stored never changes."""
    read = read_page_received if received else read_page
    for stay in stays:
        next_ms: int | None = stay.from_ms
        while next_ms is not None:
            with store.read() as connection:
                readings, next_ms = read(
                    connection,
                    stay.number,
                    next_ms,
                    ROWS,
                    until_ms=stay.until_ms,
                    quantities=quantities,
                )
            if readings:
                yield Page(stay.device, readings)


def _csv(out: BinaryIO, pages: Iterator[Page], *, received: bool) -> int:
    """Write lines; every value reads back as the same number."""
    count = 0
    out.write(f"{HEADING}{',received' * received}\n".encode())
    for device, readings in pages:
        middles = {number: f",{device},{one.name}," for number, one in BY_NUMBER.items()}
        lines = [
            f"{_rfc3339(time_ms)}{middles[quantity]}{value!r}"
            f"{''.join(',' + _rfc3339(one * 1000) for one in came)}\n"
            for time_ms, quantity, value, *came in readings
        ]
        out.write("".join(lines).encode())
        count += len(lines)
    out.flush()
    return count


@lru_cache(maxsize=64)
def _rfc3339(time_ms: int) -> str:
    """Write a time, with milliseconds where there are some."""
    whole = datetime.fromtimestamp(time_ms // 1000, UTC).isoformat()[:19]
    return f"{whole}.{time_ms % 1000:03}Z" if time_ms % 1000 else f"{whole}Z"


def _parquet(out: BinaryIO, pages: Iterator[Page], *, received: bool) -> int:
    """Write row groups: time (UTC, ms), device, quantity, value; and when it came (UTC, ms)."""
    pyarrow = _pyarrow()
    moment = pyarrow.timestamp("ms", tz="UTC")
    fields = [
        ("time", moment),
        ("device", pyarrow.string()),
        ("quantity", pyarrow.string()),
        ("value", pyarrow.float64()),
    ]
    schema = pyarrow.schema(fields + [("received", moment)] * received)
    count = 0
    with pyarrow.parquet.ParquetWriter(out, schema) as writer:
        for device, readings in pages:
            times, quantities, values, *came = zip(*readings, strict=True)
            names = [BY_NUMBER[one].name for one in quantities]
            columns = [times, [device] * len(times), names, values]
            columns += [[one * 1000 for one in column] for column in came]
            arrays = [
                pyarrow.array(column, kind.type)
                for column, kind in zip(columns, schema, strict=True)
            ]
            writer.write_table(pyarrow.Table.from_arrays(arrays, schema=schema))
            count += len(times)
    return count
