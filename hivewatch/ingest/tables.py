"""Readings from CSV, JSON or Parquet: a long table (time, device, quantity, value) or a wide one.

A wide table has `time`, `device` and one column a quantity; an empty cell is no reading. Both may
have a column `received`, which says when each reading came. Bad lines are counted,
named and put into quarantine with their heading, so that they can be admitted later.
"""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from hivewatch.ingest.intake import DEVICE, Batch, admit
from hivewatch.ingest.lines import RECEIVED, Heading, Line, Sheet, Table, check_readings
from hivewatch.store import apiary
from hivewatch.store.open import Store
from hivewatch.store.quarantine import Held
from hivewatch.wire.quantities import BY_NUMBER, QUANTITIES
from hivewatch.wire.senml import AHEAD_MAX_S, EARLIEST_S

SHOWN_MAX = 20  # own choice: bad lines that are named one by one
CSV, CSV_COMMA = "text/csv", "text/csv; decimal=comma"

ROW = ("device", "quantity", "time_ms", "value", "received_s")  # as the store takes it

Fault = tuple[int | None, str, str]


@dataclass(slots=True)
class Imported:
    """What became of a file."""

    lines: int = 0
    stored: int = 0
    repeats: int = 0
    reasons: Counter[str] = field(default_factory=Counter)  # why lines were not admitted
    shown: list[str] = field(default_factory=list)  # the first of them, in words
    newest_s: int = 0

    @property
    def bad(self) -> int:
        """Count what was not admitted."""
        return sum(self.reasons.values())


@dataclass(frozen=True, slots=True)
class Form:
    """How to read the lines of one file."""

    name: str
    heading: Heading
    decimal_comma: bool
    now_s: int
    received_s: int | None  # None: each reading was received when it was measured
    mirrored: bool = False


def import_readings(
    store: Store,
    sheet: Sheet,
    name: str,
    now_s: int,
    *,
    late: bool = False,
    decimal_comma: bool = False,
    mirrored: bool = False,
    progress: Callable[[], object] = lambda: None,
) -> Imported:
    """Read a table of readings into the store.

    Parameters
    ----------
    name : str
        What to call its file.
    now_s : int
        The present. [s]
    late : bool
        Whether the readings count as received now; otherwise each as received when it was
        measured, so that a replay of a recording goes as if it had been live. What the file itself
        says, in its column `received`, goes before.
    mirrored : bool
        Whether to mark what is new for the mirror.
    progress : Callable
        Called after each transaction.

    Raises
    ------
    UsageError
        If its heading is not one of the two forms.
    """
    check_readings(sheet.heading)
    done = Imported()
    form = Form(name, sheet.heading, decimal_comma, now_s, now_s if late else None, mirrored)
    for lines in sheet.chunks():
        _store_lines(store, form, lines, done)
        progress()
    return done


def decode_line(held: Held, numbers: dict[str, int]) -> Batch:
    """Read one line from quarantine again, where it stands with its heading."""
    table = Table(io.StringIO(held.raw.decode("utf-8", "replace"), newline=""), held.source)
    check_readings(table.heading)
    comma = held.content_type == CSV_COMMA
    form = Form(held.source, table.heading, comma, held.received_s, held.received_s)
    lines = [line for chunk in table.chunks() for line in chunk]
    return _batch(form, lines, numbers.__getitem__)


def _store_lines(store: Store, form: Form, lines: Sequence[Line], done: Imported) -> None:
    """Commit one chunk of lines, in one transaction."""
    with store.write() as connection:
        names: dict[int, str] = {}

        def number(device: str) -> int:
            found = apiary.number_of(connection, device)
            names[found] = device
            return found

        batch = _batch(form, lines, number)
        committed = admit(connection, batch, names, mirrored=form.mirrored)
    done.lines += len(lines)
    done.stored += committed.stored
    done.repeats += committed.repeats
    done.newest_s = max(done.newest_s, committed.newest_s)
    for held in batch.held:
        for _, reason, detail in held.faults:
            done.reasons[reason] += 1
            if len(done.shown) < SHOWN_MAX:
                done.shown.append(f"{held.source}: {detail}")


