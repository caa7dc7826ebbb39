"""A hive's days: what is made in is read out again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest

from hivewatch.apiary import Yard
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.local_days import local_midnights_s

GAIN_KG = 0.5  # what the made-up hive gains a day


@pytest.fixture
def ten_days(made_up_hive: Callable) -> Days:
    return days_of(made_up_hive(days=10, flow_kg=GAIN_KG).window())


def test_a_steady_gain_is_read_from_dawn_to_dawn(ten_days: Days) -> None:
    known = ten_days.gain_kg[~np.isnan(ten_days.gain_kg)]
    assert len(known) >= 8
    assert np.allclose(known, GAIN_KG, atol=0.05)


def test_day_and_night_add_up_to_the_gain(ten_days: Days) -> None:
    both = ten_days.day_kg - ten_days.night_kg
    known = ~np.isnan(both) & ~np.isnan(ten_days.gain_kg)
    assert known.sum() >= 8
    assert np.allclose(both[known], ten_days.gain_kg[known], atol=1e-9)


def test_a_super_is_a_step_and_no_gain(made_up_hive: Callable) -> None:
    hive = made_up_hive(days=10, flow_kg=GAIN_KG)
    hive.add(hive.at(4, 14), 6.2, minutes=5)
    days = days_of(hive.window())
    at = days.day.index(date(2026, 5, 5))
    assert days.step_kg[at] == pytest.approx(6.2, abs=0.15)
    assert days.gain_kg[at] == pytest.approx(GAIN_KG, abs=0.2)
    assert np.nansum(days.step_kg) == pytest.approx(6.2, abs=0.15)


def test_a_day_once_over_does_not_change_with_later_readings(made_up_hive: Callable) -> None:
    window = made_up_hive(days=10).window()
    whole = days_of(window)
    part = days_of(window.at(window.as_of_s - 4 * 86_400))
    for name in ("dawn_kg", "dusk_kg", "gain_kg", "night_kg", "nest_cel", "flying_h"):
        early, late = getattr(part, name), getattr(whole, name)
        over = slice(0, len(part) - 2)
        assert np.array_equal(early[over], late[over], equal_nan=True), name


def test_the_dusk_of_a_day_under_way_is_not_known(made_up_hive: Callable) -> None:
    hive = made_up_hive(days=10)
    noon = days_of(hive.window().at(hive.at(6, 12)))
    assert np.isnan(noon.dusk_kg[-1])
    assert np.isnan(noon.gain_kg[-1])
    assert not np.isnan(noon.dawn_kg[-1])


def test_a_hive_without_a_scale_has_its_warmth_all_the_same(made_up_hive: Callable) -> None:
    days = days_of(made_up_hive(days=5).window(quantities=("nest", "ambient")))
    assert np.isnan(days.gain_kg).all()
    assert np.nanmean(days.nest_cel) == pytest.approx(34.8, abs=0.1)
    assert 0 < np.nanmean(days.flying_h) <= 24


def test_an_empty_window_has_one_unknown_day(made_up_hive: Callable) -> None:
    days = days_of(made_up_hive(days=1).window(quantities=()))
    assert len(days) == 1
    assert np.isnan(days.dawn_kg).all()


def test_local_days_are_23_and_25_hours_long_when_the_clock_changes() -> None:
    # Common practice, no source: Europe changes its clocks on the last Sunday of March and October.
    yard = Yard("y", "Y", 52.2, 0.12, "Europe/London")
    spring = local_midnights_s(yard, date(2026, 3, 28), 4)
    autumn = local_midnights_s(yard, date(2026, 10, 24), 4)
    assert (np.diff(spring) / 3600).tolist() == [24, 23, 24]
    assert (np.diff(autumn) / 3600).tolist() == [24, 25, 24]


@pytest.mark.parametrize(
    ("hour", "night", "dusk"), [(2.0, {5}, set()), (9.0, set(), set()), (20.0, {6}, {5})]
)
def test_rain_lies_on_the_lid_until_the_sun_has_dried_it(
    made_up_hive: Callable, hour: float, night: set[int], dusk: set[int]
) -> None:
    hive = made_up_hive(days=10)
    hive.series["rain"] = np.where(hive.time_s == hive.at(5, hour), 3.0, 0.0)
    days = days_of(hive.window(("weight", "rain")))
    assert {i for i, mm in enumerate(days.night_mm) if mm > 0} == night
    assert {i for i, mm in enumerate(days.dusk_mm) if mm > 0} == dusk


def test_where_no_gauge_is_nobody_knows_what_lies_on_the_lid(ten_days: Days) -> None:
    assert np.isnan(ten_days.night_mm).all()
    assert np.isnan(ten_days.dusk_mm).all()
