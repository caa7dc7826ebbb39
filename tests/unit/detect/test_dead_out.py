"""Dead hives, and hives that only look it, on made-up nests."""

from __future__ import annotations

import numpy as np
import pytest
from nests import DAY_S, MadeUpNest, told

from hivewatch.detect import dead_out, like_air

ALL = ("nest", "ambient", "weight", "bees-in", "bees-out")


def find(nest, limits, quantities=ALL, until_s=None):
    return dead_out.find(nest.window(quantities, until_s), (), limits)


def summer(**more):
    """A hive that loses its bees on day 20."""
    nest = MadeUpNest(first="2026-05-20", days=40, air_cel=15, **more)
    nest.bees[20:] = 0
    return nest


def winter(**more):
    """A winter cluster that dies on day 30."""
    nest = MadeUpNest(first="2025-12-01", days=50, air_cel=0, swing_k=3, **more)
    nest.has_brood(slice(None), 0.0)
    nest.bees[30:] = 0
    return nest


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("make", "day"), [(summer, 20), (winter, 30)])
def test_a_dead_hive_is_told_within_three_days(limits, make, day, seed):
    nest = make(seed=seed)
    (one,) = find(nest, limits)
    assert (one.kind, one.subject, one.end_s, one.status) == (
        "dead_out",
        "hive:hazel-1",
        None,
        "open",
    )
    assert abs(one.start_s - nest.at(day)) <= DAY_S
    assert 0 < one.detected_s - nest.at(day) <= 3 * DAY_S
    assert abs(one.measures["nest_minus_ambient_k"]) <= 2.0  # a living cluster keeps 9 K and more
    assert one.confidence == 0.95


@pytest.mark.parametrize("share", [0.4, 0.6])
def test_a_probe_off_the_centre_tells_it_too(limits, share):
    for make, day in ((summer, 20), (winter, 30)):
        nest = make(share=share)
        (one,) = find(nest, limits)
        assert 0 < one.detected_s - nest.at(day) <= 3 * DAY_S


@pytest.mark.parametrize(
    ("hours", "off_k"), [(0.5, 0.0), (0.5, -1.0), (3.0, 1.0), (5.0, -1.0), (5.0, 1.0), (7.0, 0.0)]
)
def test_a_full_box_behind_the_air_is_told_too(hours, off_k):
    # no bees, Newton's law of cooling: dT/dt = (air - T) / hours; a degree between probes
    rng = np.random.default_rng(7)
    air = 18.0 + 6.0 * np.sin(2 * np.pi * (np.arange(30 * 24) - 9) / 24) + rng.normal(0, 0.3, 720)
    nest, died = np.full(720, 34.8), 20 * 24
    for hour in range(died, 720):
        nest[hour] = nest[hour - 1] + (air[hour] - nest[hour - 1]) * -np.expm1(-1.0 / hours)
    nest[died:] += off_k
    said = np.flatnonzero(like_air.hours_like_air(nest, air))
    assert died < said[0] <= died + 72
    # a living nest that lies off the centre follows the air by half, and is warmer
    alive = 34.8 + 0.5 * (air - 26.0)
    assert not like_air.hours_like_air(alive, air).any()


def test_a_nest_that_cools_with_its_brood_gone_is_no_empty_box():
    hours = np.arange(40 * 24)
    air = 8.0 + 4.0 * np.sin(2 * np.pi * (hours - 9) / 24)
    nest = np.where(hours < 480, 34.8, 15.0 + 0.4 * (air - 8.0))
    assert not like_air.hours_like_air(nest, air).any()


def test_with_the_nest_alone_a_sudden_death_is_told(limits):
    nest = summer()
    (one,) = find(nest, limits, ["nest"])
    assert 0 < one.detected_s - nest.at(20) <= 3 * DAY_S
    assert one.confidence < 0.8
    assert "swings" in one.evidence[0]


def test_with_a_counter_and_the_air_two_days_without_flights_tell_it(limits):
    nest = summer(swing_k=7)
    (one,) = find(nest, limits, ["ambient", "bees-in", "bees-out"])
    assert one.confidence < 0.8
    assert 1.5 <= (one.detected_s - nest.at(20)) / DAY_S <= 3
    assert one.measures["usual_bees_out"] > 1000
    # the same when there was a probe, which fell silent before
    nest.silence(0, 0)
    window = nest.window()
    window.series["nest"] = window.of("nest").up_to(nest.at(15))
    assert [one.confidence for one in dead_out.find(window, (), limits)] == [one.confidence]


@pytest.mark.parametrize("seed", range(6))
def test_a_dwindled_colony_that_flies_no_more_is_told_where_nobody_measures_the_air(limits, seed):
    nest = summer(swing_k=7, share=0.15, seed=seed)
    assert find(nest, limits, ["nest"]) == []  # it swung as far before
    (one,) = find(nest, limits, ["nest", "bees-out"])
    assert 0 < one.detected_s - nest.at(20) <= 3 * DAY_S
    assert "nobody flew" in one.evidence[0]


@pytest.mark.parametrize("seed", range(6))
def test_cold_days_without_flight_are_no_death_where_nobody_measures_the_air(limits, seed):
    nest = MadeUpNest(first="2026-04-01", days=30, air_cel=13, swing_k=5, share=0.15, seed=seed)
    nest.air_by_day[15:22] = 0
    assert find(nest, limits, ["nest", "bees-out"]) == []