def _batch(form: Form, lines: Sequence[Line], number: Callable[[str], int]) -> Batch:
    """Check a chunk of lines, column by column, and make rows of what is good."""
    width = len(form.heading.columns)
    faults: dict[int, list[Fault]] = {
        place: [
            (None, "line", line.fault or f"{len(line.cells)} cells where the heading has {width}")
        ]
        for place, line in enumerate(lines)
        if line.fault or len(line.cells) != width
    }
    table = _judge(_tidy(form, lines), form)
    bad = table[table.reason != ""]
    for place, reason, detail in zip(bad.line, bad.reason, _details(bad), strict=True):
        of_line = faults.setdefault(place, [])
        if (None, reason, detail) not in of_line:  # a wide line has one time for all its readings
            of_line.append((None, reason, detail))
    good = table[table.reason == ""].copy()
    good["device"] = good.device.map({one: number(one) for one in good.device.unique()})
    good = good.sort_values(["device", "quantity", "time_ms"], kind="stable")
    measured_s = np.minimum(good.time_ms // 1000, form.now_s)
    otherwise_s = measured_s if form.received_s is None else form.received_s
    good["received_s"] = np.where(good.came_s > 0, good.came_s, otherwise_s)
    columns = (good[name].tolist() for name in ROW)
    return Batch(
        came=lambda place: _held(form, lines[place], ()),
        rows=list(zip(*columns, strict=True)),
        sources=good.line.tolist(),
        held=[_held(form, lines[place], tuple(faults[place])) for place in sorted(faults)],
    )


def _tidy(form: Form, lines: Sequence[Line]) -> pd.DataFrame:
    """Bring both forms to one: a row a reading, with the place of its line; all cells are text."""
    columns = form.heading.columns
    places = [
        place
        for place, line in enumerate(lines)
        if len(line.cells) == len(columns) and not line.fault
    ]
    cells = [lines[place].cells for place in places]
    table = pd.DataFrame(cells, columns=list(columns), dtype=object)
    table["line"] = places
    table["time_ms"] = _times_ms(table["time"])
    table["came_s"] = _came_s(table)
    if not form.heading.is_long:
        about = [name for name in table.columns if name not in QUANTITIES]
        table = table.melt(about, var_name="quantity", value_name="value")
        table = table[~table.value.str.strip().str.lower().isin(("", "nan"))]
    return table.rename(columns={"value": "text", "quantity": "name"}).reset_index(drop=True)


def _came_s(table: pd.DataFrame) -> pd.Series | int:
    """Read when each line says it came: 0 where it says nothing, -1 where it is no time."""
    if RECEIVED not in table:
        return 0
    said_s = (_times_ms(table[RECEIVED]) // 1000).replace(0, -1)
    return said_s.where(table[RECEIVED].str.strip() != "", 0)


def _times_ms(times: pd.Series) -> pd.Series:
    """Read RFC 3339 times with their offset; 0 where it is none."""
    places, said = pd.factorize(times)  # most are said of many readings
    text = pd.Series(said, dtype=object).str.strip()
    known = text.str.contains(r"\d[Tt ]\d.*(?:[Zz]|[+-]\d\d:?\d\d)$", regex=True)
    read = pd.to_datetime(text.where(known), format="ISO8601", utc=True, errors="coerce")
    stamp_ms = read.astype("datetime64[ms, UTC]").astype("int64")
    known_ms = stamp_ms.where(read.notna(), 0)
    return pd.Series(known_ms.to_numpy()[places], times.index)


def _judge(table: pd.DataFrame, form: Form) -> pd.DataFrame:
    """Turn text into numbers; `reason` says why a row cannot be admitted, or is empty."""
    text = table.text.str.strip()
    if form.decimal_comma:
        text = text.str.replace(",", ".")
    names = {one: QUANTITIES.get(one.strip()) for one in table["name"].unique()}
    numbers = {name: one.number if one else 0 for name, one in names.items()}
    table["quantity"] = table["name"].map(numbers).astype("int64")
    table["value"] = pd.to_numeric(text, errors="coerce").astype("float64")
    latest_ms = (form.now_s + AHEAD_MAX_S) * 1000
    devices = {one: DEVICE.fullmatch(one) is not None for one in table.device.unique()}
    low = table.quantity.map({one.number: one.low for one in BY_NUMBER.values()})
    high = table.quantity.map({one.number: one.high for one in BY_NUMBER.values()})
    table["reason"] = np.select(
        [
            ~table.device.map(devices).astype(bool),
            (table.time_ms == 0) | (table.came_s < 0) | (table.came_s > max(form.now_s, 0)),
            ~table.time_ms.between(EARLIEST_S * 1000, latest_ms),
            table.quantity == 0,
            ~np.isfinite(table.value),
            ~table.value.between(low, high),
        ],
        ["device name", "time", "clock", "quantity", "value", "out of range"],
        "",
    )
    return table


def _details(bad: pd.DataFrame) -> list[str]:
    """Say in words what is wrong with each reading."""
    words: dict[str, Callable[[Any], str]] = {
        "device name": lambda row: (
            f"device = {row.device[:80]!r}: use 1 to 64 of A-Z a-z 0-9 . _ -"
        ),
        "time": _time_fault,
        "clock": lambda row: f"time = {row.time[:80]!r}: over a day ahead, or before 2010",
        "quantity": lambda row: f"quantity = {row.name_[:80]!r}: use {', '.join(QUANTITIES)}",
        "value": lambda row: (
            f"{row.name_} = {row.text[:80]!r}: not a number; use a point, or --decimal comma"
        ),
        "out of range": lambda row: (
            f"{row.name_} = {row.text[:80]!r}: not believable; {_range(row.quantity)}"
        ),
    }
    rows = bad.rename(columns={"name": "name_"}).itertuples()
    return [words[row.reason](row) for row in rows]


def _time_fault(row: Any) -> str:  # noqa: ANN401 - a row of a table
    """Say which time is wrong."""
    remedy = "write it as 2026-05-01T12:00:00Z, or with an offset"
    if row.time_ms == 0:
        return f"time = {row.time[:80]!r}: {remedy}"
    remedy = "still to come" if row.came_s > 0 else remedy
    return f"received = {row.received[:80]!r}: {remedy}"


def _range(number: int) -> str:
    """Say what is believable."""
    one = BY_NUMBER[number]
    return f"{one.low:g} to {one.high:g} {one.unit}"


def _held(form: Form, line: Line, faults: Sequence[Fault]) -> Held:
    """Put a line under its heading, so that it can be read again by itself."""
    return Held(
        source=f"{form.name}: line {line.number}",
        device=_device_of(form, line),
        content_type=CSV_COMMA if form.decimal_comma else CSV,
        raw=f"{form.heading.text}\n{line.text}".encode(),
        faults=faults,
        received_s=form.now_s if form.received_s is None else form.received_s,
    )


def _device_of(form: Form, line: Line) -> str | None:
    """Name the device of a line, if it can be."""
    place = form.heading.columns.index("device")
    name = line.cells[place] if len(line.cells) > place else ""
    return name if DEVICE.fullmatch(name) else None
