"""One hive's window: everything the detectors may look at, as arrays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hivewatch.apiary import Hive, Yard

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one quantity as they were stored.

    Parameters
    ----------
    time_s : Ints
        Strictly rising Unix time, UTC, shape (n,). [s]
    value : Floats
        In the quantity's unit, shape (n,), never NaN.
    """

    time_s: Ints
    value: Floats

    def __len__(self) -> int:
        """Count the readings."""
        return len(self.time_s)


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
    """

    hive: Hive
    yard: Yard
    as_of_s: int
    series: Mapping[str, Series]
    devices: tuple[DeviceTrace, ...] = ()

    def of(self, quantity: str) -> Series:
        """Give the readings of one quantity; empty when there are none."""
        return self.series.get(quantity, EMPTY)
