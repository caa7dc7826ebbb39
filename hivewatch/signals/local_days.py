"""A yard's local days: their midnights, and when the sun rises and sets on them."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from hivewatch.apiary import Yard
from hivewatch.signals.sun import sun_times
from hivewatch.signals.window import Floats, Ints

NO_SUN_S = (4 * 3600, 22 * 3600)  # [s] own choice: where the sun does not rise, by the clock


class LocalDays(NamedTuple):
    """Some days in a row.

    Parameters
    ----------
    day : tuple of date
        The yard's calendar days, n of them.
    start_s : Ints
        Their local midnights, shape (n + 1,): the last one ends the last day. [s]
    rise_s, set_s : Floats
        Sunrise and sunset, or fixed hours where there is none. [s]
    """

    day: tuple[date, ...]
    start_s: Ints
    rise_s: Floats
    set_s: Floats

    @classmethod
    def of(cls, yard: Yard, first: date, last: date) -> LocalDays:
        """Give those of a yard from one day to another."""
        day = tuple(first + timedelta(days=n) for n in range((last - first).days + 1))
        start_s, sun = local_midnights_s(yard, first, len(day) + 1), sun_times(yard, day)
        rise_s = np.where(np.isnan(sun.rise_s), start_s[:-1] + NO_SUN_S[0], sun.rise_s)
        set_s = np.where(np.isnan(sun.set_s), start_s[:-1] + NO_SUN_S[1], sun.set_s)
        return cls(day, start_s, rise_s, set_s)


def local_midnights_s(yard: Yard, first: date, count: int) -> Ints:
    """Give the local midnights of `count` days from `first` on, as Unix time [s]."""
    zone = ZoneInfo(yard.timezone)
    return np.array(
        [
            int(datetime(one.year, one.month, one.day, tzinfo=zone).timestamp())
            for one in (first + timedelta(days=n) for n in range(count))
        ],
        np.int64,
    )
