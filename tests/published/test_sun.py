"""Sunrise and sunset against published tables.

- US Naval Observatory, Astronomical Applications Department, "Sun or Moon Rise/Set Table for One
  Year", for 39 N 105 W in Mountain Standard Time, and for Beijing, 39.917 N 116.383 E, both 2015.
- I. Reda, A. Andreas, "Solar Position Algorithm for Solar Radiation Applications", National
  Renewable Energy Laboratory, NREL/TP-560-34302 (2003, revised 2008): sunrise and sunset
  at longitude 0.

- Lengths of days of 2024, computed beforehand by the same algorithm as pvlib has it.

Tolerance: the first tables are rounded to the minute (30 s), and the simple solar theory behind our
times was measured at up to 24 s a day from the NREL algorithm at middle latitudes: together 60 s.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pytest

from hivewatch.apiary import Yard
from hivewatch.signals.sun import sun_times

ROUNDED_S = 60
EXACT_S = 30


def yard(latitude, longitude, zone):
    return Yard("hazel-end", "Hazel End", latitude, longitude, zone)


USNO = [
    # place, day, rises, sets
    ("boulder", date(2015, 1, 2), "07:19", "16:49"),
    ("boulder", date(2015, 4, 2), "05:43", "18:24"),
    ("boulder", date(2015, 8, 2), "05:01", "19:10"),
    ("boulder", date(2015, 12, 2), "07:01", "16:38"),
    ("beijing", date(2015, 1, 2), "07:36", "17:00"),
    ("beijing", date(2015, 4, 2), "05:58", "18:39"),
    ("beijing", date(2015, 8, 2), "05:13", "19:28"),
    ("beijing", date(2015, 12, 2), "07:17", "16:50"),
]
PLACES = {
    "boulder": (yard(39.0, -105.0, "Etc/GMT+7"), timezone(timedelta(hours=-7))),
    "beijing": (yard(39.917, 116.383, "Asia/Shanghai"), timezone(timedelta(hours=8))),
}
NREL = [
    # latitude, day, rises, sets; longitude 0, UTC
    (-35.0, date(1996, 7, 5), "07:08:15", "17:01:04"),
    (-35.0, date(2004, 12, 4), "04:38:57", "19:02:02"),
    (35.0, date(1994, 1, 2), "07:08:12", "16:59:55"),
]


def moment(day, clock, zone):
    return datetime.fromisoformat(f"{day}T{clock}").replace(tzinfo=zone).timestamp()


@pytest.mark.parametrize(("place", "day", "rises", "sets"), USNO)
def test_the_naval_observatory_tables(place, day, rises, sets):
    where, zone = PLACES[place]
    times = sun_times(where, [day])
    assert times.rise_s[0] == pytest.approx(moment(day, rises, zone), abs=ROUNDED_S)
    assert times.set_s[0] == pytest.approx(moment(day, sets, zone), abs=ROUNDED_S)


@pytest.mark.parametrize(("latitude", "day", "rises", "sets"), NREL)
def test_the_solar_position_algorithm_table(latitude, day, rises, sets):
    times = sun_times(yard(latitude, 0.0, "UTC"), [day])
    assert times.rise_s[0] == pytest.approx(moment(day, rises, UTC), abs=EXACT_S)
    assert times.set_s[0] == pytest.approx(moment(day, sets, UTC), abs=EXACT_S)


DAY_H = [
    # latitude, longitude, hours on 20 March, 21 June, 22 September, 21 December 2024
    (52.52, 13.405, (12.203, 16.837, 12.185, 7.651)),
    (45.0, 0.0, (12.174, 15.619, 12.156, 8.766)),
]


@pytest.mark.parametrize(("latitude", "longitude", "hours"), DAY_H)
def test_days_are_as_long_as_computed(latitude, longitude, hours):
    days = [date(2024, 3, 20), date(2024, 6, 21), date(2024, 9, 22), date(2024, 12, 21)]
    times = sun_times(yard(latitude, longitude, "UTC"), days)
    # both ends may be off by 24 s, and the hours are given to 1.8 s
    assert (times.set_s - times.rise_s) / 3600 == pytest.approx(hours, abs=50 / 3600)


@pytest.mark.parametrize("day", [date(2024, 1, 31), date(2024, 6, 21), date(2024, 10, 8)])
def test_a_day_on_the_equator_is_always_as_long(day):
    times = sun_times(yard(0.0, 0.0, "UTC"), [day])
    assert 12.10 <= (times.set_s[0] - times.rise_s[0]) / 3600 <= 12.14  # 12.11 to 12.13


def test_several_days_at_once_give_each_day_its_own():
    days = [row[1] for row in USNO if row[0] == "boulder"]
    where, _ = PLACES["boulder"]
    together = sun_times(where, days)
    for i, day in enumerate(days):
        assert together.rise_s[i] == sun_times(where, [day]).rise_s[0]
    assert np.all(together.dawn_s < together.rise_s)
    assert np.all(together.set_s < together.dusk_s)
