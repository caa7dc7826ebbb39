"""One hive's window, read from the store."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from sqlalchemy import Connection, text

from hivewatch.apiary import Apiary, placed_spans
from hivewatch.signals.carried import AHEAD_S, RAW_S, Carried
from hivewatch.signals.carried import NOTHING as CARRIED_NOTHING
from hivewatch.signals.window import (
    EMPTY,
    DeviceTrace,
    HiveWindow,
    Ints,
    Series,
    counts_of,
    first_kept,
    merge,
)
from hivewatch.store import apiary as apiary_rows
from hivewatch.store.quarantine import clock_faults_s
from hivewatch.store.readings import read_ahead, read_new, read_series
from hivewatch.wire.quantities import BY_NUMBER, TOTAL_OF, Quantity

KEPT_BYTES = 800_000_000  # own choice: a thousand hives; of more, the rest is read anew each time
OF_CARRIED_BYTES = 250_000  # own choice: about what is carried of a hive takes
_ALL = ",".join(map(str, BY_NUMBER))
OF_THE_DEVICE = ("battery", "battery-level", "signal")


class Span(NamedTuple):
    """A device's stay at a hive: from included, until excluded, in ms."""

    device: str
    number: int
    from_ms: int
    until_ms: int
    ends: bool


def spans_of(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    numbers: Mapping[str, int] | None = None,
) -> list[Span]:
    """List the devices' stays at a hive up to a moment, by their start."""
    placed = placed_spans(apiary.placements, hive_id)
    if numbers is None:
        numbers = apiary_rows.numbers(connection, {name for name, _, _ in placed})
    now_ms = as_of_s * 1000 + 1000
    return [
        Span(
            name,
            numbers[name],
            from_s * 1000,
            now_ms if until_s is None else min(until_s * 1000, now_ms),
            ends=until_s is not None and until_s <= as_of_s,
        )
        for name, from_s, until_s in placed
        if name in numbers and from_s <= as_of_s
    ]


@dataclass(frozen=True, slots=True)
class Stay:
    """What one device reported while it stood at a hive.

    `series` has its quantities, `heard_s` the times of all its readings, and both are complete up
    to `until_ms`, excluded.
    """

    series: Mapping[str, Series]
    heard_s: Ints
    until_ms: int

    @property
    def bytes(self) -> int:
        """The memory it takes."""
        times = {id(one.time_s): one.time_s for one in self.series.values()}
        arrays = [self.heard_s, *times.values(), *(one.value for one in self.series.values())]
        return sum(one.nbytes for one in arrays)


NOTHING = Stay({}, np.empty(0, np.int64), 0)
Stays = Sequence[tuple[Span, Stay]]


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
    stays = [
        (span, _read_stay(connection, span, NOTHING, span.from_ms, received_by_s))
        for span in spans_of(connection, apiary, hive_id, as_of_s)
    ]
    return _window(connection, apiary, hive_id, as_of_s, stays)


@dataclass(frozen=True, slots=True)
class _Kept:
    """What is kept of one hive: its devices' stays, and what is known of the days before."""

    stays: Stays
    carried: Carried

    @property
    def bytes(self) -> int:
        """The memory it takes, about."""
        carried = OF_CARRIED_BYTES if self.carried.until_s else 0
        return carried + sum(stay.bytes for _, stay in self.stays)

    def of(self, span: Span) -> Stay:
        """Give a device's stay."""
        return next((stay for known, stay in self.stays if known[:3] == span[:3]), NOTHING)


NOTHING_KEPT = _Kept((), CARRIED_NOTHING)


