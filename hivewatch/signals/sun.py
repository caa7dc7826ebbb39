"""When the sun rises and sets at a yard, and whether it is light there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from astral import Depression, Observer
from astral.sun import dawn, dusk, elevation, sunrise, sunset

from hivewatch.apiary import Yard
from hivewatch.signals.window import Floats

CIVIL_DEG = -6.0  # [deg] published: civil twilight ends with the sun's centre 6 degrees below


@dataclass(frozen=True, slots=True)
class SunTimes:
    """The sun over some local days of a yard, as Unix time; NaN where it does not happen.

    Parameters
    ----------
    dawn_s, rise_s, set_s, dusk_s : Floats
        Civil dawn, sunrise, sunset, civil dusk, one a day. [s]
    """

    dawn_s: Floats
    rise_s: Floats
    set_s: Floats
    dusk_s: Floats


def sun_times(yard: Yard, days: Sequence[date]) -> SunTimes:
    """Give dawn, sunrise, sunset and dusk of local days.

    Parameters
    ----------
    yard : Yard
        Its place and time zone.
    days : Sequence[date]
        Days of the yard's own calendar.

    Returns
    -------
    SunTimes
        Arrays as long as `days`. NaN: the sun does not cross that height on that day.

    References
    ----------
    The times are those of the library astral; tests/published/test_sun.py holds them against
    published tables.
    """
    table = [_of_day(yard.latitude, yard.longitude, yard.timezone, day) for day in days]
    columns = np.array(table, np.float64).reshape(len(days), 4)
    return SunTimes(*columns.T)


def is_light(yard: Yard, time_s: int) -> bool:
    """Say whether it is light enough for work at a hive: the sun above civil twilight."""
    return sun_height_deg(yard, time_s) > CIVIL_DEG


def sun_height_deg(yard: Yard, time_s: int) -> float:
    """Give the height of the sun's centre over the horizon. [deg]."""
    return _height(yard.latitude, yard.longitude, time_s)


@lru_cache(maxsize=4096)
def _height(latitude: float, longitude: float, time_s: int) -> float:
    place = Observer(latitude, longitude)
    return float(elevation(place, datetime.fromtimestamp(time_s, UTC)))


@lru_cache(maxsize=16384)
def _of_day(
    latitude: float, longitude: float, timezone: str, day: date
) -> tuple[float, float, float, float]:
    """Ask astral for one day; it raises ValueError where the sun does not cross a height."""
    place, zone = Observer(latitude, longitude), ZoneInfo(timezone)
    asked: tuple[Callable[[], datetime], ...] = (
        lambda: dawn(place, day, Depression.CIVIL, zone),
        lambda: sunrise(place, day, zone),
        lambda: sunset(place, day, zone),
        lambda: dusk(place, day, Depression.CIVIL, zone),
    )
    times = []
    for ask in asked:
        try:
            times.append(ask().timestamp())
        except ValueError:
            times.append(float("nan"))
    return times[0], times[1], times[2], times[3]
