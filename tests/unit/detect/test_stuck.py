"""Sensors that stand still, on made-up hives."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.detect import stuck

EVERYTHING = ("weight", "nest", "ambient", "bees-in", "bees-out")
DAY_S = 86_400


def of_kind(hive, limits, quantities=("weight", "nest", "ambient"), until_s=None):
    return stuck.find(hive.window(quantities, until_s), [], limits)


def freeze(hive, name, from_s, to_s):
    at = (hive.time_s >= from_s) & (hive.time_s < to_s)
    hive.series[name][at] = hive.series[name][at][0]


@pytest.mark.parametrize("name", ["weight", "nest"])
def test_what_is_the_same_for_a_day_is_stuck(made_up_hive, limits, name) -> None:
    hive = made_up_hive()
    freeze(hive, name, hive.at(4, 10), hive.at(7, 10))
    (one,) = of_kind(hive, limits)
    assert one.subject == "device:scale-1"
    assert (one.start_s, one.end_s) == (hive.at(4, 10), hive.at(7, 10))
    assert 0 <= one.detected_s - hive.at(5, 10) <= hive.step_s
    assert one.status == "ended"
    assert name in one.evidence[0]


def test_while_it_lasts_it_is_open_and_told_at_the_same_reading(made_up_hive, limits) -> None:
    hive = made_up_hive()
    freeze(hive, "nest", hive.at(4, 10), hive.at(7, 10))
    (whole,) = of_kind(hive, limits)
    for until_s in (whole.detected_s, hive.at(6, 0)):
        (part,) = of_kind(hive, limits, until_s=until_s)
        assert (part.start_s, part.detected_s) == (whole.start_s, whole.detected_s)
        assert (part.status, part.end_s) == ("open", None)
    assert of_kind(hive, limits, until_s=whole.detected_s - 1) == []


def test_half_a_day_proves_nothing(made_up_hive, limits) -> None:
    hive = made_up_hive()
    freeze(hive, "weight", hive.at(4, 20), hive.at(5, 8))
    assert of_kind(hive, limits) == []


def test_two_quantities_of_one_device_are_one_finding(made_up_hive, limits) -> None:
    hive = made_up_hive()
    for name in ("weight", "nest"):
        freeze(hive, name, hive.at(4, 10), hive.at(7, 10))
    assert len(of_kind(hive, limits)) == 1


def test_a_colony_that_leaves_whole_is_no_stuck_counter(made_up_hive, limits) -> None:
    hive = made_up_hive()
    for name in ("bees-in", "bees-out"):
        hive.series[name] = np.zeros(len(hive.time_s))
    left = (hive.time_s >= hive.at(4, 12)) & (hive.time_s < hive.at(4, 12.4))
    hive.series["bees-out"][left] = 9000.0
    assert of_kind(hive, limits, ("bees-in", "bees-out")) == []


def test_a_counter_that_counts_one_way_only_is_stuck(made_up_hive, limits) -> None:
    hive = made_up_hive()
    hour = (hive.time_s % DAY_S) / 3600
    flying = ((hour > 7) & (hour < 19)).astype(float)
    rng = np.random.default_rng(2)
    hive.series["bees-out"] = rng.poisson(200 * flying).astype(float)
    hive.series["bees-in"] = rng.poisson(190 * flying).astype(float)
    assert of_kind(hive, limits, EVERYTHING) == []
    at = (hive.time_s >= hive.at(5, 0)) & (hive.time_s < hive.at(7, 0))
    hive.series["bees-in"][at] = 0
    found = of_kind(hive, limits, EVERYTHING)
    assert found
    assert "none" in found[0].evidence[0]


def test_healthy_sensors_say_nothing(made_up_hive, limits) -> None:
    for seed in range(5):
        hive = made_up_hive(days=40, seed=seed, flow_kg=-0.1)
        hive.series["weight"] = np.round(hive.series["weight"], 2)
        hive.series["nest"] = np.round(hive.series["nest"] * 2) / 2
        assert stuck.find(hive.window(), [], limits) == []


def test_a_coarse_scale_stands_still_for_two_days_in_winter_and_is_not_stuck(
    made_up_hive, limits
) -> None:
    hive = made_up_hive(days=12)
    hive.series["weight"] = np.round(hive.series["weight"] / 0.05) * 0.05
    freeze(hive, "weight", hive.at(5, 10), hive.at(7, 9))
    assert of_kind(hive, limits) == []
    freeze(hive, "weight", hive.at(5, 10), hive.at(9, 10))
    (one,) = of_kind(hive, limits)
    assert 0 <= one.detected_s - hive.at(8, 10) <= hive.step_s
    (part,) = of_kind(hive, limits, until_s=one.detected_s)
    assert (part.start_s, part.detected_s) == (one.start_s, one.detected_s)


@pytest.mark.parametrize(("bears_kg", "told"), [(0.0, 0), (25.0, 1)])
def test_a_scale_of_a_coarse_digit_with_nothing_on_it_may_stand_still(
    made_up_hive, limits, bears_kg, told
) -> None:
    hive = made_up_hive(days=12)
    weight = np.full(len(hive.time_s), bears_kg)
    weight[:: 86_400 // hive.step_s] += 0.05
    at = (hive.time_s >= hive.at(5, 0)) & (hive.time_s < hive.at(10, 0))
    weight[at] = bears_kg
    hive.series["weight"] = weight
    assert len(of_kind(hive, limits)) == told
