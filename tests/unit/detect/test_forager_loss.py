"""Foragers that did not come home, on made-up counts: nothing of the simulators."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from counted import counted

from hivewatch.detect import forager_loss
from hivewatch.signals.balance import balance_of

EVERYTHING = ("weight", "nest", "ambient", "bees-in", "bees-out")


def lose(hive, day, bees, from_h=10.0, still=0.6):
    """Let bees not come home from an hour on: who is lost goes out no more."""
    begin, end = hive.at(day, from_h), hive.at(day, 19.5)
    during = (hive.time_s > begin) & (hive.time_s <= end)
    for name in ("bees-in", "bees-out"):
        hive.series[name][during] = np.round(hive.series[name][during] * still)
    back = hive.series["bees-in"]
    back[during] = np.maximum(back[during] - bees * back[during] / back[during].sum(), 0)
    hive.add(hive.at(day, 15), -bees * 1e-4 - 0.2, minutes=240)


def find(hive, limits, quantities=EVERYTHING, until_s=None):
    return forager_loss.find(hive.window(quantities, until_s), [], limits)


def test_lost_foragers_are_told_the_same_evening(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    lose(hive, 10, 8000)
    (one,) = find(hive, limits)
    assert hive.at(10, 8) <= one.start_s <= hive.at(10, 14)
    assert hive.at(10, 19) <= one.detected_s < hive.at(11, 0)
    assert one.measures["bees_lost"] == pytest.approx(8000, rel=0.25)
    assert one.measures["kg_lost"] == pytest.approx(0.8, rel=0.25)
    assert "weighed" in one.evidence[1]


@pytest.mark.parametrize("ratio", [0.82, 0.9, 1.0])
def test_the_counters_own_bias_is_no_loss(made_up_hive, limits, ratio) -> None:
    for seed in range(5):
        hive = counted(made_up_hive, ratio=ratio, seed=seed)
        assert find(hive, limits) == []


def test_a_counter_alone_tells_it_less_surely(made_up_hive, limits) -> None:
    hive = counted(made_up_hive, days=20)
    lose(hive, 17, 8000)
    (one,) = find(hive, limits, ("bees-in", "bees-out"))
    assert one.confidence < 0.7


def test_a_counter_that_is_not_known_yet_does_not_tell_it_alone(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    lose(hive, 7, 3500)
    assert find(hive, limits, ("bees-in", "bees-out")) == []
    assert len(find(hive, limits)) == 1  # the scale says so, too


def test_what_a_day_of_dearth_takes_is_not_what_lost_bees_weigh(made_up_hive, limits) -> None:
    """A dirty counter in a dearth: the hive loses half a kilogram a day, and no more that day."""
    hive = counted(made_up_hive, flow_kg=-0.5, days=20)
    lose(hive, 17, 6000)
    hive.add(hive.at(17, 15), 0.8, minutes=240)
    assert find(hive, limits) == []


def test_on_a_rainy_day_a_counter_that_counts_few_bees_strays_further() -> None:
    """Counts scatter by the square root of what is counted: common practice, no source."""
    rng = np.random.default_rng(0)
    out = np.full(20, 60_000.0)
    back = out * (0.9 + rng.normal(0, 0.012, 20))
    for flown, is_lost in ((40_000.0, True), (16_000.0, False)):
        out[-1], back[-1] = flown, flown * (0.9 - 0.12)
        day_kg = np.append(np.full(19, -0.1), -0.6)
        assert bool(balance_of(out, back, day_kg).is_plain[-1]) == is_lost


def test_where_the_scale_says_all_are_home_none_are_lost(made_up_hive, limits) -> None:
    hive = counted(made_up_hive, flow_kg=0.6)
    lose(hive, 10, 8000)
    hive.add(hive.at(10, 15), 1.0, minutes=240)  # the counter is dirty
    assert find(hive, limits) == []


def test_a_swarm_is_no_loss_of_foragers(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    at = (hive.time_s > hive.at(10, 13)) & (hive.time_s <= hive.at(10, 13.25))
    hive.series["bees-out"][at] += 4000
    hive.add(hive.at(10, 13), -1.6, minutes=12)
    assert find(hive, limits) == []


def test_fewer_flights_the_day_after_make_it_surer(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    lose(hive, 10, 8000)
    after = hive.time_s >= hive.at(11, 0)
    for name in ("bees-in", "bees-out"):
        hive.series[name][after] = np.round(hive.series[name][after] * 0.4)
    (then,) = find(hive, limits, until_s=hive.at(10, 23))
    (later,) = find(hive, limits)
    assert later.confidence > then.confidence
    assert (then.start_s, then.detected_s) == (later.start_s, later.detected_s)


@pytest.mark.parametrize("late", ["bees-in", "bees-out", "weight"])
@pytest.mark.parametrize("hour", [11.0, 15.0, 19.0])
def test_nothing_is_lost_while_a_device_has_yet_to_send(made_up_hive, limits, late, hour) -> None:
    hive = counted(made_up_hive, days=16, flow_kg=-0.1)
    cut_s = hive.at(13, hour)
    quantities = tuple(name for name in EVERYTHING if name != late)
    window = hive.window(quantities, until_s=hive.at(14, 9))
    part = hive.window((late,), until_s=cut_s).series[late]
    held_up = replace(window, series={**window.series, late: part})
    found = forager_loss.find(held_up, [], limits)
    assert found == []


def test_what_age_takes_in_a_day_is_no_loss(made_up_hive, limits) -> None:
    hive = counted(made_up_hive, bees=9000)
    lose(hive, 10, 1500)
    assert find(hive, limits) == []


def test_without_a_counter_there_is_nothing_to_say(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    assert forager_loss.find(hive.window(("weight", "nest", "ambient")), [], limits) == []
    assert forager_loss.find(hive.window(("weight", "bees-out")), [], limits) == []


def test_a_poor_balance_of_a_day_with_as_many_flights_as_ever_is_the_counters(
    made_up_hive, limits
) -> None:
    hive = counted(made_up_hive)
    lose(hive, 10, 5000, still=1.0)
    assert find(hive, limits) == []
    lose(hive, 12, 5000)
    assert len(find(hive, limits)) == 1
