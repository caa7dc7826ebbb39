"""What follows from a day's figures: what is made in is read out again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import linregress

from hivewatch.signals.daily import LEAST_HOURS, REST_LEAST, daily_of
from hivewatch.signals.days import days_of
from hivewatch.signals.warmth import warmth_of
from hivewatch.signals.window import Series

EATEN_KG_PER_H = 0.004


def nectar(made_up_hive, income_kg: float, water: float):
    """Eight idle days, then four that bring nectar from 8 to 16 h; its water goes by midnight."""
    hive = made_up_hive(days=12, noise_kg=0.0, flow_kg=0.0)
    hour = (hive.time_s - hive.at(0, 0)) / 3600
    weight = 40.0 - EATEN_KG_PER_H * hour
    for day in range(8, 12):
        since = hour - 24 * day
        weight += income_kg * np.clip((since - 8) / 8, 0, 1)
        # after the dusk weight is known and before the next dawn's
        weight -= income_kg * water * np.clip((since - 23) / 2, 0, 1)
    hive.series["weight"] = weight
    return hive.window()


# mass balance: nectar of 40 % sugar made into honey of 18 % water loses 1 - 0.40 / 0.82 of itself
@pytest.mark.parametrize(("sugar", "lost"), [(0.40, 0.5122), (0.20, 0.7561), (0.60, 0.2683)])
def test_income_and_ripening_are_those_of_the_nectar(made_up_hive, sugar, lost):
    assert lost == pytest.approx(1 - sugar / 0.82, abs=5e-5)
    daily = daily_of(nectar(made_up_hive, 2.0, lost))
    assert daily.rest_kg_per_h[8:11] == pytest.approx(EATEN_KG_PER_H, rel=0.05)
    assert daily.income_kg[8:11] == pytest.approx(2.0, abs=0.02)
    assert daily.ripening_kg[8:11] == pytest.approx(2.0 * lost, abs=0.02)
    assert daily.income_kg[REST_LEAST + 1 : 8] == pytest.approx(0.0, abs=0.01)
    assert daily.ripening_kg[REST_LEAST + 1 : 7] == pytest.approx(0.0, abs=0.01)
    assert np.isnan(daily.income_kg[:REST_LEAST]).all()


def test_the_coupling_is_the_slope_of_a_general_library(made_up_hive):
    hive = made_up_hive(days=5)
    hive.cool(hive.at(3, 0), 2.0)
    window = hive.window()
    daily, warmth, days = daily_of(window), warmth_of(window), days_of(window)
    told = 0
    for i in range(len(days)):
        at = (warmth.hour_s >= days.start_s[i]) & (warmth.hour_s < days.start_s[i + 1])
        at &= ~np.isnan(warmth.nest_h + warmth.ambient_h)
        if at.sum() < LEAST_HOURS:
            assert np.isnan(daily.coupling[i])
            continue
        known = linregress(warmth.ambient_h[at], warmth.nest_h[at])
        assert daily.coupling[i] == pytest.approx(known.slope, rel=1e-9)
        assert daily.coupling_error[i] == pytest.approx(known.stderr, rel=1e-9)
        told += 1
    assert told >= 4
    assert abs(daily.coupling[1]) < 0.1  # bees keep it
    assert daily.coupling[4] > 0.9  # nobody does


def test_the_balance_is_what_came_home_to_what_left(made_up_hive):
    hive = made_up_hive(days=3)
    window = hive.window()
    noon = np.array([hive.at(day, 12) for day in range(3)], np.int64)
    series = {
        **window.series,
        "bees-in": Series(noon, np.array([900.0, 1100.0, 5.0])),
        "bees-out": Series(noon, np.array([1000.0, 1000.0, 0.0])),
    }
    daily = daily_of(replace(window, series=series))
    assert daily.balance_bees[:3].tolist() == [-100.0, 100.0, 5.0]
    assert daily.balance[:2] == pytest.approx([-0.1, 0.1])
    assert np.isnan(daily.balance[2])


def test_what_is_not_measured_is_not_told(made_up_hive):
    daily = daily_of(made_up_hive(days=3).window(("nest",)))
    for name in ("income_kg", "ripening_kg", "coupling", "balance"):
        assert np.isnan(getattr(daily, name)).all()
