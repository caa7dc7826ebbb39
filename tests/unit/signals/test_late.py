"""Whether a device has yet to send what another one has sent already."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.apiary import Hive, Yard
from hivewatch.signals.late import LATE_S, is_awaited, known_until_s
from hivewatch.signals.window import HiveWindow, Series

HOUR_S, NOW_S = 3600, 1_720_000_000


def window(**until_h: float) -> HiveWindow:
    """Give ten days of readings, each quantity up to so many hours before now."""
    series = {}
    for name, hours in until_h.items():
        time_s = np.arange(NOW_S - 240 * HOUR_S, NOW_S - int(hours * HOUR_S) + 1, 600)
        series[name.replace("_", "-")] = Series(time_s, np.ones(len(time_s)))
    yard = Yard(id="y", name="", latitude=52.0, longitude=0.0, timezone="UTC")
    hive = Hive(id="h", yard="y", frame="langstroth-deep", frames=10, boxes=1)
    return HiveWindow(hive, yard, NOW_S, series)


@pytest.mark.parametrize(
    ("late_h", "is_late"),
    [(0, False), (3, True), (2 * 24, True), (2 * 24 + 4, False)],
    ids=["there", "three hours", "two days", "silent long before"],
)
def test_a_device_heard_of_lately_is_awaited(late_h: float, *, is_late: bool) -> None:
    here = window(weight=0, bees_out=late_h)
    assert is_awaited(here, "bees-out", NOW_S - 2 * HOUR_S, NOW_S - HOUR_S) == is_late


def test_the_others_do_not_wait_for_ever() -> None:
    here = window(weight=0, bees_out=100)
    gone_s = NOW_S - 99 * HOUR_S
    assert gone_s + LATE_S <= NOW_S
    assert not is_awaited(here, "bees-out", gone_s, gone_s + HOUR_S)


def test_nobody_waits_for_what_was_never_there() -> None:
    assert not is_awaited(window(weight=0), "bees-out", NOW_S - HOUR_S, NOW_S)
    assert known_until_s(window(weight=0), "bees-out", "bees-in") is None


def test_what_belongs_together_is_known_up_to_the_later_one() -> None:
    here = window(bees_out=1, bees_in=5)
    assert known_until_s(here, "bees-out", "bees-in") == NOW_S - 5 * HOUR_S + 600
