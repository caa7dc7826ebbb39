"""Robbing by day, on made-up hives: with a counter, by weight alone, and what looks like it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hivewatch.detect import robbing

WITH_COUNTER = ("weight", "nest", "ambient", "bees-in", "bees-out")
RATIO = 0.9  # published for one counter type: in / out of an ordinary day


def poor(made_up_hive, days=14, **more):
    """A hive in a dearth, in warm weather, with a counter."""
    hive = made_up_hive(days=days, flow_kg=-0.1, **more)
    hive.series["ambient"] += 6
    hour = (hive.time_s % 86_400) / 3600
    flying = np.clip(np.minimum(hour - 6, 20 - hour), 0, 3) / 3
    rng = np.random.default_rng(hive.seed + 5)
    out = rng.poisson(flying * 40_000 * hive.step_s / (12 * 3600)).astype(float)
    hive.series["bees-out"] = out
    hive.series["bees-in"] = np.round(np.roll(out, 1800 // hive.step_s) * RATIO)
    return hive


def rob(hive, day, kg, *, from_h=9.0, to_h=19.0, times=3.0):
    """Carry honey off between two hours, with so many times the usual traffic."""
    begin, end = hive.at(day, from_h), hive.at(day, to_h)
    hive.add(begin, -kg, minutes=(end - begin) / 60)
    meanwhile = (hive.time_s > begin) & (hive.time_s <= end)
    for name in ("bees-in", "bees-out"):
        hive.series[name][meanwhile] = np.round(hive.series[name][meanwhile] * times)


def find(hive, limits, quantities=WITH_COUNTER, until_s=None):
    return robbing.find(hive.window(quantities, until_s), [], limits)


def test_robbing_is_told_on_its_day_with_its_kilograms(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    rob(hive, 10, 2.5)
    (one,) = find(hive, limits)
    assert hive.at(10, 6) <= one.start_s <= hive.at(10, 11)
    assert hive.at(10, 11) <= one.detected_s < hive.at(10, 18)
    assert one.measures["kg_lost"] == pytest.approx(2.5, abs=0.4)
    assert one.measures["traffic_times"] >= 2
    assert one.confidence >= 0.85
    assert (one.status, one.end_s) == ("open", None)  # three days after: it may only have rained


def test_by_weight_alone_it_is_told_on_the_day_and_less_surely(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    rob(hive, 10, 2.5)
    (one,) = find(hive, limits, ("weight",))
    assert hive.at(10, 11) <= one.detected_s <= hive.at(10, 23)
    assert one.confidence <= 0.65
    assert "traffic_times" not in one.measures


@pytest.mark.parametrize("step_s", [60, 600, 1800])
def test_feeds_of_one_to_thirty_minutes_tell_it(made_up_hive, limits, step_s) -> None:
    hive = poor(made_up_hive, step_s=step_s)
    rob(hive, 10, 2.5)
    (one,) = find(hive, limits)
    assert hive.at(10, 10) <= one.detected_s <= hive.at(10, 23)


def test_days_that_follow_each_other_are_one_robbing(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    for day in (8, 9, 10):
        rob(hive, day, 2.0)
    (one,) = find(hive, limits)
    assert one.measures["days"] == 3
    assert one.measures["kg_lost"] == pytest.approx(6.0, abs=1.0)


@pytest.mark.parametrize("hour", [16, 18, 23, 30, 72, 120])
def test_what_is_told_stands_when_time_goes_on(made_up_hive, limits, hour) -> None:
    hive = poor(made_up_hive, days=18)
    rob(hive, 10, 2.5)
    (late,) = find(hive, limits)
    (early,) = find(hive, limits, until_s=hive.at(10, hour))
    assert (early.start_s, early.detected_s) == (late.start_s, late.detected_s)
    assert early.status == ("open" if hour < 120 else "ended")


@pytest.mark.parametrize("missing", ["nest", "ambient", "bees", "nothing"])
def test_a_kilogram_and_a_half_is_told_at_dusk_at_the_latest(made_up_hive, limits, missing) -> None:
    """So little may be bees that are away: in the evening, when all are home, it is not."""
    names = tuple(one for one in WITH_COUNTER if not one.startswith(missing))
    for seed in range(5):
        hive = poor(made_up_hive, seed=seed)
        rob(hive, 10, 1.5, to_h=20, times=1.35)
        (one,) = find(hive, limits, names)
        assert hive.at(10, 11) <= one.detected_s < hive.at(11, 0)
        assert find(hive, limits, names, until_s=one.detected_s - 1) == []
        (then,) = find(hive, limits, names, until_s=hive.at(10, 23.9))
        assert (then.start_s, then.detected_s) == (one.start_s, one.detected_s)


def test_a_day_of_rain_does_not_end_a_robbing(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    for day in (8, 11):
        rob(hive, day, 2.5)
    (one,) = find(hive, limits)
    assert one.measures["days"] == 2


def test_nothing_is_told_before_it_shows(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    rob(hive, 10, 2.5)
    assert find(hive, limits, until_s=hive.at(10, 9.5)) == []


@pytest.mark.parametrize("quantities", [WITH_COUNTER, ("weight", "ambient"), ("weight",)])
@pytest.mark.parametrize(
    "what", ["nothing", "swarm", "harvest", "rain", "super", "syrup", "foragers out"]
)
def test_what_only_looks_like_it_is_none(made_up_hive, limits, what, quantities) -> None:
    hive = poor(made_up_hive)
    if what == "swarm":
        hive.add(hive.at(10, 13), -2.2, minutes=12)
    elif what == "harvest":
        hive.add(hive.at(10, 11), -14.0)
    elif what == "rain":
        hive.rain(hive.at(9, 21), 1.3, 40, dry_h=5)
    elif what == "super":
        hive.add(hive.at(10, 12), 6.2)
    elif what == "syrup":
        hive.add(hive.at(9, 17), 4.0)
        hive.add(hive.at(10, 7), -0.9, minutes=900)
    elif what == "foragers out":
        out = np.clip((hive.time_s - hive.at(10, 7)) / 7200, 0, 1)
        back = np.clip((hive.time_s - hive.at(10, 16)) / 14_400, 0, 1)
        hive.series["weight"] -= 0.6 * (out - back)
    assert find(hive, limits, quantities) == []


def test_snow_that_melts_is_none(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    hive.series["ambient"] -= 15
    hive.add(hive.at(8, 2), 1.5, minutes=300)
    hive.add(hive.at(10, 10), -1.5, minutes=420)
    assert find(hive, limits, ("weight", "ambient")) == []


@pytest.mark.parametrize("kg", [0.5, 0.8])
def test_a_fine_day_that_dries_a_day_of_rain_is_none(made_up_hive, limits, kg) -> None:
    hive = poor(made_up_hive)
    rainy = (hive.time_s > hive.at(9, 6)) & (hive.time_s <= hive.at(9, 21))
    fine = (hive.time_s > hive.at(10, 6)) & (hive.time_s <= hive.at(10, 21))
    for name in ("bees-in", "bees-out"):
        hive.series[name][rainy] = np.round(hive.series[name][rainy] * 0.4)
        hive.series[name][fine] = np.round(hive.series[name][fine] * 1.6)
    hive.add(hive.at(9, 9), kg, minutes=600)
    hive.add(hive.at(10, 8), -kg - 0.2, minutes=600)
    assert find(hive, limits) == []


def test_where_nobody_counts_what_came_may_have_been_rain(made_up_hive, limits) -> None:
    """A yard's scales in Arizona fell by 1.6 to 2.5 kg on the day after a downpour of 1 kg."""
    hive = poor(made_up_hive)
    hive.add(hive.at(9, 9), 1.0, minutes=600)
    hive.add(hive.at(10, 8), -1.4, minutes=600)
    assert find(hive, limits, ("weight",)) == []
    hive.add(hive.at(10, 8), -1.4, minutes=600)
    assert len(find(hive, limits, ("weight",))) == 1


