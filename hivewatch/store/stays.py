"""What one device reported while it stood at a hive, and who speaks for the hive when."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from sqlalchemy import Connection

from hivewatch.apiary import Apiary
from hivewatch.signals.carried import RAW_S
from hivewatch.signals.window import EMPTY, Ints, Series, first_kept
from hivewatch.store import apiary as apiary_rows
from hivewatch.store.readings import read_new, read_series
from hivewatch.wire.quantities import BY_NUMBER

OF_THE_DEVICE = ("battery", "battery-level", "signal")


class Span(NamedTuple):
    """A device's stay at a hive: from included, until excluded, in ms."""

    device: str
    number: int
    from_ms: int
    until_ms: int
    ends: bool
    lends: tuple[str, ...] = ()  # what another hive's device lends; all of the hive's own counts

    @property
    def key(self) -> tuple[str, int, tuple[str, ...]]:
        """What stays the same while it goes on."""
        return self.device, self.from_ms, self.lends

    def tells(self, quantity: str) -> bool:
        """Say whether a quantity that the device measures counts for the hive."""
        return not self.lends or quantity in self.lends


def spans_of(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    numbers: Mapping[str, int] | None = None,
) -> list[Span]:
    """List the devices' stays at a hive up to a moment, by their start."""
    placed = apiary.spans(hive_id)
    if numbers is None:
        numbers = apiary_rows.numbers(connection, {name for name, _, _ in placed})
    return [
        span_of(name, numbers[name], from_s, until_s, as_of_s)
        for name, from_s, until_s in placed
        if name in numbers and from_s <= as_of_s
    ]


def span_of(device: str, number: int, from_s: int, until_s: int | None, as_of_s: int) -> Span:
    """Give a stay as far as it went up to a moment."""
    now_ms = as_of_s * 1000 + 1000
    until_ms = now_ms if until_s is None else min(until_s * 1000, now_ms)
    ends = until_s is not None and until_s <= as_of_s
    return Span(device, number, from_s * 1000, until_ms, ends)


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


def read_stay(connection: Connection, span: Span, received_by_s: int | None = None) -> Stay:
    """Read a device's stay."""
    series = {}
    for number, quantity in BY_NUMBER.items():
        if span.tells(quantity.name):
            args = (span.number, number, span.from_ms, span.until_ms, received_by_s)
            read = read_series(connection, *args)
            if len(read):
                series[quantity.name] = read
    heard_s = _times_of_all([one.time_s for one in series.values()])
    return Stay(_sharing_times(series), heard_s, span.until_ms)


def read_on(connection: Connection, span: Span, before: Stay, from_ms: int) -> Stay:
    """Read what is new of a stay since a time; what is earlier is as it was read before."""
    if from_ms >= span.until_ms:
        return before  # it left, and nothing came late
    new = read_new(connection, span.number, list(BY_NUMBER), from_ms, span.until_ms)
    series: dict[str, Series] = {}
    fresh_s: set[int] = set()
    joined_s: dict[tuple[int, tuple[int, ...]], Ints] = {}  # most quantities come together
    for number, quantity in BY_NUMBER.items():
        old, read = before.series.get(quantity.name, EMPTY), new.get(number, {})
        if not span.tells(quantity.name) or not (len(old) or old.skipped or read):
            continue
        fresh_s |= read.keys()
        end = int(old.time_s.searchsorted(from_ms // 1000))
        key = id(old.time_s), tuple(read)
        if key not in joined_s:
            joined_s[key] = np.concatenate((old.time_s[:end], np.array(key[1], np.int64)))
        if len(joined_s[key]) or old.skipped:
            value = np.concatenate((old.value[:end], list(read.values())))
            series[quantity.name] = Series(joined_s[key], value, old.skipped)
    heard_s = before.heard_s[: before.heard_s.searchsorted(from_ms // 1000)]
    heard_s = np.concatenate((heard_s, np.array(sorted(fresh_s), np.int64)))
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


def _times_of_all(times_s: Sequence[Ints]) -> Ints:
    """Give the times in any of some rising arrays; most devices send all they have at once."""
    all_s = np.empty(0, np.int64)
    for one_s in times_s:
        if len(one_s) and not np.array_equal(one_s, all_s):
            all_s = _either(all_s, one_s) if len(all_s) else one_s
    return all_s


def _either(first_s: Ints, second_s: Ints) -> Ints:
    """Give the times in either of two rising arrays, in a sixtieth of what numpy takes for it."""
    both_s = np.concatenate((first_s, second_s))
    both_s.sort(kind="stable")  # which merges what rises already
    return both_s[np.diff(both_s, prepend=both_s[0] - 1) > 0]


def take_turns(reporting: list[Span]) -> Iterator[tuple[Span, int]]:
    """Of devices that report the same quantity, let the one placed last speak from then on."""
    for i, span in enumerate(reporting):
        later = [other.from_ms for other in reporting[i + 1 :]]
        until_ms = min([span.until_ms, *later])
        if until_ms > span.from_ms:
            yield span, until_ms


def is_other_voice(before: Stays, now: Stays, known_ms: int) -> bool:
    """Say whether a device reports a quantity first now that it speaks for since long ago."""
    if len(now) == len(before) == 1:
        return False
    told = {(*span[:3], name) for span, stay in before for name in stay.series}
    said = {(*span[:3], name): span for span, stay in now for name in stay.series}
    return not told <= said.keys() or any(
        span.from_ms < known_ms and one not in told for one, span in said.items()
    )


def last_of(stays: Stays, hive_s: int, device_s: int) -> Stays:
    """Give the last readings of each stay: those that are asked since some moments."""
    last = []
    turns = {
        (span, name): until_ms // 1000
        for name in {name for _, stay in stays for name in stay.series}
        for span, until_ms in take_turns([one for one, stay in stays if name in stay.series])
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
