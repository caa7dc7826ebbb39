"""A hive's days turned into what the colony model takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from hivewatch.comb.laying_told import Told
from hivewatch.comb.sensed import (
    DAWN_DAY_ERROR,
    DAWN_ERROR,
    DAWN_FLYING,
    FULL_DAY_H,
    RAIN_HALVES_MM,
    Sensed,
    against_usual,
    sensed_of,
)
from hivewatch.detect.finding import Finding
from hivewatch.signals.dawn import DawnDepartures
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.season import usual_flying

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
    told = [log for log, _ in sensed.flights.values()]
    assert told == pytest.approx([usual] * len(told))
    assert set(sensed.flying.values()) == {0.5}


def test_rain_keeps_bees_at_home(days: Days) -> None:
    wet = replace(days, rain_mm=np.full(len(days), RAIN_HALVES_MM))
    assert set(sensed_of(wet, [], ZONE, days.day[-1]).flying.values()) == {0.25}


def test_the_day_under_way_says_nothing_yet(days: Days) -> None:
    sensed = sensed_of(days, [], ZONE, days.day[-1])
    assert max(sensed.flying) == days.day[-2]


def test_a_hive_without_a_sensor_says_nothing(days: Days) -> None:
    nothing = np.full(len(days), np.nan)
    kept = ("bees_out", "flying_h", "rain_mm", "day_kg", "nest_cel")
    bare = replace(days, **dict.fromkeys(kept, nothing))
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


def test_departures_at_dawn_of_a_week_are_one_sign_and_poor_weather_is_none(days: Days) -> None:
    n = len(days)
    dawn = made_up_dawn(n, bees=np.full(n, 3000.0), error=np.full(n, 300.0))
    poor = replace(days, flying_h=np.full(n, DAWN_FLYING * FULL_DAY_H - 1))
    sensed = sensed_of(days, [], ZONE, days.day[-1], dawn)
    assert sensed.dawn
    for log, error in sensed.dawn.values():
        assert log == pytest.approx(np.log(3000.0))
        assert DAWN_ERROR < error < np.hypot(DAWN_DAY_ERROR, 0.15)
    assert not sensed_of(poor, [], ZONE, days.day[-1], dawn).dawn
    none = made_up_dawn(n, bees=np.full(n, np.nan), error=np.full(n, np.nan))
    assert not sensed_of(days, [], ZONE, days.day[-1], none).dawn


def made_up_dawn(n: int, bees: np.ndarray, error: np.ndarray) -> DawnDepartures:
    nothing = {one.name: np.full(n, np.nan) for one in fields(DawnDepartures)}
    return DawnDepartures(**{**nothing, "bees": bees, "error_bees": error, "reason": ("",) * n})


def test_a_season_that_flies_twice_as_much_goes_on_so_where_nobody_measures() -> None:
    may = [date(2026, 5, 1) + timedelta(days=n) for n in range(28)]
    usual = {day: usual_flying(day, 50.0) for day in may}
    assert against_usual(Sensed(flying=usual), 50.0) == pytest.approx(1.0)
    twice = Sensed(flying={day: 2 * part for day, part in usual.items()})
    assert 1.7 < against_usual(twice, 50.0) < 2.0
    assert against_usual(Sensed(), 50.0) == 1.0


@pytest.mark.parametrize(
    ("kind", "measures", "says"),
    [
        ("queen_trouble", {"laying": "stopped"}, ("stopped", 0)),
        ("queen_trouble", {"laying": "failing"}, ("failing", 0)),
        ("brood_end", {"before_cel": 34.4}, ("stopped", 18)),
        ("brood_end", {"before_cel": 30.1}, None),  # by degrees, as in autumn
        ("brood_end", {"before_cel": None}, None),
        ("brood_onset", {}, ("begun", 3)),
    ],
)
def test_findings_say_of_laying_what_ended_failed_or_began(days, kind, measures, says) -> None:
    start, told = (datetime(2026, 6, day, 9, tzinfo=ZONE) for day in (1, 20))
    at_s = [int(one.timestamp()) for one in (start, told)]
    one = Finding(kind, "hive:x", at_s[0], None, at_s[1], 0.8, measures)
    laying = sensed_of(days, [one], ZONE, days.day[-1]).laying
    expected = []
    if says is not None:
        what, before_d = says
        expected = [Told(what, start.date() - timedelta(days=before_d), told.date(), 0.8)]
    assert list(laying) == expected
