"""Bees pouring out are known before all have gone: on made-up hives, nothing of the simulators."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from hivewatch.detect import swarm
from hivewatch.signals.exodus import BEE_KG, exodus_of

DAY, HOUR = 5, 12.5  # 13:30 British summer time
COUNTED = ("weight", "nest", "ambient", "bees-in", "bees-out")


def lived(
    made_up_hive: Callable, step_s: int, kg: float, minutes: float, *, share: float = 1.0
) -> object:
    """Give an ordinary season in which so much leaves, and the counter sees a share of it."""
    hive = made_up_hive(step_s=step_s)
    hive.add(hive.at(DAY, HOUR), -kg, minutes=minutes)
    of_day = (hive.time_s - hive.at(0, 0)) / 3600 % 24
    rate = np.clip(np.sin((of_day - 5) / 14 * np.pi), 0, None) * 60 * step_s / 60
    rng = np.random.default_rng(7)
    hive.series["bees-out"] = rng.poisson(rate).astype(float)
    hive.series["bees-in"] = rng.poisson(rate * 0.95).astype(float)
    at_s = hive.at(DAY, HOUR)
    gone = np.clip((hive.time_s - at_s) / (60 * minutes), 0, 1)
    hive.series["bees-out"] += np.diff(gone, prepend=0) * share * kg / BEE_KG
    return hive


@pytest.mark.parametrize("kg", [1.0, 2.0, 3.2])
@pytest.mark.parametrize("step_s", [60, 300, 900])
def test_a_swarm_is_told_no_later_than_its_last_bee_and_one_reading(
    made_up_hive: Callable, limits: object, step_s: int, kg: float
) -> None:
    hive = lived(made_up_hive, step_s, kg, 10)
    over_s = hive.at(DAY, HOUR) + 600 + step_s
    (one,) = swarm.find(hive.window(COUNTED), [], limits)
    assert one.detected_s <= over_s
    assert one.measures["kg_lost"] == pytest.approx(kg, rel=0.15)


@pytest.mark.parametrize("step_s", [60, 300])
def test_it_is_told_from_its_first_reading_on_and_never_taken_back(
    made_up_hive: Callable, limits: object, step_s: int
) -> None:
    hive = lived(made_up_hive, step_s, 2.2, 12)
    (last,) = swarm.find(hive.window(COUNTED), [], limits)
    for moment_s in range(last.detected_s, last.detected_s + 3 * 3600, step_s):
        (one,) = swarm.find(hive.window(COUNTED, until_s=moment_s), [], limits)
        assert one.detected_s == last.detected_s
        assert abs(one.start_s - last.start_s) <= 900
    assert swarm.find(hive.window(COUNTED, until_s=last.detected_s - 1), [], limits) == []
    soon = hive.window(COUNTED, until_s=last.detected_s)
    assert swarm.find(soon, [], limits)[0].measures["kg_lost"] < last.measures["kg_lost"] + 0.1


def test_what_the_counter_sees_little_of_is_not_told_before_it_is_over(
    made_up_hive: Callable,
) -> None:
    hive = lived(made_up_hive, 60, 2.2, 10, share=0.4)
    assert exodus_of(hive.window(COUNTED)) == []


def test_foragers_that_leave_in_an_hour_are_no_exodus(made_up_hive: Callable) -> None:
    hive = lived(made_up_hive, 60, 1.2, 60)
    assert exodus_of(hive.window(COUNTED)) == []


def test_bees_that_were_kept_in_are_no_exodus(made_up_hive: Callable) -> None:
    hive = lived(made_up_hive, 60, 1.0, 20)
    kept_in = (hive.time_s > hive.at(DAY, 4)) & (hive.time_s <= hive.at(DAY, HOUR))
    for name in ("bees-in", "bees-out"):
        hive.series[name][kept_in] = 1
    assert exodus_of(hive.window(COUNTED)) == []


def test_it_needs_scale_and_counter(made_up_hive: Callable) -> None:
    hive = lived(made_up_hive, 300, 2.2, 10)
    assert exodus_of(hive.window(COUNTED))
    assert exodus_of(hive.window(("weight", "bees-out"))) == []
    assert exodus_of(hive.window(("bees-in", "bees-out"))) == []
    assert exodus_of(hive.window(("weight", "nest"))) == []