@pytest.mark.parametrize(("eats_kg", "count"), [(0.0, 1), (0.035, 0)])
def test_who_eats_nothing_for_a_week_of_cold_days_is_dead_where_nobody_measures_the_air(
    limits, eats_kg, count
):
    """A dwindled colony far from the probe: neither its nest nor its flights tell when it died."""
    nest = MadeUpNest(first="2025-10-01", days=60, air_cel=13, swing_k=2, share=0.15)
    nest.air_by_day[25:] = 3
    nest.has_brood(slice(None), 0.0)
    nest.weight -= 0.035 * np.clip((nest.time_s - nest.at(0)) / DAY_S, 0, 30)
    nest.weight -= eats_kg * np.clip((nest.time_s - nest.at(30)) / DAY_S, 0, None)
    found = find(nest, limits, ["nest", "weight", "bees-out"])
    assert len(found) == count
    assert all(nest.at(35) < one.detected_s <= nest.at(39) for one in found)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("share", [0.15, 0.35, 1.0])
def test_a_winter_cluster_far_from_the_probe_is_not_dead(limits, seed, share):
    nest = MadeUpNest(first="2025-11-15", days=60, air_cel=2, seed=seed, share=share)
    nest.has_brood(slice(None), 0.0)
    assert find(nest, limits) == []
    assert find(nest, limits, ["nest"]) == []


def test_a_cold_probe_beside_bees_that_fly_is_not_a_dead_hive(limits):
    nest = summer(swing_k=7)
    window = nest.window()
    nest.bees[:] = 1
    alive = nest.window()
    window.series["bees-out"] = alive.of("bees-out")
    window.series["bees-in"] = alive.of("bees-in")
    assert dead_out.find(window, (), limits) == []


def test_no_flights_and_a_nest_that_fell_are_a_dead_hive_though_it_stays_above_the_air(limits):
    nest = summer(swing_k=7)
    nest.add(nest.at(20), nest.at(40), 4.0)  # a lid in the sun all day, or a cold probe outside
    (one,) = find(nest, limits)
    assert 0 < one.detected_s - nest.at(20) <= 3 * DAY_S
    assert one.measures.keys() == {"usual_bees_out"}
    assert find(nest, limits, ["nest", "ambient"]) == []


def test_a_hive_in_great_heat_is_not_dead(limits):
    # air at 35 Cel every afternoon is as warm as the nest, but not by night
    assert find(MadeUpNest(first="2026-07-01", days=30, air_cel=28, swing_k=8), limits) == []


def test_a_chilled_night_and_a_brood_pause_are_no_death(limits):
    nest = MadeUpNest(first="2026-05-20", days=40, air_cel=15)
    nest.has_brood(slice(20, 35), 0.0)
    nest.add(nest.at(10, 17), nest.at(11, 9), -15)
    for quantities in (ALL, ["nest"], ["nest", "ambient"]):
        assert find(nest, limits, quantities) == []


def test_an_empty_box_that_was_never_lived_in_is_not_told(limits):
    nest = summer()
    nest.bees[:] = 0
    assert find(nest, limits) == []


def test_a_new_colony_ends_it(limits):
    nest = summer()
    nest.bees[28:] = 1
    (one,) = find(nest, limits)
    assert one.status == "ended"
    assert one.end_s == pytest.approx(nest.at(28), abs=3600)


def test_rain_that_keeps_all_at_home_and_a_dead_counter_tell_nothing(limits):
    nest = MadeUpNest(first="2026-05-20", days=30, air_cel=15)
    nest.air_by_day[15:20] = 8  # nobody flies
    assert find(nest, limits, ["ambient", "bees-in", "bees-out"]) == []
    window = nest.window(["ambient", "bees-in", "bees-out"])
    for name in ("bees-in", "bees-out"):
        window.series[name] = window.of(name).up_to(nest.at(20))
    assert dead_out.find(window, (), limits) == []


@pytest.mark.parametrize("hours", [20, 37, 50, 80, 200])
@pytest.mark.parametrize(
    "quantities", [ALL, ("nest",), ("ambient", "bees-out"), ("nest", "bees-out")]
)
def test_what_was_told_stands_when_the_season_goes_on(limits, hours, quantities):
    nest = summer(swing_k=7)
    nest.bees[27:] = 1
    until_s = nest.at(20, hours + 0.3)
    whole = told(one for one in find(nest, limits, quantities) if one.detected_s <= until_s)
    assert told(find(nest, limits, quantities, until_s)) == whole


def test_hives_without_readings_have_nothing_to_say(limits):
    nest = summer()
    assert find(nest, limits, ["weight"]) == []
    assert find(nest, limits, until_s=nest.at(0) - 60) == []
    assert np.all(nest.bees[:20] == 1)


def test_an_empty_box_in_the_sun_is_one_dead_hive_and_stays_so(limits):
    nest = summer()
    for day in range(20, 40):
        nest.add(nest.at(day, 11), nest.at(day, 15), 6.5, hours=0.7)  # a dark lid at noon
    (one,) = find(nest, limits)
    assert one.end_s is None
    assert 0 < one.detected_s - nest.at(20) <= 3 * DAY_S


def test_a_few_hundred_bees_that_fly_are_not_dead_though_a_far_probe_feels_nothing(limits):
    nest = summer(flights=12_000.0)
    window = nest.window()
    flies = nest.time_s < nest.at(34)
    rng = np.random.default_rng(4)
    for name in ("bees-in", "bees-out"):
        alive = nest.window(("bees-out",)).of("bees-out").value[: 20 * DAY_S // nest.step_s]
        counts = np.resize(alive, len(flies)) * np.exp(-np.arange(len(flies)) / len(flies) * 1.5)
        window.series[name].value[:] = rng.poisson(np.where(flies, counts, 0.0))
    assert not (window.of("nest").value[nest.time_s > nest.at(22)] > 30).any()
    (one,) = dead_out.find(window, (), limits)
    assert one.start_s >= nest.at(32)
