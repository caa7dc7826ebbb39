"""What leaves at dawn: what is made in is read out again, and what tells nothing says why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hivewatch.signals.carried import Carried
from hivewatch.signals.dawn import BEE_KG, carry, dawn_departures_of, fit_dips
from hivewatch.signals.days import carry as carry_days
from hivewatch.signals.days import days_of
from hivewatch.signals.steps import SCALE_SPREAD_KG
from hivewatch.signals.window import HiveWindow, Series

HOURS = np.arange(96) / 12 + 1 / 24 - 4  # middles of the bins, from sunrise


def three_lines(left_h: float, turned_h: float, slopes: tuple[float, float, float]) -> np.ndarray:
    night, loss, later = slopes
    level = night * HOURS + (loss - night) * np.maximum(HOURS - left_h, 0)
    return level + (later - loss) * np.maximum(HOURS - turned_h, 0)


def morning(made_up_hive: Callable, step_s: int = 300, **dip: float) -> HiveWindow:
    """A hive whose foragers leave from 30 min after sunrise on for 90 min; nothing else happens."""
    hive = made_up_hive(step_s=step_s, days=6, noise_kg=0.0, flow_kg=0.0)
    rise_s = days_of(hive.window()).rise_s
    weight = np.full(len(hive.time_s), 40.0)
    for at_s in rise_s:
        out = np.clip((hive.time_s - at_s - 1800) / 5400, 0, 1)
        back = np.clip((hive.time_s - at_s - 7200) / 28_800, 0, 1)
        weight -= dip.get("kg", 0.5) * (out - back)
    noise = np.random.default_rng(3).normal(0, dip.get("noise", 0.01), len(weight))
    hive.series["weight"] = weight + noise
    return hive.window()


@settings(max_examples=40)
@given(
    left=st.integers(0, 9),
    long=st.integers(6, 9),
    night=st.floats(-0.05, 0.0),
    kg=st.floats(0.05, 2.0),
    later=st.floats(-0.05, 0.5),
    every=st.sampled_from([1, 2, 3, 6]),
)
def test_corners_and_mass_of_exact_lines_are_read_out(left, long, night, kg, later, every):
    left_h, turned_h = left / 6, (left + long) / 6
    steep = night - kg / (turned_h - left_h)
    weight = three_lines(left_h, turned_h, (night, steep, later))[None]
    count = np.where(np.arange(96) % every == 0, 1.0, 0.0)[None]
    fit = fit_dips(np.where(count > 0, weight, 777.0), count)
    assert fit.kg[0] == pytest.approx(kg, rel=1e-3, abs=1e-4)
    assert fit.left_h[0] == pytest.approx(left_h)
    assert fit.turned_h[0] == pytest.approx(turned_h)
    assert fit.night_kg_per_h[0] == pytest.approx(night, abs=1e-4)
    assert fit.loss_kg[0] == pytest.approx(kg - night * (turned_h - left_h), abs=1e-3)


@pytest.mark.parametrize("step_s", [60, 300, 900, 1800])
def test_any_feed_tells_the_mass_within_its_error(made_up_hive, step_s):
    found = dawn_departures_of(morning(made_up_hive, step_s))
    told = ~np.isnan(found.kg)
    assert told.sum() >= 5
    assert np.all(np.abs(found.kg[told] - 0.5) < np.maximum(4 * found.error_kg[told], 0.02))
    assert (found.error_kg[told] >= SCALE_SPREAD_KG).all()
    assert np.allclose(found.bees[told], found.kg[told] / BEE_KG)
    rise_s = days_of(morning(made_up_hive, step_s)).rise_s
    assert np.allclose(found.left_s[told] - rise_s[told], 1800, atol=1800)


def test_a_super_in_the_morning_is_no_departure(made_up_hive):
    window = morning(made_up_hive)
    weight, rise_s = window.of("weight"), days_of(window).rise_s
    value = weight.value + np.where(weight.time_s > rise_s[2] + 4000, 6.0, 0.0)
    found = dawn_departures_of(replace(window, series={"weight": Series(weight.time_s, value)}))
    assert found.kg[2] == pytest.approx(0.5, abs=0.12)


def test_what_tells_nothing_says_why(made_up_hive):
    window = morning(made_up_hive)
    weight, rise_s = window.of("weight"), days_of(window).rise_s
    silent = np.abs(weight.time_s - rise_s[1]) < 5400
    rain = Series(np.array([int(rise_s[3])], np.int64), np.array([4.0]))
    value = weight.value.copy()
    flat = np.abs(weight.time_s - rise_s[4]) < 15_000
    value[flat] = 40.0 + np.random.default_rng(1).normal(0, 0.01, flat.sum())
    series = {"weight": Series(weight.time_s[~silent], value[~silent]), "rain": rain}
    found = dawn_departures_of(replace(window, series=series))
    assert found.reason[1] == "gaps"
    assert found.reason[3] == "rain"
    assert found.reason[4] == "no dip"
    early = dawn_departures_of(window.at(int(rise_s[5]) + 3600))
    assert early.reason[5] == "not over"
    for one in (found, early):
        assert [bool(why) for why in one.reason] == np.isnan(one.kg).tolist()


@pytest.mark.parametrize(("from_h", "why"), [(-3.5, "rain"), (-0.9, "dark")])
def test_rain_that_nobody_measured_is_no_departure(made_up_hive, from_h, why):
    # a lid that gets wet by night and dries after; or one that dries before any bee can see
    window = morning(made_up_hive, kg=0.0)
    weight, rise_s = window.of("weight"), days_of(window).rise_s
    since_h = (weight.time_s - rise_s[2]) / 3600
    if why == "rain":
        wet = 0.25 * np.clip((since_h - from_h) / 4, 0, 1) * (since_h < 12)
        wet -= 0.25 * np.clip((since_h - 0.5) / 2, 0, 1) * (since_h < 12)
    else:
        wet = -0.25 * np.clip((since_h - from_h) / 2, 0, 1)
    found = dawn_departures_of(
        replace(window, series={"weight": Series(weight.time_s, weight.value + wet)})
    )
    assert found.reason[2] == why
    assert np.isnan(found.kg[2])


def test_without_a_scale_every_day_says_why(made_up_hive):
    found = dawn_departures_of(made_up_hive(days=3).window(("nest", "ambient")))
    assert np.isnan(found.kg).all()
    assert all(found.reason)


def test_days_that_are_kept_say_the_same(made_up_hive):
    window = made_up_hive(days=16).window()
    until_s = int(days_of(window).start_s[12])
    assert carry(window, until_s) == {}  # nobody has asked
    whole = dawn_departures_of(window)
    kept = {**carry_days(window, until_s), **carry(window, until_s)}
    weight = window.of("weight")
    later = replace(
        window,
        carried=Carried(until_s, kept),
        series={
            name: one.between(until_s - 86_400, window.as_of_s)
            for name, one in window.series.items()
        },
    )
    part = dawn_departures_of(later)
    assert len(weight) > 0
    assert part.reason == whole.reason
    assert np.allclose(part.kg, whole.kg, equal_nan=True)
