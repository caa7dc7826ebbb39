"""One hive's window, read from the store."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from sqlalchemy import Connection, text

from hivewatch.apiary import Apiary
from hivewatch.signals.window import EMPTY, DeviceTrace, HiveWindow, Series, counts_of, merge
from hivewatch.store import apiary as apiary_rows
from hivewatch.store.lent import lent_to
from hivewatch.store.open import rows
from hivewatch.store.quarantine import clock_faults_s
from hivewatch.store.readings import read_ahead, read_series
from hivewatch.store.stays import (
    OF_THE_DEVICE,
    Span,
    Stay,
    Stays,
    read_stay,
    spans_of,
    take_turns,
)
from hivewatch.wire.quantities import BY_NUMBER, TOTAL_OF, Quantity

_ALL = ",".join(map(str, BY_NUMBER))


def read_window(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    received_by_s: int | None = None,
) -> HiveWindow:
    """Read everything a hive's detectors may look at.

    Parameters
    ----------
    apiary : Apiary
        As `hivewatch.store.apiary.read` gives it.
    as_of_s : int
        Nothing measured later is read. [s]
    received_by_s : int or None
        Nothing received later is read; None for all there is. [s]
    """
    own = spans_of(connection, apiary, hive_id, as_of_s)
    lent = lent_to(connection, apiary, hive_id, own, as_of_s, received_by_s=received_by_s)
    stays = [(span, read_stay(connection, span, received_by_s)) for span in (*own, *lent)]
    return window_of(connection, apiary, hive_id, as_of_s, stays)


def read_part(
    connection: Connection, apiary: Apiary, hive_id: str, from_s: Mapping[str, int], as_of_s: int
) -> HiveWindow:
    """Read some of a hive's readings, for figures that rest on nothing else.

    Parameters
    ----------
    from_s : Mapping
        Quantity -> from when on; no other is read, and nothing is said of the devices. [s]
    as_of_s : int
        Nothing measured later is read. [s]
    """
    since_s = dict(from_s) | {
        TOTAL_OF[name].name: at for name, at in from_s.items() if name in TOTAL_OF
    }
    stays = []
    own = spans_of(connection, apiary, hive_id, as_of_s)
    for span in (*own, *lent_to(connection, apiary, hive_id, own, as_of_s)):
        series = {}
        for number, quantity in BY_NUMBER.items():
            if quantity.name in since_s and span.tells(quantity.name):
                first_ms = max(span.from_ms, since_s[quantity.name] * 1000)
                series[quantity.name] = read_series(
                    connection, span.number, number, first_ms, span.until_ms
                )
        there = {name: one for name, one in series.items() if len(one)}
        stays.append((span, Stay(there, EMPTY.time_s, span.until_ms)))
    hive = apiary.hive[hive_id]
    yard = apiary.yard[hive.yard]
    return HiveWindow(hive, yard, as_of_s, _speaking(stays))


def window_of(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    stays: Stays,
) -> HiveWindow:
    """Put a window together from the devices' stays."""
    hive = apiary.hive[hive_id]
    yard = apiary.yard[hive.yard]
    return HiveWindow(
        hive=hive,
        yard=yard,
        as_of_s=as_of_s,
        series=_speaking(stays),
        devices=tuple(
            _trace(connection, span, stay, as_of_s) for span, stay in stays if not span.lends
        ),
        lent=frozenset(name for span, _ in stays for name in span.lends),
    )


def next_dated_s(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    numbers: Mapping[str, int] | None = None,
) -> int | None:
    """Give the next moment of which the store knows already: a reading ahead of us, or a move."""
    now_ms = as_of_s * 1000 + 1000
    placed = apiary.spans(hive_id)
    if numbers is None:
        numbers = apiary_rows.numbers(connection, {name for name, _, _ in placed})
    moments: list[int] = []
    for name, from_s, until_s in placed:
        moments += [moment for moment in (from_s, until_s) if moment and moment > as_of_s]
        if name in numbers:
            [(first,)] = rows(
                connection,
                f"SELECT min(time_ms) FROM reading WHERE device = ? AND quantity IN ({_ALL})"  # noqa: S608
                " AND time_ms >= ?",
                (numbers[name], max(now_ms, from_s * 1000)),
            )
            if first is not None:
                moments.append(first // 1000)
    return min(moments, default=None)


def speaking_spans(
    connection: Connection, spans: list[Span], quantity: Quantity
) -> list[tuple[int, int, int]]:
    """Say which device speaks for a quantity when: (device number, from_ms, until_ms)."""
    reporting = [
        span
        for span in spans
        if connection.execute(
            text(
                "SELECT 1 FROM reading WHERE device = :device AND quantity = :quantity"
                " AND time_ms >= :from_ms AND time_ms < :until_ms LIMIT 1"
            ),
            {
                "device": span.number,
                "quantity": quantity.number,
                "from_ms": span.from_ms,
                "until_ms": span.until_ms,
            },
        ).first()
    ]
    return [(span.number, span.from_ms, until_ms) for span, until_ms in take_turns(reporting)]


def _speaking(stays: Stays) -> Mapping[str, Series]:
    """Put the hive's series together from the stays, totals turned into counts."""
    speaking: dict[str, Series] = {}
    stay_of = dict(stays)
    for quantity in BY_NUMBER.values():
        said = EMPTY
        reporting = [span for span, stay in stays if quantity.name in stay.series]
        for span, until_ms in take_turns(reporting):
            part = stay_of[span].series[quantity.name].before(until_ms // 1000)
            said = said.then(counts_of(part) if quantity.kind == "total" else part)
        if len(said) or said.skipped:
            speaking[quantity.name] = said
    for name, total in TOTAL_OF.items():
        counted = speaking.pop(total.name, None)
        if counted is not None:
            told = speaking.get(name)
            speaking[name] = counted if told is None else merge(told, counted)
    return speaking


def _trace(connection: Connection, span: Span, stay: Stay, as_of_s: int) -> DeviceTrace:
    """Note what a device did during its stay."""
    ahead_s, ahead_by_s = read_ahead(connection, span.number, span.from_ms, span.until_ms)
    refused_s = np.array(clock_faults_s(connection, span.device, as_of_s), np.int64)
    within = (refused_s >= span.from_ms // 1000) & (refused_s < span.until_ms // 1000)
    return DeviceTrace(
        device=span.device,
        from_s=span.from_ms // 1000,
        until_s=span.until_ms // 1000 if span.ends else None,
        heard_s=stay.heard_s,
        series={name: stay.series[name] for name in OF_THE_DEVICE if name in stay.series},
        ahead_s=ahead_s,
        ahead_by_s=ahead_by_s,
        refused_s=refused_s[within],
    )
