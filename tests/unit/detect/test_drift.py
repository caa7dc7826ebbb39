"""Scales that say what no colony can do, on made-up hives."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.detect import drift

CELL_G_PER_K = 2.8  # published: OIML R 60, 14 g per 5 degrees for a cell of 200 kg


def of_kind(hive, limits, quantities=("weight", "nest", "ambient"), until_s=None):
    return drift.find(hive.window(quantities, until_s), [], limits)


def test_healthy_scales_say_nothing(made_up_hive, limits) -> None:
    for seed in range(5):
        hive = made_up_hive(days=40, seed=seed, flow_kg=-0.1)
        assert drift.find(hive.window(), [], limits) == []


def test_a_hive_that_gains_at_night_is_no_drift_as_damp_wood_does(made_up_hive, limits) -> None:
    hive = made_up_hive(days=25, flow_kg=0.0)
    since = np.maximum(hive.time_s - hive.at(5, 0), 0)
    hive.series["weight"] += 0.1 * since / 86_400
    assert of_kind(hive, limits) == []


def test_a_living_hive_lighter_than_its_empty_boxes_is_on_a_wrong_scale(
    made_up_hive, limits
) -> None:
    hive = made_up_hive(days=12, flow_kg=0.0, empty_kg=24.0)
    assert of_kind(hive, limits) == []
    hive.series["weight"] -= 16.0
    (one,) = of_kind(hive, limits)
    assert one.measures["kg_below_empty"] > 1


@pytest.mark.parametrize(("g_per_k", "told"), [(CELL_G_PER_K, False), (90.0, True)])
def test_a_scale_may_follow_the_air_as_far_as_the_standard_allows(
    made_up_hive, limits, g_per_k, told
) -> None:
    hive = made_up_hive(days=50, flow_kg=-0.04)
    rng = np.random.default_rng(3)
    hour = (hive.time_s - hive.time_s[0]) / 3600
    points_h = (24 * np.arange(51)[:, None] + [1, 4, 21]).ravel()
    hive.series["ambient"] += np.interp(hour, points_h, rng.uniform(-2.0, 2.0, len(points_h)))
    hive.series["ambient"] -= 14
    away = hive.series["ambient"] - hive.series["ambient"].mean()
    hive.series["weight"] += 1e-3 * g_per_k * away
    found = of_kind(hive, limits)
    assert bool(found) is told
    if told:
        assert found[0].measures["g_per_k"] == pytest.approx(g_per_k, rel=0.3)
