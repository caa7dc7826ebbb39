"""One hive's window: everything the detectors may look at, as arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from hivewatch.apiary import Hive, Yard
from hivewatch.signals.carried import NOTHING, RAW_LEAST, SILENT_S, Carried

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

RESTART_FALL = 0.5  # own choice: a restart begins near nothing; tests/unit/signals/test_window.py


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one quantity as they were stored.

    Parameters
    ----------
    time_s : Ints
        Strictly rising Unix time, UTC, shape (n,). [s]
    value : Floats
        In the quantity's unit, shape (n,), never NaN.
    skipped : int
        How many there were before these.
    """

    time_s: Ints
    value: Floats
    skipped: int = 0

    def __len__(self) -> int:
        """Count the readings."""
        return len(self.time_s)

    def copy(self) -> Series:
        """Give the same readings in memory of their own."""
        return Series(self.time_s.copy(), self.value.copy(), self.skipped)

    def up_to(self, as_of_s: int) -> Series:
        """Give the readings up to a moment, that moment included."""
        if not len(self.time_s) or self.time_s[-1] <= as_of_s:
            return self
        end = int(self.time_s.searchsorted(as_of_s, side="right"))
        return Series(self.time_s[:end], self.value[:end], self.skipped)

    def before(self, time_s: int) -> Series:
        """Give the readings before a moment, that moment excluded."""
        return self.up_to(time_s - 1)

    def between(self, from_s: int, to_s: int) -> Series:
        """Give the readings from one moment to another, both included."""
        low, high = self.time_s.searchsorted((from_s, to_s + 1)).tolist()
        return Series(self.time_s[low:high], self.value[low:high], self.skipped + low)

    def since(self, until_s: int, back_s: int) -> Series:
        """Give the readings since some time before a moment; `RAW_LEAST` before it at the least."""
        low = first_kept(self.time_s, until_s, back_s)
        return Series(self.time_s[low:], self.value[low:], self.skipped + low) if low else self

    def then(self, later: Series) -> Series:
        """Put later readings behind these."""
        if not len(later) and not later.skipped:
            return self
        if later.skipped or not len(self):
            skipped = self.skipped + len(self) + later.skipped
            return Series(later.time_s, later.value, skipped)
        return Series(
            np.concatenate([self.time_s, later.time_s]),
            np.concatenate([self.value, later.value]),
            self.skipped,
        )


EMPTY = Series(np.empty(0, np.int64), np.empty(0, np.float64))


@dataclass(frozen=True, slots=True)
class DeviceTrace:
    """What one device did while it stood at the hive.

    Parameters
    ----------
    device : str
        Its id.
    from_s, until_s : int, int or None
        The span it stood there; no end while it still does. [s]
    heard_s : Ints
        Strictly rising times of its readings, of any quantity, within the span. [s]
    series : Mapping[str, Series]
        Its own `battery`, `battery-level` and `signal`.
    ahead_s : Ints
        Times of readings that were dated more than five minutes after they were received. [s]
    ahead_by_s : Ints
        How far each of them was ahead. [s]
    refused_s : Ints
        When records of it were quarantined as a clock fault. [s]
    """

    device: str
    from_s: int
    until_s: int | None
    heard_s: Ints
    series: Mapping[str, Series] = field(default_factory=dict)
    ahead_s: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    ahead_by_s: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    refused_s: Ints = field(default_factory=lambda: np.empty(0, np.int64))

    def since(self, until_s: int, back_s: int) -> DeviceTrace:
        """Give what the device did since some time before a moment, as for a series."""
        return replace(
            self,
            heard_s=self.heard_s[first_kept(self.heard_s, until_s, back_s) :],
            series={name: one.since(until_s, back_s) for name, one in self.series.items()},
        )

    def up_to(self, as_of_s: int) -> DeviceTrace:
        """Give what the device had done by a moment; a later move is not known yet."""
        heard = int(self.heard_s.searchsorted(as_of_s, side="right"))
        ahead = int(self.ahead_s.searchsorted(as_of_s, side="right"))
        refused = int(self.refused_s.searchsorted(as_of_s, side="right"))
        left = self.until_s if self.until_s is not None and self.until_s <= as_of_s else None
        return replace(
            self,
            until_s=left,
            heard_s=self.heard_s[:heard],
            series={name: series.up_to(as_of_s) for name, series in self.series.items()},
            ahead_s=self.ahead_s[:ahead],
            ahead_by_s=self.ahead_by_s[:ahead],
            refused_s=self.refused_s[:refused],
        )


