"""One hive's window, read from the store."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np
from sqlalchemy import Connection, text

from hivewatch.apiary import Apiary, placed_spans
from hivewatch.signals.window import DeviceTrace, HiveWindow, Series, counts_of, merge
from hivewatch.store import apiary as apiary_rows
from hivewatch.store.quarantine import clock_faults_s
from hivewatch.store.readings import read_ahead, read_series
from hivewatch.wire.quantities import BY_NUMBER, TOTAL_OF, Quantity

OF_THE_DEVICE = ("battery", "battery-level", "signal")


class Span(NamedTuple):
    """A device's stay at a hive: from included, until excluded, in ms."""

    device: str
    number: int
    from_ms: int
    until_ms: int
    ends: bool


def spans_of(connection: Connection, apiary: Apiary, hive_id: str, as_of_s: int) -> list[Span]:
    """List the devices' stays at a hive up to a moment, by their start."""
    numbers = apiary_rows.numbers(connection)
    now_ms = as_of_s * 1000 + 1000
    return [
        Span(
            name,
            numbers[name],
            from_s * 1000,
            now_ms if until_s is None else min(until_s * 1000, now_ms),
            ends=until_s is not None and until_s <= as_of_s,
        )
        for name, from_s, until_s in placed_spans(apiary.placements, hive_id)
        if name in numbers and from_s <= as_of_s
    ]


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
    hive = next(one for one in apiary.hives if one.id == hive_id)
    yard = next(one for one in apiary.yards if one.id == hive.yard)
    stays = [
        (span, _read_stay(connection, span, received_by_s))
        for span in spans_of(connection, apiary, hive_id, as_of_s)
    ]
    return HiveWindow(
        hive=hive,
        yard=yard,
        as_of_s=as_of_s,
        series=_speaking(stays),
        devices=tuple(_trace(connection, span, stay, as_of_s) for span, stay in stays),
    )


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
    return [(span.number, span.from_ms, until_ms) for span, until_ms in _take_turns(reporting)]


def _take_turns(reporting: list[Span]) -> Iterator[tuple[Span, int]]:
    """Of devices that report the same quantity, let the one placed last speak from then on."""
    for i, span in enumerate(reporting):
        later = [other.from_ms for other in reporting[i + 1 :]]
        until_ms = min([span.until_ms, *later])
        if until_ms > span.from_ms:
            yield span, until_ms


def _read_stay(connection: Connection, span: Span, received_by_s: int | None) -> dict[str, Series]:
    """Read all quantities of one device over its stay."""
    stay = {}
    for number, quantity in BY_NUMBER.items():
        series = read_series(
            connection, span.number, number, span.from_ms, span.until_ms, received_by_s
        )
        if len(series):
            stay[quantity.name] = series
    return stay


def _speaking(stays: list[tuple[Span, dict[str, Series]]]) -> Mapping[str, Series]:
    """Put the hive's series together from the stays, totals turned into counts."""
    speaking: dict[str, Series] = {}
    for quantity in BY_NUMBER.values():
        parts = []
        reporting = [span for span, stay in stays if quantity.name in stay]
        stay_of = {id(span): stay for span, stay in stays}
        for span, until_ms in _take_turns(reporting):
            series = stay_of[id(span)][quantity.name]
            end = np.searchsorted(series.time_s, until_ms // 1000)
            part = Series(series.time_s[:end], series.value[:end])
            parts.append(counts_of(part) if quantity.kind == "total" else part)
        if parts:
            speaking[quantity.name] = Series(
                np.concatenate([part.time_s for part in parts]),
                np.concatenate([part.value for part in parts]),
            )
    for name, total in TOTAL_OF.items():
        counted = speaking.pop(total.name, None)
        if counted is not None:
            told = speaking.get(name)
            speaking[name] = counted if told is None else merge(told, counted)
    return speaking


def _trace(
    connection: Connection, span: Span, stay: Mapping[str, Series], as_of_s: int
) -> DeviceTrace:
    """Note what a device did during its stay."""
    times = [series.time_s for series in stay.values()]
    ahead_s, ahead_by_s = read_ahead(connection, span.number, span.from_ms, span.until_ms)
    refused_s = np.array(clock_faults_s(connection, span.device, as_of_s), np.int64)
    within = (refused_s >= span.from_ms // 1000) & (refused_s < span.until_ms // 1000)
    return DeviceTrace(
        device=span.device,
        from_s=span.from_ms // 1000,
        until_s=span.until_ms // 1000 if span.ends else None,
        heard_s=np.unique(np.concatenate(times)) if times else np.empty(0, np.int64),
        series={name: stay[name] for name in OF_THE_DEVICE if name in stay},
        ahead_s=ahead_s,
        ahead_by_s=ahead_by_s,
        refused_s=refused_s[within],
    )
