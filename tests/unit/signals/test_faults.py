"""Flags of readings."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.signals.faults import Fault, clean, flags_of, hampel, spikes, stuck, wild
from hivewatch.signals.window import Series


@pytest.fixture
def level():
    rng = np.random.default_rng(5)
    time_s = np.arange(600, dtype=np.int64) * 300
    return time_s, 40 + np.sin(time_s / 20_000) + rng.normal(0, 0.02, 600)


def having(series, quantity, fault, **more):
    return np.flatnonzero(flags_of(series, quantity, **more) & int(fault)).tolist()


def test_quiet_readings_have_no_flag(level):
    assert not flags_of(Series(*level), "weight").any()


def test_a_value_out_of_range_is_flagged(level):
    time_s, value = level
    value[100:104] = [301, -5.1, -5, 300]
    assert having(Series(time_s, value), "weight", Fault.RANGE) == [100, 101]


def test_a_spike_is_flagged_and_a_step_is_not(level):
    time_s, value = level
    value[300:] += 8
    value[[100, 101, 450]] += [5, 5, -30]
    assert having(Series(time_s, value), "weight", Fault.SPIKE) == [100, 101, 450]


def test_a_probe_that_says_anything_is_not_believed_at_all():
    rng = np.random.default_rng(2)
    nest = 35 + rng.normal(0, 0.1, 600)
    nest[200:400] = np.clip(35 + rng.normal(0, 25, 200), -39, 59)
    flagged = having(Series(np.arange(600, dtype=np.int64) * 600, nest), "nest", Fault.SPIKE)
    assert len(set(flagged) & set(range(200, 400))) >= 195
    assert len(set(flagged) - set(range(194, 406))) <= 2


@pytest.mark.parametrize("step_s", [60, 600, 1800])
def test_an_opened_hive_and_one_that_lies_open_are_believed(step_s):
    # cools by two thirds within 25 minutes, and is warm again as soon; then cools for good
    since_s = np.arange(600) * step_s - 200 * step_s
    nest = 35 - 15 * np.where(since_s > 0, np.exp(-np.maximum(since_s, 0) / 1500), 0)
    nest -= 22 * (1 - np.exp(-np.maximum(since_s - 200 * step_s, 0) / 1500))
    series = Series(np.arange(600, dtype=np.int64) * step_s, nest)
    assert not wild(series.value, 8.0).any()


def test_noise_of_a_coarse_instrument_is_no_spike():
    rng = np.random.default_rng(1)
    nest = np.round((35 + rng.normal(0, 0.2, 3000)) * 2) / 2
    series = Series(np.arange(3000, dtype=np.int64) * 300, nest)
    assert len(having(series, "nest", Fault.SPIKE)) <= 3  # 0.1 %, one in a thousand


def test_a_reading_sent_again_under_another_time_is_a_repeat(level):
    time_s, value = level
    time_s = np.insert(time_s, 51, time_s[50] + 11)
    value = np.insert(value, 51, value[50])
    assert having(Series(time_s, value), "weight", Fault.REPEAT) == [51]


def test_the_first_reading_after_a_gap_is_flagged_and_kept(level):
    time_s, value = level
    time_s = np.concatenate([time_s[:200], time_s[200:] + 7200])
    series = Series(time_s, value)
    assert having(series, "weight", Fault.GAP) == [200]
    assert len(clean(series, "weight")) == len(series)


def test_a_level_that_stands_still_for_more_than_a_day_is_stuck(level):
    time_s, value = level
    value[100:400] = 41.0  # 25 h
    assert having(Series(time_s, value), "weight", Fault.STUCK) == list(range(101, 400))
    value[388:400] += 0.01  # 24 h less a reading
    assert having(Series(time_s, value), "weight", Fault.STUCK) == []


def test_a_quiet_counter_is_not_stuck_and_a_repeating_one_is():
    time_s = np.arange(400, dtype=np.int64) * 300
    rng = np.random.default_rng(3)
    bees = rng.poisson(80, 400).astype(float)
    bees[100:220] = 0
    bees[300:330] = 17
    series = Series(time_s, bees)
    assert having(series, "bees-out", Fault.STUCK) == list(range(301, 330))
    assert not flags_of(series, "bees-out")[:300].any()


def test_steady_rain_and_a_steady_battery_are_not_stuck():
    time_s = np.arange(400, dtype=np.int64) * 300
    steady = Series(time_s, np.full(400, 3.7))
    assert not flags_of(steady, "battery").any()
    assert not flags_of(steady, "rain").any()


def test_saturated_air_is_not_stuck():
    steady = Series(np.arange(600, dtype=np.int64) * 300, np.full(600, 100.0))
    assert not having(steady, "ambient-humidity", Fault.STUCK)


def test_a_reading_dated_ahead_is_flagged(level):
    series = Series(*level)
    assert having(series, "weight", Fault.CLOCK, ahead_s=series.time_s[7:9]) == [7, 8]


def test_clean_leaves_out_all_that_is_wrong(level):
    time_s, value = level
    value[100] = 250
    value[200] = -7
    series = Series(time_s, value)
    cleaned = clean(series, "weight", ahead_s=time_s[300:302])
    gone = set(time_s.tolist()) - set(cleaned.time_s.tolist())
    assert gone == set(time_s[[100, 200, 300, 301]].tolist())


@pytest.mark.parametrize("n", [0, 1, 2, 6])
def test_short_series_do_no_harm(n):
    series = Series(np.arange(n, dtype=np.int64) * 300, np.full(n, 40.0))
    assert not flags_of(series, "weight").any()
    assert len(clean(series, "weight")) == n


def test_hampel_at_the_ends_uses_the_nearest_whole_window():
    middle, far = hampel(np.array([9.0, 1, 2, 3, 4, 5, 6, 7]))
    assert middle.tolist() == [4, 4, 4, 4, 4, 4, 4, 4]
    assert not far.any()


@pytest.mark.parametrize("n", [0, 6, 7, 8, 500])
@pytest.mark.parametrize("least_spread", [0.0, 0.05, 1.0])
def test_the_quick_way_finds_the_same_spikes(n, least_spread):
    rng = np.random.default_rng(n)
    value = 40 + rng.normal(0, 0.05, n)
    value[rng.random(n) > 0.95] += 3
    value[:2] -= 3
    _, far = hampel(value, least_spread=least_spread)
    assert np.array_equal(spikes(value, least_spread), far)


@pytest.mark.parametrize("count", [3, 4, 12, 13, 14])
def test_a_few_readings_are_judged_each_for_itself(count) -> None:
    """A new device has sent less than what lies around one reading."""
    value = np.where(np.arange(count) % 2, 60.0, 30.0)
    assert wild(value, 5.0).shape == (count,)
    assert not wild(np.full(count, 35.0), 5.0).any()


@pytest.mark.parametrize(("digit_kg", "flagged"), [(0.01, True), (0.05, False)])
def test_a_coarse_scale_may_stand_still_for_a_day_and_a_half(digit_kg, flagged) -> None:
    time_s = 600 * np.arange(5 * 144, dtype=np.int64)
    weight_kg = np.round(40 + 0.2 * np.sin(time_s / 9000), 2)
    weight_kg = np.round(np.round(weight_kg / digit_kg) * digit_kg, 2)
    weight_kg[288 : 288 + 216] = 40.0
    assert stuck(Series(time_s, weight_kg), "weight").any() == flagged
    weight_kg[288 : 288 + 300] = 40.0
    assert stuck(Series(time_s, weight_kg), "weight").any()


def test_one_bee_at_every_reading_of_an_evening_is_no_fault() -> None:
    time_s = 300 * np.arange(60, dtype=np.int64)
    bees = np.arange(60.0) + 20
    bees[20:33] = 1
    assert not stuck(Series(time_s, bees), "bees-out").any()
    bees[20:33] = 17
    assert stuck(Series(time_s, bees), "bees-out").any()
    bees[20:50] = 1
    assert stuck(Series(time_s, bees), "bees-out").any()
