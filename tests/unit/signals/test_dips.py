"""Dips of the nest's warmth."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.signals.dips import find_dips
from hivewatch.signals.window import EMPTY, Series


def nest_of(hive):
    return Series(hive.time_s, hive.series["nest"])


@pytest.mark.parametrize("step_min", [1, 5, 10, 15, 20])
def test_an_opened_hive_shows(made_up_hive, step_min):
    hive = made_up_hive(step_s=60 * step_min, days=3)
    opened_s = hive.at(1, 14.13)
    hive.dip(opened_s, 4.0)
    (dip,) = find_dips(nest_of(hive), EMPTY)
    assert dip.before_s <= opened_s <= dip.low_s
    assert opened_s <= dip.back_s <= opened_s + 7200
    assert dip.depth_k == pytest.approx(4.0, abs=2.0)  # a coarse feed misses the deepest moment
    assert dip.humidity_rise is None


def test_the_humidity_of_an_opening_is_measured(made_up_hive):
    hive = made_up_hive(step_s=900, days=3)
    hive.dip(hive.at(1, 14), 4.0)
    damp = np.full(len(hive.time_s), 55.0)
    damp[(hive.time_s > hive.at(1, 14)) & (hive.time_s <= hive.at(1, 14.5))] += 2.5
    (dip,) = find_dips(nest_of(hive), Series(hive.time_s, damp))
    assert dip.humidity_rise == pytest.approx(2.5)


def test_a_single_bad_reading_is_no_dip(made_up_hive):
    hive = made_up_hive(step_s=300, days=3)
    hive.series["nest"][400] -= 6
    hive.series["nest"][600] = -40
    assert find_dips(nest_of(hive), EMPTY) == []


def test_a_slow_cooling_is_no_dip(made_up_hive):
    hive = made_up_hive(step_s=300, days=3)
    since = hive.time_s - hive.at(1, 18)
    hive.series["nest"] -= 3 * np.exp(-((since / 5400) ** 2))
    assert find_dips(nest_of(hive), EMPTY) == []


def test_a_nest_that_stays_cold_is_no_dip(made_up_hive):
    hive = made_up_hive(step_s=300, days=3)
    hive.series["nest"][hive.time_s > hive.at(1, 14)] -= 5
    assert find_dips(nest_of(hive), EMPTY) == []


def test_what_happened_in_a_gap_is_not_known(made_up_hive):
    hive = made_up_hive(step_s=300, days=3)
    hive.dip(hive.at(1, 14), 4.0)
    there = (hive.time_s <= hive.at(1, 12)) | (hive.time_s > hive.at(1, 14.2))
    assert find_dips(Series(hive.time_s[there], hive.series["nest"][there]), EMPTY) == []


def test_an_unsteady_nest_shows_no_opening(made_up_hive):
    hive = made_up_hive(step_s=900, days=30)
    rng = np.random.default_rng(4)
    wander = np.cumsum(rng.normal(0, 0.25, len(hive.time_s)))
    hive.series["nest"] = 25 + wander - 0.9 * np.arange(len(wander)) / 1000
    assert len(find_dips(nest_of(hive), EMPTY)) <= 1


@pytest.mark.parametrize("n", [0, 1, 3])
def test_a_few_readings_do_no_harm(n):
    series = Series(np.arange(n, dtype=np.int64) * 900, np.full(n, 35.0))
    assert find_dips(series, series) == []
