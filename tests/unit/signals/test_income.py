"""What the best of flows brings, told from what a hand puts on."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.detect import handling
from hivewatch.signals.days import days_of
from hivewatch.signals.steps import moves_of, steps_of

KG_A_DAY, FROM_H, FOR_H = 7.0, 11.0, 6.0


def in_a_great_flow(made_up_hive, step_s):
    """Let seven kilograms come in each day, between eleven and five."""
    hive = made_up_hive(step_s=step_s, days=6)
    for day in range(6):
        since_h = (hive.time_s - hive.at(day, FROM_H)) / 3600
        hive.series["weight"] += KG_A_DAY * np.clip(since_h / FOR_H, 0.0, 1.0)
    return hive


@pytest.mark.parametrize("step_s", [900, 1800, 3600])
def test_a_day_of_a_great_flow_is_a_gain_and_no_step(made_up_hive, limits, step_s):
    window = in_a_great_flow(made_up_hive, step_s).window(("weight",))
    assert steps_of(window) == []
    assert days_of(window).gain_kg[1:4] == pytest.approx(KG_A_DAY + 0.5, abs=0.1)
    assert handling.find(window, (), limits) == []


@pytest.mark.parametrize("step_s", [900, 1800, 3600])
def test_a_box_put_on_meanwhile_is_a_step(made_up_hive, step_s):
    hive = in_a_great_flow(made_up_hive, step_s)
    hive.add(hive.at(2, 13.2), 8.0)
    steps = steps_of(hive.window(("weight",)))
    assert len(steps) == 1
    assert steps[0].before_s <= hive.at(2, 13.2) <= steps[0].after_s
    assert steps[0].size_kg == pytest.approx(8.0, abs=0.3)


def test_a_gain_by_night_or_all_at_once_stays_a_step(made_up_hive):
    hive = made_up_hive(step_s=3600, days=6)
    weight = hive.series["weight"]
    weight += 5.0 * np.clip((hive.time_s - hive.at(2, 23)) / (5 * 3600), 0.0, 1.0)  # snow
    hive.add(hive.at(4, 12.5), 5.0)
    window = hive.window(("weight",))
    assert steps_of(window) == [one for one in moves_of(window) if one.is_lasting]
    assert len(steps_of(window)) == 2