class WindowKeeper:
    """Reads windows and keeps what it read, so that next time only what changed is read.

    Of a window that rests on what was carried before, see `hivewatch.signals.carried`, only the
    last readings are kept. What was used longest ago is let go when more than `bytes_max` would be
    kept.
    """

    def __init__(self, bytes_max: int = KEPT_BYTES) -> None:
        """Start with nothing kept."""
        self._bytes_max = bytes_max
        self._kept: dict[str, _Kept] = {}
        self._bytes: dict[str, int] = {}
        self._total = 0
        self._numbers: dict[str, int] = {}

    def read(
        self,
        connection: Connection,
        apiary: Apiary,
        hive_id: str,
        as_of_s: int,
        changed_ms: Mapping[str, int],
    ) -> HiveWindow:
        """Read a hive's window as `read_window` does.

        Parameters
        ----------
        changed_ms : Mapping
            Device -> from when on its readings have changed since the last time. [ms]
        """
        kept = self._kept.get(hive_id, NOTHING_KEPT)
        self.forget(hive_id)
        spans = spans_of(connection, apiary, hive_id, as_of_s, self.numbers(connection, apiary))
        known_ms = 1000 * (kept.carried.until_s + AHEAD_S)
        if any(changed_ms.get(span.device, known_ms) < known_ms for span in spans):
            kept = NOTHING_KEPT  # it came too late
        stays = _go_on(connection, spans, kept, changed_ms)
        if kept.carried.until_s and _is_other_voice(kept.stays, stays, known_ms):
            kept = NOTHING_KEPT
            stays = _go_on(connection, spans, kept, changed_ms)
        self._keep(hive_id, _Kept(stays, kept.carried))
        window = _window(connection, apiary, hive_id, as_of_s, stays)
        return replace(window, carried=kept.carried) if kept.carried.until_s else window

    def carry(self, hive_id: str, carried: Carried, asked_from_s: tuple[int, int]) -> None:
        """Keep what the next window may rest on, and of the readings only what is still asked.

        Parameters
        ----------
        asked_from_s : tuple of int
            Since when: the readings of the hive, and those of its devices themselves. [s]
        """
        kept = self._kept.get(hive_id)
        if kept is None or carried is kept.carried:
            return
        self.forget(hive_id)
        self._keep(hive_id, _Kept(_last_of(kept.stays, *asked_from_s), carried))

    def numbers(self, connection: Connection, apiary: Apiary) -> Mapping[str, int]:
        """Give the numbers of the devices that are placed; a device keeps its number for ever."""
        if any(place.device not in self._numbers for place in apiary.placements):
            self._numbers = apiary_rows.numbers(connection)
        return self._numbers

    def forget(self, hive_id: str) -> None:
        """Read all of a hive anew next time: its devices have moved."""
        if self._kept.pop(hive_id, None) is not None:
            self._total -= self._bytes.pop(hive_id)

    def _keep(self, hive_id: str, kept: _Kept) -> None:
        """Keep what was read, within the limit; the hive read last goes last."""
        self._kept[hive_id] = kept
        self._bytes[hive_id] = kept.bytes
        self._total += self._bytes[hive_id]
        while self._total > self._bytes_max:
            self.forget(next(iter(self._kept)))


