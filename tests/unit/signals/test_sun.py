"""The sun at a yard: local days, and places where it does not rise."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from hivewatch.apiary import Yard
from hivewatch.signals.sun import is_light, sun_height_deg, sun_times


def at(text):
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [
        (-36.85, 174.76, "Pacific/Auckland"),
        (21.3, -157.9, "Pacific/Honolulu"),
        (52.2, 0.12, "Europe/London"),
        (-17.5, -149.6, "Pacific/Tahiti"),
        (1.9, -157.4, "Pacific/Kiritimati"),
    ],
)
def test_the_times_are_of_the_yards_own_day(latitude, longitude, zone):
    yard = Yard("hazel-end", "Hazel End", latitude, longitude, zone)
    days = [date(2026, 1, 1), date(2026, 3, 29), date(2026, 7, 1), date(2026, 10, 25)]
    times = sun_times(yard, days)
    for i, day in enumerate(days):
        for moments in (times.dawn_s, times.rise_s, times.set_s, times.dusk_s):
            assert datetime.fromtimestamp(moments[i], ZoneInfo(zone)).date() == day
        assert times.dawn_s[i] < times.rise_s[i] < times.set_s[i] < times.dusk_s[i]


def test_beyond_the_polar_circle_there_may_be_no_sunrise():
    yard = Yard("north", "North", 70.0, 25.0, "Europe/Oslo")
    times = sun_times(yard, [date(2026, 12, 21), date(2026, 6, 21), date(2026, 3, 20)])
    assert np.isnan(times.rise_s).tolist() == [True, True, False]
    assert np.isnan(times.set_s).tolist() == [True, True, False]
    assert np.isnan(times.dawn_s).tolist() == [False, True, False]  # a blue noon in December


def test_it_is_light_all_night_in_a_polar_summer_and_dark_in_its_winter():
    yard = Yard("north", "North", 78.0, 16.0, "Arctic/Longyearbyen")
    assert is_light(yard, at("2026-06-21T23:00"))
    assert not is_light(yard, at("2026-12-21T11:00"))


def test_light_begins_and_ends_with_civil_twilight():
    yard = Yard("hazel-end", "Hazel End", 52.2, 0.12, "Europe/London")
    times = sun_times(yard, [date(2026, 5, 21)])
    for moment, before, after in ((times.dawn_s[0], False, True), (times.dusk_s[0], True, False)):
        assert is_light(yard, int(moment) - 180) is before
        assert is_light(yard, int(moment) + 180) is after


def test_the_sun_stands_high_at_noon():
    yard = Yard("hazel-end", "Hazel End", 52.2, 0.12, "Europe/London")
    # at the solstice noon the height is 90 - latitude + obliquity (23.44 deg): definition
    assert sun_height_deg(yard, at("2026-06-21T12:01")) == pytest.approx(90 - 52.2 + 23.44, abs=0.1)


def test_no_days_give_no_times():
    yard = Yard("hazel-end", "Hazel End", 52.2, 0.12, "Europe/London")
    assert len(sun_times(yard, []).rise_s) == 0
