"""First flights and lost foragers, on made-up counts: nothing of the simulators."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hivewatch.detect import traffic
from hivewatch.signals.window import Series

EVERYTHING = ("weight", "nest", "ambient", "bees-in", "bees-out")
RATIO = 0.9  # published for one counter type: in / out of an ordinary day
NOON_H = 12.0


def counted(made_up_hive, *, bees=40_000, ratio=RATIO, days=14, flow_kg=0.15, **more):
    """A hive whose counter sees so many bees a day go, and too few of them come home."""
    hive = made_up_hive(days=days, flow_kg=flow_kg, **more)
    rng = np.random.default_rng(hive.seed + 5)
    hour = (hive.time_s % 86_400) / 3600
    day = (hive.time_s - hive.time_s[0]) // 86_400
    flying = np.clip(np.minimum(hour - 6, 19 - hour), 0, 4) / 4
    weather = rng.uniform(0.7, 1.3, days)[day]
    each = flying * weather * bees * hive.step_s / (9 * 3600)
    hive.series["bees-out"] = rng.poisson(each).astype(float)
    late = np.roll(each, 900 // hive.step_s)
    hive.series["bees-in"] = rng.poisson(late * ratio).astype(float)
    return hive


def fly(hive, day, hour, bees=700, minutes=20):
    """Let young bees out, and in again a little later."""
    for name, delay_s in (("bees-out", 0), ("bees-in", 240)):
        begin = hive.at(day, hour) + delay_s
        during = (hive.time_s >= begin) & (hive.time_s < begin + 60 * minutes)
        hive.series[name][during] += bees / during.sum()


def lose(hive, day, bees, from_h=10.0):
    """Let bees that are out not come home: of those that return from an hour on."""
    begin, end = hive.at(day, from_h), hive.at(day, 19.5)
    during = (hive.time_s > begin) & (hive.time_s <= end)
    back = hive.series["bees-in"]
    back[during] = np.maximum(back[during] - bees * back[during] / back[during].sum(), 0)
    hive.add(hive.at(day, 15), -bees * 1e-4 - 0.2, minutes=240)


def find(hive, limits, kind, quantities=EVERYTHING, until_s=None):
    found = traffic.find(hive.window(quantities, until_s), [], limits)
    return [one for one in found if one.kind == kind]


def test_first_flights_are_found_at_their_hour_with_their_bees(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    for day in range(14):
        fly(hive, day, 13.5)
    found = find(hive, limits, "orientation_flight")
    assert len(found) >= 12
    for one in found:
        assert (one.start_s - hive.at(0, 13.5)) % 86_400 <= 900 or (
            hive.at(0, 13.5) - one.start_s
        ) % 86_400 <= 900
    assert np.median([one.measures["bees"] for one in found]) == pytest.approx(700, rel=0.25)


def test_small_ones_are_found_once_the_hour_is_known(made_up_hive, limits) -> None:
    hive = counted(made_up_hive, bees=15_000)
    for day in range(14):
        fly(hive, day, 14.0, bees=700 if day < 8 else 260)
    late = [one for one in find(hive, limits, "orientation_flight") if one.start_s > hive.at(8, 0)]
    assert len(late) >= 4


def test_ordinary_days_have_hardly_any(made_up_hive, limits) -> None:
    said = sum(
        len(find(counted(made_up_hive, seed=seed), limits, "orientation_flight"))
        for seed in range(10)
    )
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
    day = [
        one
        for one in find(hive, limits, "orientation_flight")
        if hive.at(10, 0) <= one.start_s < hive.at(11, 0)
    ]
    assert day == []


def test_lost_foragers_are_told_the_same_evening(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    lose(hive, 10, 8000)
    (one,) = find(hive, limits, "forager_loss")
    assert hive.at(10, 8) <= one.start_s <= hive.at(10, 14)
    assert hive.at(10, 19) <= one.detected_s < hive.at(11, 0)
    assert one.measures["bees_lost"] == pytest.approx(8000, rel=0.25)
    assert one.measures["kg_lost"] == pytest.approx(0.8, rel=0.25)
    assert "weighed" in one.evidence[1]


@pytest.mark.parametrize("ratio", [0.82, 0.9, 1.0])
def test_the_counters_own_bias_is_no_loss(made_up_hive, limits, ratio) -> None:
    for seed in range(5):
        hive = counted(made_up_hive, ratio=ratio, seed=seed)
        assert find(hive, limits, "forager_loss") == []


def test_a_counter_alone_tells_it_less_surely(made_up_hive, limits) -> None:
    hive = counted(made_up_hive, days=20)
    lose(hive, 17, 8000)
    (one,) = find(hive, limits, "forager_loss", ("bees-in", "bees-out"))
    assert one.confidence < 0.7


def test_a_counter_that_is_not_known_yet_does_not_tell_it_alone(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    lose(hive, 7, 5500)
    assert find(hive, limits, "forager_loss", ("bees-in", "bees-out")) == []
    assert len(find(hive, limits, "forager_loss")) == 1  # the scale says so, too


def test_what_a_day_of_dearth_takes_is_not_what_lost_bees_weigh(made_up_hive, limits) -> None:
    """A dirty counter in a dearth: the hive loses half a kilogram a day, and no more that day."""
    hive = counted(made_up_hive, flow_kg=-0.5, days=20)
    lose(hive, 17, 6000)
    hive.add(hive.at(17, 15), 0.8, minutes=240)
    assert find(hive, limits, "forager_loss") == []


def test_where_the_scale_says_all_are_home_none_are_lost(made_up_hive, limits) -> None:
    hive = counted(made_up_hive, flow_kg=0.6)
    lose(hive, 10, 8000)
    hive.add(hive.at(10, 15), 1.0, minutes=240)  # the counter is dirty
    assert find(hive, limits, "forager_loss") == []


def test_a_swarm_is_no_loss_of_foragers(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    at = (hive.time_s > hive.at(10, 13)) & (hive.time_s <= hive.at(10, 13.25))
    hive.series["bees-out"][at] += 4000
    hive.add(hive.at(10, 13), -1.6, minutes=12)
    assert find(hive, limits, "forager_loss") == []


def test_fewer_flights_the_day_after_make_it_surer(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    lose(hive, 10, 8000)
    after = hive.time_s >= hive.at(11, 0)
    for name in ("bees-in", "bees-out"):
        hive.series[name][after] = np.round(hive.series[name][after] * 0.4)
    (then,) = find(hive, limits, "forager_loss", until_s=hive.at(10, 23))
    (later,) = find(hive, limits, "forager_loss")
    assert later.confidence > then.confidence
    assert (then.start_s, then.detected_s) == (later.start_s, later.detected_s)


def test_what_is_told_of_a_flight_stands_when_time_goes_on(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    for day in range(14):
        fly(hive, day, 13.5)
    whole = find(hive, limits, "orientation_flight")
    for one in whole[::4]:
        part = find(hive, limits, "orientation_flight", until_s=one.detected_s + 60)
        assert part[-1] == one
        assert part == whole[: len(part)]


def test_without_a_counter_there_is_nothing_to_say(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    assert traffic.find(hive.window(("weight", "nest", "ambient")), [], limits) == []
    assert traffic.find(hive.window(("weight", "bees-out")), [], limits) == []


@pytest.mark.parametrize("late", ["bees-in", "bees-out", "weight"])
@pytest.mark.parametrize("hour", [11.0, 15.0, 19.0])
def test_nothing_is_lost_while_a_device_has_yet_to_send(made_up_hive, limits, late, hour) -> None:
    hive = counted(made_up_hive, days=16, flow_kg=-0.1)
    cut_s = hive.at(13, hour)
    quantities = tuple(name for name in EVERYTHING if name != late)
    window = hive.window(quantities, until_s=hive.at(14, 9))
    part = hive.window((late,), until_s=cut_s).series[late]
    held_up = replace(window, series={**window.series, late: part})
    found = traffic.find(held_up, [], limits)
    assert [one for one in found if one.kind == "forager_loss"] == []


def test_what_age_takes_in_a_day_is_no_loss(made_up_hive, limits) -> None:
    hive = counted(made_up_hive, bees=9000)
    lose(hive, 10, 1500)
    assert find(hive, limits, "forager_loss") == []


def test_no_flight_is_told_before_both_ways_were_sent(made_up_hive, limits) -> None:
    hive = counted(made_up_hive)
    fly(hive, 10, 13.5)
    window = hive.window(EVERYTHING)
    for name in ("bees-in", "bees-out"):  # the burst is in, the hour after it is not
        late = window.series[name].up_to(hive.at(10, 13.9))
        held_up = replace(window, series={**window.series, name: late})
        found = traffic.find(held_up, [], limits)
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
        said = traffic.find(window, [], limits)
        return [one.start_s for one in said if one.kind == "orientation_flight"]

    then, later = found(hive.at(9, 20)), found(hive.at(13, 23))
    assert [one for one in later if one < hive.at(9, 20)] == then
    assert max(then) < hive.at(8, 0)
    assert max(later) > hive.at(12, 12)
