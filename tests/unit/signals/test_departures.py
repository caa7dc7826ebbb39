"""When only a counter tells who left: where the scale was at rest."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.apiary import Hive, Yard
from hivewatch.signals.departures import departures_of, is_weighed
from hivewatch.signals.window import HiveWindow, Series

START_S = 1_778_112_000  # 2026-05-07T00:00:00Z
HOUR_S = 3600
YARD = Yard("hazel-end", "Hazel End", 52.2, 0.12, "Europe/London")
HIVE = Hive("hazel-1", "hazel-end", "langstroth-deep", 10, 1, None)


def a_swarm_at_noon(rest_h: tuple[float, float]) -> HiveWindow:
    """Give three days of a counter that sees 12,000 bees go, and of a scale that rests."""
    time_s = START_S + np.arange(0, 72 * HOUR_S, 300, dtype=np.int64)
    hour = (time_s - START_S) / HOUR_S
    went = np.where((hour >= 36) & (hour < 36.25), 4000.0, 20.0)
    is_weighed = (hour < rest_h[0]) | (hour >= rest_h[1])
    series = {
        "weight": Series(time_s[is_weighed], np.full(int(is_weighed.sum()), 40.0)),
        "bees-out": Series(time_s, went),
        "bees-in": Series(time_s, np.full(len(time_s), 20.0)),
    }
    return HiveWindow(HIVE, YARD, int(time_s[-1]), series)


@pytest.mark.parametrize(
    ("rest_h", "is_always"),
    [((0, 0), True), ((35, 37), True), ((33, 40), False), ((0, 40), False), ((33, 72), False)],
)
def test_a_counter_is_asked_who_left_only_where_the_scale_was_at_rest(rest_h, is_always) -> None:
    window = a_swarm_at_noon(rest_h)
    assert is_weighed(window) == is_always
    assert bool(departures_of(window)) != is_always


def test_without_a_counter_nobody_is_asked() -> None:
    window = a_swarm_at_noon((33, 40))
    weight = {"weight": window.of("weight")}
    assert is_weighed(HiveWindow(HIVE, YARD, window.as_of_s, weight))
