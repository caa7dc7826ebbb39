"""A hive's days turned into what the colony model takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from hivewatch.comb.sensed import FULL_DAY_H, RAIN_HALVES_MM, Sensed, sensed_of
from hivewatch.detect.finding import Finding
from hivewatch.signals.days import Days, days_of

ZONE = ZoneInfo("Europe/London")
GAIN_KG = 0.5


@pytest.fixture
def days(made_up_hive: Callable) -> Days:
    plain = days_of(made_up_hive(days=10, flow_kg=GAIN_KG).window())
    n = len(plain)
    out, warm = np.full(n, 60000.0), np.full(n, FULL_DAY_H / 2)
    return replace(plain, bees_out=out, flying_h=warm, rain_mm=np.zeros(n))


def test_flights_are_counted_by_the_hour_of_flying_weather(days: Days) -> None:
    sensed = sensed_of(days, [], ZONE, days.day[-1])
    assert sensed.flights
    usual = np.log(60000 / (FULL_DAY_H / 2))
    assert list(sensed.flights.values()) == pytest.approx([usual] * len(sensed.flights))
    assert set(sensed.flying.values()) == {0.5}


def test_rain_keeps_bees_at_home(days: Days) -> None:
    wet = replace(days, rain_mm=np.full(len(days), RAIN_HALVES_MM))
    assert set(sensed_of(wet, [], ZONE, days.day[-1]).flying.values()) == {0.25}


def test_the_day_under_way_says_nothing_yet(days: Days) -> None:
    sensed = sensed_of(days, [], ZONE, days.day[-1])
    assert max(sensed.flying) == days.day[-2]


def test_a_hive_without_a_sensor_says_nothing(days: Days) -> None:
    nothing = np.full(len(days), np.nan)
    bare = replace(days, bees_out=nothing, flying_h=nothing, rain_mm=nothing, day_kg=nothing)
    sensed = sensed_of(bare, [], ZONE, days.day[-1])
    assert sensed == Sensed()


def test_a_swarm_falls_on_its_local_day(days: Days) -> None:
    """Half past midnight in summer time is the evening before by universal time."""
    start = int(datetime(2026, 5, 21, 0, 30, tzinfo=ZONE).timestamp())
    left = {"bees_left": 16000.0, "bees_error": 3200.0}
    swarm = Finding("swarm", "hive:h", start, start, start, 0.9, left)
    lost = Finding("forager_loss", "hive:h", start, start, start, 0.9, {"bees_lost": 900.0})
    sensed = sensed_of(days, [swarm, lost], ZONE, date(2026, 6, 1))
    assert sensed.swarms == {date(2026, 5, 21): (16000.0, 0.2)}
    assert sensed.losses == {date(2026, 5, 21): 900.0}
