"""Young bees' first flights, on made-up counts: nothing of the simulators."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from counted import counted

from hivewatch.detect import orientation
from hivewatch.signals.window import Series

EVERYTHING = ("weight", "nest", "ambient", "bees-in", "bees-out")


def fly(hive, day, hour, bees=700, minutes=20):
    """Let young bees out, and in again a little later."""
    for name, delay_s in (("bees-out", 0), ("bees-in", 240)):
        begin = hive.at(day, hour) + delay_s
        during = (hive.time_s >= begin) & (hive.time_s < begin + 60 * minutes)
        hive.series[name][during] += bees / during.sum()


def find(hive, limits, quantities=EVERYTHING, until_s=None):
    return orientation.find(hive.window(quantities, until_s), [], limits)


def test_first_flights_are_found_at_their_hour_with_their_bees(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    for day in range(14):
        fly(hive, day, 13.5)
    found = find(hive, limits)
    assert len(found) >= 12
    for one in found:
        assert (one.start_s - hive.at(0, 13.5)) % 86_400 <= 900 or (
            hive.at(0, 13.5) - one.start_s
        ) % 86_400 <= 900
    assert np.median([one.measures["bees"] for one in found]) == pytest.approx(700, rel=0.25)


@pytest.mark.parametrize(("latitude", "are_told"), [(52.2, True), (-52.2, False), (-10.0, True)])
def test_in_autumn_no_young_bees_are_left_to_fly_in_number(
    made_up_hive, limits, latitude, are_told
) -> None:
    hive = counted(made_up_hive)
    for day in range(14):
        fly(hive, day, 13.5)
    window = hive.window(EVERYTHING)
    elsewhere = replace(window, yard=replace(window.yard, latitude=latitude))
    assert bool(orientation.find(elsewhere, [], limits)) == are_told


def test_on_a_cool_day_it_is_foragers_in_a_gap_of_the_weather(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    for day in range(14):
        fly(hive, day, 13.5)
    hive.series["ambient"] -= 6.0
    assert find(hive, limits) == []
    assert find(hive, limits, ("bees-in", "bees-out"))  # nobody measured the air


def test_small_ones_are_found_once_the_hour_is_known(made_up_hive, limits) -> None:
    hive = counted(made_up_hive, bees=15_000)
    for day in range(14):
        fly(hive, day, 14.0, bees=700 if day < 8 else 520)
    late = [one for one in find(hive, limits) if one.start_s > hive.at(8, 0)]
    assert len(late) >= 4


@pytest.mark.parametrize(("hour", "are_told"), [(11.2, False), (13.5, True), (16.6, False)])
def test_the_young_fly_from_noon_to_four_by_the_sun(made_up_hive, limits, hour, are_told) -> None:
    hive = counted(made_up_hive)
    for day in range(4):
        fly(hive, day, hour)
    assert bool(find(hive, limits)) == are_told


def test_off_the_usual_hour_a_burst_is_no_first_flight(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    for day in range(14):
        fly(hive, day, 13.0 if day < 10 else 14.6)
    assert all(one.start_s < hive.at(10, 0) for one in find(hive, limits))


def test_ordinary_days_have_hardly_any(made_up_hive, limits) -> None:
    said = sum(len(find(counted(made_up_hive, seed=seed), limits)) for seed in range(10))
    assert said <= 7  # of 140 days


@pytest.mark.parametrize("what", ["swarm", "robbing", "evening", "shower"])
def test_what_goes_one_way_or_lasts_is_no_first_flight(made_up_hive, limits, what) -> None:
    hive = counted(made_up_hive)
    if what == "swarm":
        at = (hive.time_s > hive.at(10, 13)) & (hive.time_s <= hive.at(10, 13.25))
        hive.series["bees-out"][at] += 4000
    elif what == "robbing":
        at = (hive.time_s > hive.at(10, 9)) & (hive.time_s <= hive.at(10, 19))
        for name in ("bees-in", "bees-out"):
            hive.series[name][at] *= 3
    elif what == "evening":
        fly(hive, 10, 19.0)
    elif what == "shower":
        at = (hive.time_s > hive.at(10, 13)) & (hive.time_s <= hive.at(10, 14))
        hive.series["bees-out"][at] *= 0.2
    day = [one for one in find(hive, limits) if hive.at(10, 0) <= one.start_s < hive.at(11, 0)]
    assert day == []


def test_what_is_told_of_a_flight_stands_when_time_goes_on(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    for day in range(14):
        fly(hive, day, 13.5)
    whole = find(hive, limits)
    for one in whole[::4]:
        part = find(hive, limits, until_s=one.detected_s + 60)
        assert part[-1] == one
        assert part == whole[: len(part)]


def test_without_a_counter_there_is_nothing_to_say(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    assert orientation.find(hive.window(("weight", "nest", "ambient")), [], limits) == []
    assert orientation.find(hive.window(("weight", "bees-out")), [], limits) == []


def test_no_flight_is_told_before_both_ways_were_sent(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    fly(hive, 10, 13.5)
    window = hive.window(EVERYTHING)
    for name in ("bees-in", "bees-out"):  # the burst is in, the hour after it is not
        late = window.series[name].up_to(hive.at(10, 13.9))
        held_up = replace(window, series={**window.series, name: late})
        found = orientation.find(held_up, [], limits)
        assert [one for one in found if one.start_s >= hive.at(10, 12)] == []


def test_first_flights_that_half_a_counter_kept_to_itself_for_days_are_told_neither_then_nor_later(
    made_up_hive, limits
) -> None:
    hive = counted(made_up_hive)
    for day in range(14):
        fly(hive, day, 13.5)

    def found(until_s):
        window = hive.window(EVERYTHING, until_s)
        back = window.of("bees-in")
        there = (back.time_s < hive.at(8, 14.2)) | (back.time_s > hive.at(12, 9))
        window.series["bees-in"] = Series(back.time_s[there], back.value[there])
        said = orientation.find(window, [], limits)
        return [one.start_s for one in said]

    then, later = found(hive.at(9, 20)), found(hive.at(13, 23))
    assert [one for one in later if one < hive.at(9, 20)] == then
    assert max(then) < hive.at(8, 0)
    assert max(later) > hive.at(12, 12)


def test_where_flight_ends_or_is_but_a_gap_in_bad_weather_no_young_bees_fly(
    made_up_hive, limits
) -> None:
    hive = counted(made_up_hive)
    rain = (hive.time_s >= hive.at(9, 14)) & (hive.time_s < hive.at(10, 0))  # after that, none
    gap = (hive.time_s >= hive.at(10, 0)) & (hive.time_s < hive.at(11, 0))
    sun = (hive.time_s >= hive.at(10, 13)) & (hive.time_s < hive.at(10, 13.4))
    for name in ("bees-out", "bees-in"):
        counts = hive.series[name]
        counts[rain] = 0
        counts[gap & ~sun] = 3
        counts[gap & sun] = 150
    fly(hive, 9, 13.6, bees=150)
    found = find(hive, limits)
    assert [one for one in found if hive.at(9, 0) <= one.start_s < hive.at(11, 0)] == []


def test_what_nobody_would_see_is_not_told(made_up_hive, limits) -> None:
    hive = counted(made_up_hive, bees=8_000)
    for day in range(14):
        fly(hive, day, 14.0, bees=250)
    assert find(hive, limits) == []
