"""Swarms that a counter alone sees: on made-up counts, nothing of the simulators."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from hivewatch.detect import swarm
from hivewatch.detect.finding import Finding
from hivewatch.signals.outpour import outpours_of

DAY, HOUR = 6, 12.5
COUNTED = ("bees-in", "bees-out")
WARMED = (*COUNTED, "nest")


def counted(made_up_hive: Callable, step_s: int = 600, ratio: float = 0.95) -> object:
    """Give an ordinary week: a bee a second at noon, `ratio` of them counted when they come."""
    hive = made_up_hive(step_s=step_s, days=9)
    of_day = (hive.time_s - hive.at(0, 0)) / 3600 % 24
    rate = np.clip(np.sin((of_day - 5) / 14 * np.pi), 0, None) * step_s
    rng = np.random.default_rng(7)
    hive.series["bees-out"] = rng.poisson(rate).astype(float)
    hive.series["bees-in"] = rng.poisson(rate * ratio).astype(float)
    return hive


def pour(hive: object, bees: int, name: str, at_s: int, minutes: float = 10) -> None:
    """Let so many more bees be counted, evenly."""
    share = np.clip((hive.time_s - at_s) / (60 * minutes), 0, 1)
    hive.series[name] += np.diff(share, prepend=0) * bees


def warm_up(hive: object, at_s: int) -> None:
    hive.series["nest"][(hive.time_s > at_s - 1200) & (hive.time_s <= at_s + 600)] += 2.0


def found(hive: object, limits: object, quantities: tuple[str, ...] = COUNTED) -> list[Finding]:
    return swarm.find(hive.window(quantities), [], limits)


@pytest.mark.parametrize("step_s", [60, 300, 900, 1800])
@pytest.mark.parametrize("bees", [12_000, 20_000])
def test_a_counter_alone_tells_a_swarm_and_its_bees(
    made_up_hive: Callable, limits: object, step_s: int, bees: int
) -> None:
    hive = counted(made_up_hive, step_s)
    at_s = hive.at(DAY, HOUR)
    pour(hive, bees, "bees-out", at_s)
    (one,) = found(hive, limits)
    assert abs(one.start_s - at_s) <= max(600, step_s)
    assert one.measures["bees_left"] == pytest.approx(bees, rel=0.15)
    assert one.detected_s <= at_s + 600 + max(1200, 2 * step_s)
    early = swarm.find(hive.window(COUNTED, until_s=one.detected_s), [], limits)
    assert [again.detected_s for again in early] == [one.detected_s]
    assert swarm.find(hive.window(COUNTED, until_s=one.detected_s - 1), [], limits) == []


def test_a_cast_needs_the_nest(made_up_hive: Callable, limits: object) -> None:
    hive = counted(made_up_hive)
    at_s = hive.at(DAY, HOUR)
    pour(hive, 5_000, "bees-out", at_s)
    assert found(hive, limits) == []
    warm_up(hive, at_s)
    (one,) = found(hive, limits, WARMED)
    assert one.detected_s <= at_s + 600 + 600


def test_a_nest_that_stayed_as_it_was_denies_it(made_up_hive: Callable, limits: object) -> None:
    hive = counted(made_up_hive)
    pour(hive, 12_000, "bees-out", hive.at(DAY, HOUR))
    assert len(found(hive, limits)) == 1
    assert found(hive, limits, WARMED) == []


def test_first_flights_come_back(made_up_hive: Callable, limits: object) -> None:
    hive = counted(made_up_hive, 300)
    for day in range(9):
        pour(hive, 4_000, "bees-out", hive.at(day, 13), minutes=15)
        pour(hive, 4_000, "bees-in", hive.at(day, 13.2), minutes=15)
    assert found(hive, limits) == []


def test_a_swarm_that_comes_home_is_taken_back(made_up_hive: Callable, limits: object) -> None:
    hive = counted(made_up_hive)
    at_s = hive.at(DAY, HOUR)
    pour(hive, 15_000, "bees-out", at_s)
    pour(hive, 14_000, "bees-in", at_s + 3600)
    assert len(swarm.find(hive.window(COUNTED, until_s=at_s + 3000), [], limits)) == 1
    assert found(hive, limits) == []


def test_foragers_let_out_by_the_sun_fly_on(made_up_hive: Callable, limits: object) -> None:
    hive = counted(made_up_hive)
    at_s = hive.at(DAY, HOUR)
    kept_in = (hive.time_s > hive.at(DAY, 4)) & (hive.time_s <= at_s)
    for name in COUNTED:
        hive.series[name][kept_in] = 2
    pour(hive, 10_000, "bees-out", at_s)
    assert found(hive, limits) == []


@pytest.mark.parametrize("ratio", [0.8, 0.9, 1.1])
def test_a_counter_s_bias_is_no_swarm(made_up_hive: Callable, limits: object, ratio: float) -> None:
    assert found(counted(made_up_hive, ratio=ratio), limits) == []


def test_where_a_scale_is_at_work_it_is_asked(made_up_hive: Callable) -> None:
    hive = counted(made_up_hive)
    pour(hive, 12_000, "bees-out", hive.at(DAY, HOUR))
    assert outpours_of(hive.window(COUNTED))
    assert outpours_of(hive.window((*COUNTED, "weight"))) == []