@dataclass(frozen=True, slots=True)
class HiveWindow:
    """One hive up to one moment.

    Parameters
    ----------
    hive, yard : Hive, Yard
        Where it stands.
    as_of_s : int
        The moment; nothing later is in the window. [s]
    series : Mapping[str, Series]
        The hive's readings by quantity; of two devices that report the same quantity, the one
        placed last speaks from its placement on. Totals are turned into counts already.
    devices : tuple[DeviceTrace, ...]
        The devices that stood at the hive, one entry a placement.
    lent : frozenset of str
        Quantities that no device of the hive measures, but one at another hive of its yard.
    """

    hive: Hive
    yard: Yard
    as_of_s: int
    series: Mapping[str, Series]
    devices: tuple[DeviceTrace, ...] = ()
    lent: frozenset[str] = frozenset()
    carried: Carried = NOTHING
    """What is known of the days before already; then the series may begin later than the hive."""
    told_s: Mapping[str, Sequence[int]] = field(default_factory=dict)
    """When what was found of each kind before `carried.until_s` began."""
    memo: dict[str, object] = field(default_factory=dict, init=False, repr=False, compare=False)
    """What signals have worked out of this very window; another window starts with nothing."""

    def of(self, quantity: str) -> Series:
        """Give the readings of one quantity; empty when there are none."""
        return self.series.get(quantity, EMPTY)

    def has(self, quantity: str) -> bool:
        """Say whether there has ever been a reading of a quantity."""
        return bool(len(self.of(quantity)) or self.of(quantity).skipped)

    @property
    def last_s(self) -> int:
        """The time of the last reading of the hive's own devices; 0 without any. [s]."""
        if "last" not in self.memo:  # asked by nearly every signal
            own = (one for name, one in self.series.items() if name not in self.lent)
            last_s = (int(one.time_s[-1]) for one in own if len(one))
            self.memo["last"] = max(last_s, default=0)
        return cast("int", self.memo["last"])

    def over_s(self, quantity: str) -> int:
        """Give until when a quantity is known: it may come late, but by a day at most. [s]."""
        series = self.of(quantity)
        return max(int(series.time_s[-1]) if len(series) else 0, self.last_s - SILENT_S)

    def knowing(self, until_s: int, told_s: Mapping[str, Sequence[int]]) -> HiveWindow:
        """Give the window to a detector that has told what was settled before a moment."""
        part = HiveWindow(
            *(self.hive, self.yard, self.as_of_s, self.series, self.devices, self.lent),
            *(Carried(until_s, last=self.carried.last), told_s),
        )
        part.memo.update(self.memo)
        return part

    def at(self, as_of_s: int) -> HiveWindow:
        """Give the window as it is at another moment: nothing later, and the clock set to it."""
        return replace(
            self,
            as_of_s=as_of_s,
            carried=NOTHING,
            series={name: series.up_to(as_of_s) for name, series in self.series.items()},
            devices=tuple(
                trace.up_to(as_of_s) for trace in self.devices if trace.from_s <= as_of_s
            ),
        )


def first_from(time_s: Ints, at_s: NDArray[np.generic]) -> Ints:
    """Give the place of the first reading from each moment on.

    By whole seconds: held against a fraction, all times would be converted.
    """
    whole_s = at_s if at_s.dtype == np.int64 else np.ceil(at_s).astype(np.int64)
    return np.asarray(time_s.searchsorted(whole_s))


def first_beyond(time_s: Ints, at_s: NDArray[np.generic]) -> Ints:
    """Give the place of the first reading after each moment, as `first_from` does."""
    whole_s = at_s if at_s.dtype == np.int64 else np.floor(at_s).astype(np.int64)
    return np.asarray(time_s.searchsorted(whole_s, side="right"))


def first_kept(time_s: Ints, until_s: int, back_s: int) -> int:
    """Give the place of the first reading that is kept before a moment."""
    high = int(time_s.searchsorted(until_s))
    if high == 0:
        return 0
    low = int(time_s.searchsorted(time_s[high - 1] - back_s))
    return max(min(low, high - RAW_LEAST), 0)


def counts_of(total: Series) -> Series:
    """Turn a running total into what came between records.

    A total that falls to less than half was started anew, and what it has reached since is the
    count. A smaller fall (a counter that woke up with an older total) leaves the count unknown;
    so does the first record of all. A count stands at the time of its later record.

    Parameters
    ----------
    total : Series
        A running sum as sent (RFC 8428 section 4.5.3, `s`).

    Returns
    -------
    Series
        Counts, at most one fewer than there were records.
    """
    before, after = total.value[:-1], total.value[1:]
    count = after - before
    restarted = after < RESTART_FALL * before
    count = np.where(restarted, after, count)
    known = count >= 0
    return Series(total.time_s[1:][known], count[known], total.skipped)


def merge(first: Series, second: Series) -> Series:
    """Put two series into one; where both have a reading of the same moment the first speaks."""
    alone = ~np.isin(second.time_s, first.time_s, assume_unique=True)
    time_s = np.concatenate([first.time_s, second.time_s[alone]])
    value = np.concatenate([first.value, second.value[alone]])
    order = np.argsort(time_s, kind="stable")
    return Series(time_s[order], value[order], first.skipped + second.skipped)


def on_grid(
    series: Series, step_s: int, from_s: int, to_s: int, *, summed: bool = False
) -> tuple[Ints, Floats]:
    """Lay readings on a regular grid.

    Parameters
    ----------
    series : Series
        Readings of one quantity.
    step_s : int
        Width of a step. [s]
    from_s, to_s : int
        Start of the first step, and the moment by which the last one has begun. [s]
    summed : bool
        Add up what falls into a step (counts); otherwise take its mean (levels).

    Returns
    -------
    time_s : Ints
        Start of each step; a step holds readings from its start up to the next. [s]
    value : Floats
        NaN in a step without readings.

    Raises
    ------
    ValueError
        If the step is not positive.
    """
    if step_s <= 0:
        raise ValueError(f"step_s = {step_s}: a step is longer than nothing")
    steps = max(0, -(-(to_s - from_s) // step_s))
    time_s = from_s + step_s * np.arange(steps, dtype=np.int64)
    low, high = series.time_s.searchsorted((from_s, from_s + steps * step_s))
    slot = (series.time_s[low:high] - from_s) // step_s
    value = np.full(steps, np.nan)
    if (slot[1:] > slot[:-1]).all():  # a reading a step at most
        value[slot] = series.value[low:high]
        return time_s, value
    count = np.bincount(slot, minlength=steps)
    total = np.bincount(slot, weights=series.value[low:high], minlength=steps)
    np.divide(total, 1 if summed else count, out=value, where=count > 0)
    return time_s, value
