"""Days on which bees carried honey off, judged at dusk, on made-up days."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from made_up_yard import days_with

from hivewatch.signals.days import Days
from hivewatch.signals.robbed import LASTS_DAYS, goes_with_robbed, robbed_days
from hivewatch.signals.steps import Step

COUNT, DAY = 30, 20


def dearth(kg: float = -0.2, **more: np.ndarray) -> Days:
    """Days on which the hive eats, and little comes."""
    day_kg = kg + np.random.default_rng(1).normal(0, 0.04, COUNT)
    known = {"night_kg": np.full(COUNT, 0.1), "flying_h": np.full(COUNT, 9.0)}
    return days_with(date(2026, 7, 20), COUNT, day_kg=day_kg, **(known | more))


def counted(days: Days, times: float = 1.0, home: float = 0.9) -> Days:
    """Let a counter see so many times the usual traffic on the day, and a share of it return."""
    out = np.full(COUNT, 50_000.0)
    out[DAY] *= times
    back = 0.9 * out
    back[DAY] = home * out[DAY]
    return replace(days, bees_out=out, bees_in=back)


def lose(days: Days, kg: float, first: int = DAY, last: int = DAY) -> Days:
    taken = np.zeros(COUNT)
    taken[first : last + 1] = kg
    return replace(days, day_kg=days.day_kg - taken)


def told(days: Days) -> list[int]:
    return np.flatnonzero(robbed_days(days)).tolist()


@pytest.mark.parametrize(("kg", "times"), [(0.9, 1.4), (1.2, 1.0)])
def test_the_busier_the_entrance_the_less_tells_it(kg, times) -> None:
    assert told(counted(lose(dearth(), kg), times)) == [DAY]
    assert told(counted(lose(dearth(), kg - 0.4), times)) == []
    assert told(counted(lose(dearth(), 2.0), 0.6)) == []  # with so few bees out nobody robs


def test_where_nobody_counts_more_must_go() -> None:
    assert told(lose(dearth(), 1.6)) == [DAY]
    assert told(lose(dearth(), 0.9)) == []


def test_bees_that_do_not_come_home_are_no_honey() -> None:
    lost = counted(lose(dearth(), 2.0), 1.4, home=0.62)  # 19,600 of 70,000 stay away
    assert told(lost) == []
    assert told(counted(lose(dearth(), 2.0), 1.4)) == [DAY]


def test_without_flight_nobody_robs() -> None:
    cold = np.where(np.arange(COUNT) == DAY, 0.5, 9.0)
    assert told(lose(dearth(flying_h=cold), 2.0)) == []
    still = replace(lose(dearth(), 2.0), bees_out=np.zeros(COUNT), bees_in=np.zeros(COUNT))
    assert told(still) == []
    short = replace(dearth(flying_h=np.full(COUNT, np.nan)))
    assert told(lose(short, 2.0)) == [DAY]  # nobody measures warmth: long days fly
    winter = replace(short, set_s=short.rise_s + 9 * 3600.0)
    assert told(lose(winter, 2.0)) == []


def test_what_a_great_flow_brought_on_the_day_before_still_ripens() -> None:
    robbed = counted(lose(dearth(), 0.9), 1.4)
    assert told(lose(robbed, -6.0, DAY - 1, DAY - 1)) == []
    assert told(lose(robbed, -1.0, DAY - 1, DAY - 1)) == [DAY]


def test_what_a_wet_day_brought_may_dry() -> None:
    soaked = lose(dearth(), -1.0, DAY - 1, DAY - 1)
    assert told(lose(soaked, 1.6)) == []


def test_a_step_of_the_day_is_none_and_feed_dries_for_days() -> None:
    days = lose(dearth(), 1.6)
    at = int(days.start_s[DAY]) + 12 * 3600
    for back, kg, expected in ((0, -2.0, []), (2, 5.0, []), (6, 5.0, [DAY]), (2, 0.2, [DAY])):
        before = at - back * 86_400
        step = Step(before, before + 600, before + 1200, 40.0, kg, 0.02, 0.0, 0.0, kg, 0.6, 0)
        assert told(replace(days, steps=(step,))) == expected


def test_a_hive_that_always_loses_so_much_is_not_robbed() -> None:
    assert told(dearth(-1.6)) == []


def test_the_days_after_go_with_it() -> None:
    days = lose(dearth(), 1.6, 10, 10)
    expected = np.zeros(COUNT, bool)
    expected[10 : 11 + LASTS_DAYS] = True
    assert goes_with_robbed(days).tolist() == expected.tolist()


def test_without_weight_there_is_nothing_to_say() -> None:
    assert told(counted(replace(dearth(), day_kg=np.full(COUNT, np.nan)), 3.0)) == []


def test_a_day_rests_on_itself_and_on_days_before() -> None:
    days = counted(lose(dearth(), 1.6), 1.4)
    later = np.arange(COUNT) > DAY
    other = replace(days, day_kg=np.where(later, -3.0, days.day_kg))
    assert robbed_days(other)[: DAY + 1].tolist() == robbed_days(days)[: DAY + 1].tolist()