def _window(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    stays: Sequence[tuple[Span, Stay]],
) -> HiveWindow:
    """Put a window together from the devices' stays."""
    hive = next(one for one in apiary.hives if one.id == hive_id)
    yard = next(one for one in apiary.yards if one.id == hive.yard)
    return HiveWindow(
        hive=hive,
        yard=yard,
        as_of_s=as_of_s,
        series=_speaking(stays),
        devices=tuple(_trace(connection, span, stay, as_of_s) for span, stay in stays),
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
    placed = placed_spans(apiary.placements, hive_id)
    if numbers is None:
        numbers = apiary_rows.numbers(connection, {name for name, _, _ in placed})
    moments: list[int] = []
    for name, from_s, until_s in placed:
        moments += [moment for moment in (from_s, until_s) if moment and moment > as_of_s]
        if name in numbers:
            first = connection.exec_driver_sql(
                f"SELECT min(time_ms) FROM reading WHERE device = ? AND quantity IN ({_ALL})"  # noqa: S608
                " AND time_ms >= ?",
                (numbers[name], max(now_ms, from_s * 1000)),
            ).scalar()
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
    return [(span.number, span.from_ms, until_ms) for span, until_ms in _take_turns(reporting)]


def _take_turns(reporting: list[Span]) -> Iterator[tuple[Span, int]]:
    """Of devices that report the same quantity, let the one placed last speak from then on."""
    for i, span in enumerate(reporting):
        later = [other.from_ms for other in reporting[i + 1 :]]
        until_ms = min([span.until_ms, *later])
        if until_ms > span.from_ms:
            yield span, until_ms


def _read_stay(
    connection: Connection, span: Span, before: Stay, from_ms: int, received_by_s: int | None
) -> Stay:
    """Read a device's stay from a time on; what is earlier is as it was read before."""
    if before is not NOTHING and from_ms >= span.until_ms:
        return before  # it left, and nothing came late
    series, fresh, few = {}, [], None
    if before is not NOTHING and received_by_s is None:
        few = read_new(connection, span.number, list(BY_NUMBER), from_ms, span.until_ms)
    for number, quantity in BY_NUMBER.items():
        if few is None:
            args = (span.number, number, from_ms, span.until_ms, received_by_s)
            new = read_series(connection, *args)
        else:
            new = few.get(number, EMPTY)
        old = before.series.get(quantity.name, EMPTY).before(from_ms // 1000)
        if len(new) or len(old) or old.skipped:
            series[quantity.name] = old.then(new)
        fresh.append(new.time_s)
    series = _sharing_times(series)
    heard_s = before.heard_s[: np.searchsorted(before.heard_s, from_ms // 1000)]
    heard_s = np.concatenate([heard_s, _times_of_all(fresh)])
    return Stay(series, heard_s, span.until_ms)


def _sharing_times(series: dict[str, Series]) -> dict[str, Series]:
    """Let quantities that a device sends at the same times have their times in common."""
    shared: list[Ints] = []
    for name, one in series.items():
        same = next((times_s for times_s in shared if np.array_equal(times_s, one.time_s)), None)
        if same is None:
            shared.append(one.time_s)
        else:
            series[name] = Series(same, one.value, one.skipped)
    return series


def _go_on(
    connection: Connection, spans: Sequence[Span], kept: _Kept, changed_ms: Mapping[str, int]
) -> list[tuple[Span, Stay]]:
    """Read what is new of each stay."""
    stays = []
    for span in spans:
        before = kept.of(span)
        from_ms = min(before.until_ms, changed_ms.get(span.device, before.until_ms))
        from_ms = max(span.from_ms, from_ms // 1000 * 1000)
        stays.append((span, _read_stay(connection, span, before, from_ms, None)))
    return stays


def _is_other_voice(before: Stays, now: Stays, known_ms: int) -> bool:
    """Say whether a device reports a quantity first now that it speaks for since long ago."""
    if len(now) == 1:
        return False
    told = {(*span[:3], name) for span, stay in before for name in stay.series}
    return any(
        span.from_ms < known_ms and (*span[:3], name) not in told
        for span, stay in now
        for name in stay.series
    )


def _last_of(stays: Stays, hive_s: int, device_s: int) -> Stays:
    """Give the last readings of each stay: those that are asked since some moments."""
    last = []
    turns = {
        (span, name): until_ms // 1000
        for name in {name for _, stay in stays for name in stay.series}
        for span, until_ms in _take_turns([one for one, stay in stays if name in stay.series])
    }
    for span, stay in stays:
        series = {}
        for name, one in stay.series.items():
            own = name in OF_THE_DEVICE
            spoken = one if own else one.before(turns.get((span, name), 0))
            series[name] = spoken.since(device_s if own else hive_s, RAW_S).copy()
        series = _sharing_times(series)
        heard = first_kept(stay.heard_s, device_s, RAW_S)
        heard_s = stay.heard_s[heard:].copy()
        last.append((span, Stay(series, heard_s, stay.until_ms)))
    return last


def _times_of_all(times_s: Sequence[Ints]) -> Ints:
    """Give the times in any of some rising arrays; most devices send all they have at once."""
    all_s = np.empty(0, np.int64)
    for one_s in times_s:
        if len(one_s) and not np.array_equal(one_s, all_s):
            all_s = np.union1d(all_s, one_s) if len(all_s) else one_s
    return all_s


def _speaking(stays: Sequence[tuple[Span, Stay]]) -> Mapping[str, Series]:
    """Put the hive's series together from the stays, totals turned into counts."""
    speaking: dict[str, Series] = {}
    stay_of = dict(stays)
    for quantity in BY_NUMBER.values():
        said = EMPTY
        reporting = [span for span, stay in stays if quantity.name in stay.series]
        for span, until_ms in _take_turns(reporting):
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
