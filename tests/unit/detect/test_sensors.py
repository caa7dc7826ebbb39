"""Sensors that cannot be believed, on made-up hives."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.detect import sensors

EVERYTHING = ("weight", "nest", "ambient", "bees-in", "bees-out")
DAY_S = 86_400
CELL_G_PER_K = 2.8  # published: OIML R 60, 14 g per 5 degrees for a cell of 200 kg


def of_kind(hive, limits, kind, quantities=("weight", "nest", "ambient"), until_s=None):
    found = sensors.find(hive.window(quantities, until_s), [], limits)
    return [one for one in found if one.kind == kind]


def freeze(hive, name, from_s, to_s):
    at = (hive.time_s >= from_s) & (hive.time_s < to_s)
    hive.series[name][at] = hive.series[name][at][0]


@pytest.mark.parametrize("name", ["weight", "nest"])
def test_what_is_the_same_for_a_day_is_stuck(made_up_hive, limits, name) -> None:
    hive = made_up_hive()
    freeze(hive, name, hive.at(4, 10), hive.at(7, 10))
    (one,) = of_kind(hive, limits, "stuck")
    assert one.subject == "device:scale-1"
    assert (one.start_s, one.end_s) == (hive.at(4, 10), hive.at(7, 10))
    assert 0 <= one.detected_s - hive.at(5, 10) <= hive.step_s
    assert one.status == "ended"
    assert name in one.evidence[0]


def test_while_it_lasts_it_is_open_and_told_at_the_same_reading(made_up_hive, limits) -> None:
    hive = made_up_hive()
    freeze(hive, "nest", hive.at(4, 10), hive.at(7, 10))
    (whole,) = of_kind(hive, limits, "stuck")
    for until_s in (whole.detected_s, hive.at(6, 0)):
        (part,) = of_kind(hive, limits, "stuck", until_s=until_s)
        assert (part.start_s, part.detected_s) == (whole.start_s, whole.detected_s)
        assert (part.status, part.end_s) == ("open", None)
    assert of_kind(hive, limits, "stuck", until_s=whole.detected_s - 1) == []


def test_half_a_day_proves_nothing(made_up_hive, limits) -> None:
    hive = made_up_hive()
    freeze(hive, "weight", hive.at(4, 20), hive.at(5, 8))
    assert of_kind(hive, limits, "stuck") == []


def test_two_quantities_of_one_device_are_one_finding(made_up_hive, limits) -> None:
    hive = made_up_hive()
    for name in ("weight", "nest"):
        freeze(hive, name, hive.at(4, 10), hive.at(7, 10))
    assert len(of_kind(hive, limits, "stuck")) == 1


def test_a_colony_that_leaves_whole_is_no_stuck_counter(made_up_hive, limits) -> None:
    hive = made_up_hive()
    for name in ("bees-in", "bees-out"):
        hive.series[name] = np.zeros(len(hive.time_s))
    left = (hive.time_s >= hive.at(4, 12)) & (hive.time_s < hive.at(4, 12.4))
    hive.series["bees-out"][left] = 9000.0
    assert of_kind(hive, limits, "stuck", ("bees-in", "bees-out")) == []


def test_a_counter_that_counts_one_way_only_is_stuck(made_up_hive, limits) -> None:
    hive = made_up_hive()
    hour = (hive.time_s % DAY_S) / 3600
    flying = ((hour > 7) & (hour < 19)).astype(float)
    rng = np.random.default_rng(2)
    hive.series["bees-out"] = rng.poisson(200 * flying).astype(float)
    hive.series["bees-in"] = rng.poisson(190 * flying).astype(float)
    assert of_kind(hive, limits, "stuck", EVERYTHING) == []
    at = (hive.time_s >= hive.at(5, 0)) & (hive.time_s < hive.at(7, 0))
    hive.series["bees-in"][at] = 0
    found = of_kind(hive, limits, "stuck", EVERYTHING)
    assert found
    assert "none" in found[0].evidence[0]


def test_healthy_sensors_say_nothing(made_up_hive, limits) -> None:
    for seed in range(5):
        hive = made_up_hive(days=40, seed=seed, flow_kg=-0.1)
        hive.series["weight"] = np.round(hive.series["weight"], 2)
        hive.series["nest"] = np.round(hive.series["nest"] * 2) / 2
        assert sensors.find(hive.window(), [], limits) == []


def test_a_scale_that_gains_night_after_night_drifts(made_up_hive, limits) -> None:
    hive = made_up_hive(days=25, flow_kg=0.0)
    since = np.maximum(hive.time_s - hive.at(5, 0), 0)
    hive.series["weight"] += 0.4 * since / DAY_S
    (one,) = of_kind(hive, limits, "scale_drift")
    assert one.subject == "device:scale-1"
    assert hive.at(12, 0) < one.detected_s < hive.at(19, 0)
    assert one.measures["kg_gained"] >= 0.5
    (part,) = of_kind(hive, limits, "scale_drift", until_s=one.detected_s + 1800)
    assert (part.start_s, part.detected_s) == (one.start_s, one.detected_s)


def test_the_wood_of_an_empty_hive_takes_up_damp_and_drifts_not(made_up_hive, limits) -> None:
    hive = made_up_hive(days=25, flow_kg=0.0)
    since = np.maximum(hive.time_s - hive.at(5, 0), 0)
    hive.series["weight"] += 0.4 * since / DAY_S
    assert len(of_kind(hive, limits, "scale_drift")) == 1
    hive.cool(hive.at(3, 0), 4)
    assert of_kind(hive, limits, "scale_drift") == []


def test_a_living_hive_lighter_than_its_empty_boxes_is_on_a_wrong_scale(
    made_up_hive, limits
) -> None:
    hive = made_up_hive(days=12, flow_kg=0.0, empty_kg=24.0)
    assert of_kind(hive, limits, "scale_drift") == []
    hive.series["weight"] -= 16.0
    (one,) = of_kind(hive, limits, "scale_drift")
    assert one.measures["kg_below_empty"] > 1


@pytest.mark.parametrize(("g_per_k", "told"), [(CELL_G_PER_K, False), (90.0, True)])
def test_a_scale_may_follow_the_air_as_far_as_the_standard_allows(
    made_up_hive, limits, g_per_k, told
) -> None:
    hive = made_up_hive(days=50, flow_kg=-0.04)
    rng = np.random.default_rng(3)
    night = rng.uniform(-3.0, 3.0, 51)
    hour = (hive.time_s - hive.time_s[0]) / 3600
    points_h = np.sort(np.concatenate([24 * np.arange(51) + 3, 24 * np.arange(51) + 21]))
    hive.series["ambient"] += np.interp(hour, points_h, np.column_stack([night, 0 * night]).ravel())
    hive.series["ambient"] -= 14
    away = hive.series["ambient"] - hive.series["ambient"].mean()
    hive.series["weight"] += 1e-3 * g_per_k * away
    found = of_kind(hive, limits, "scale_drift")
    assert bool(found) is told
    if told:
        assert found[0].measures["g_per_k"] == pytest.approx(g_per_k, rel=0.3)
