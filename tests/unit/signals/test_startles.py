"""A startled nest: a break in the course of its warmth, against its own usual days."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.signals.startles import LASTS_S, STEP_S, find_startles
from hivewatch.signals.window import EMPTY, Series

DAY_S, HOUR_S = 86_400, 3600


def nest_of(step_s=300, days=14, seed=0):
    """A brood nest that goes up and down by 0.3 K a day, with a probe's noise."""
    time_s = step_s * np.arange(days * DAY_S // step_s, dtype=np.int64)
    noise = np.random.default_rng(seed).normal(0, 0.04, len(time_s))
    return Series(time_s, 34.4 + 0.3 * np.sin(2 * np.pi * time_s / DAY_S) + noise)


def heated(nest, at_s, kelvin, minutes=10, hours=1.5):
    """Let the bees heat from a moment on: up within some minutes, down again over hours."""
    since = np.clip(nest.time_s - at_s, 0, None)
    heat = (1 - np.exp(-since / (60 * minutes))) * np.exp(-since / (hours * HOUR_S))
    return Series(nest.time_s, nest.value + kelvin * heat)


def found(nest, from_s=0, free_s=0):
    return list(find_startles(nest, int(nest.time_s[-1]), from_s, free_s))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("step_s", [60, 300, 900])
def test_bees_that_heat_at_once_are_found_to_the_quarter_hour(step_s, seed):
    at_s = 12 * DAY_S + 14 * HOUR_S
    (one,) = found(heated(nest_of(step_s, seed=seed), at_s, 1.8))
    assert abs(one.before_s - at_s) <= 2 * STEP_S
    assert one.told_s == one.first_s + LASTS_S
    assert 0.6 <= one.moved_k <= 1.8


@pytest.mark.parametrize("seed", range(5))
def test_usual_days_and_slow_heat_startle_nobody(seed):
    nest = nest_of(seed=seed)
    assert found(nest) == []
    assert found(heated(nest, 12 * DAY_S + 12 * HOUR_S, 3.0, minutes=240, hours=6)) == []


def test_a_brood_that_was_cold_warms_for_hours_and_nobody_came():
    nest = nest_of()
    at_s = 12 * DAY_S + 14 * HOUR_S
    since_s = nest.time_s - at_s
    warmed = np.interp(since_s, [-HOUR_S, 0, 2 * HOUR_S, 12 * HOUR_S], [0, -0.1, 3.0, 0])
    cold = Series(nest.time_s, nest.value + warmed - 2.5)
    assert found(cold) == []
    at_once = np.interp(since_s, [-HOUR_S, 0, 1800, 12 * HOUR_S], [0, -0.1, 3.0, 0])
    assert len(found(Series(nest.time_s, nest.value + at_once - 2.5))) == 1


def test_what_happens_at_that_hour_every_day_is_usual():
    nest = nest_of()
    for day in range(14):
        nest = heated(nest, day * DAY_S + 14 * HOUR_S, 1.8)
    assert found(nest) == []


def test_a_nest_hotter_than_brood_may_be_is_a_matter_of_heat():
    at_s = 12 * DAY_S + 14 * HOUR_S
    assert found(heated(nest_of(), at_s, 4.0)) == []


def test_a_probe_that_is_not_among_bees_tells_nothing():
    nest = heated(nest_of(), 12 * DAY_S + 14 * HOUR_S, 1.5)
    assert len(found(nest)) == 1
    assert found(Series(nest.time_s, nest.value - 15)) == []


def test_a_feed_of_half_an_hour_and_a_few_days_tell_nothing():
    at_s = 12 * DAY_S + 14 * HOUR_S
    assert found(heated(nest_of(1800), at_s, 1.8)) == []
    assert found(heated(nest_of(days=3), 2 * DAY_S, 1.8)) == []
    assert list(find_startles(EMPTY, 0, 0, 0)) == []


def test_asked_from_later_on_it_says_the_same():
    nest = heated(nest_of(), 11 * DAY_S + 10 * HOUR_S, 1.6)
    nest = heated(nest, 12 * DAY_S + 14 * HOUR_S, 1.8)
    first, second = found(nest)
    assert found(nest, first.told_s + 1, first.first_s) == [second]
    for end_s in (second.told_s - 1, second.told_s + STEP_S):
        upto = list(find_startles(nest.up_to(end_s), end_s, 0, 0))
        assert upto == ([first] if end_s < second.told_s else [first, second])