def test_what_a_counter_misses_on_a_busy_morning_is_no_honey(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    busy = (hive.time_s > hive.at(10, 6)) & (hive.time_s <= hive.at(10, 21))
    for name in ("bees-in", "bees-out"):  # a great flow begins: 120,000 bees
        hive.series[name][busy] = np.round(hive.series[name][busy] * 3)
    out = np.clip((hive.time_s - hive.at(10, 7)) / 7200, 0, 1)
    back = np.clip((hive.time_s - hive.at(10, 14)) / 14_400, 0, 1)
    hive.series["weight"] -= 0.6 * (out - back)
    assert find(hive, limits) == []


@pytest.mark.parametrize("back", [0.996, 1.0])
def test_the_first_fine_day_with_many_bees_out_is_none(made_up_hive, limits, back) -> None:
    """Ten times the bees of the cold days before: a kilogram is out at noon, and comes home."""
    hive = poor(made_up_hive)
    for name in ("bees-in", "bees-out"):
        hive.series[name][hive.time_s < hive.at(10, 0)] //= 10
    hive.series["bees-in"] = np.round(hive.series["bees-in"] / RATIO * back)
    hive.add(hive.at(10, 8), -1.0, minutes=120)
    hive.add(hive.at(10, 16), 0.9, minutes=180)
    assert find(hive, limits) == []


def test_a_great_flow_that_ends_is_no_robbing(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    for day in range(8):
        hive.add(hive.at(day, 8), 2.5, minutes=600)
        hive.add(hive.at(day, 18), -0.7, minutes=840)
    hive.add(hive.at(8, 8), -0.7, minutes=900)
    assert find(hive, limits) == []


def test_quiet_hives_say_nothing(made_up_hive, limits) -> None:
    for seed in range(10):
        assert find(poor(made_up_hive, seed=seed), limits) == []


def test_without_a_scale_there_is_nothing_to_say(made_up_hive, limits) -> None:
    assert find(poor(made_up_hive), limits, ("nest", "ambient", "bees-in", "bees-out")) == []


def test_much_that_goes_with_usual_traffic_is_told_less_surely(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    rob(hive, 10, 2.5, times=1.0)
    (one,) = find(hive, limits)
    assert one.detected_s < hive.at(11, 0)
    assert one.confidence < 0.6


def test_where_hardly_a_bee_flies_nobody_robs(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    rob(hive, 10, 1.6, times=0.2)
    assert find(hive, limits) == []


def test_what_the_counter_has_yet_to_tell_of_is_waited_for(made_up_hive, limits) -> None:
    hive = poor(made_up_hive)
    hive.add(hive.at(10, 9), -2.5, minutes=600)  # bees that all stay away: counted, no robbing
    meanwhile = (hive.time_s > hive.at(10, 9)) & (hive.time_s <= hive.at(10, 19))
    hive.series["bees-out"][meanwhile] += 25_000 / meanwhile.sum()
    assert find(hive, limits) == []
    window = hive.window(WITH_COUNTER, hive.at(10, 21))
    late = {name: window.series[name].up_to(hive.at(10, 7)) for name in ("bees-in", "bees-out")}
    assert robbing.find(replace(window, series={**window.series, **late}), [], limits) == []
