"""Foragers that a hive and its neighbours miss together, on made-up days."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from made_up_yard import YARD, cut, days_with

from hivewatch.detect import unreturned
from hivewatch.detect.finding import Finding
from hivewatch.detect.run import YARD_DETECTORS, is_of_yard
from hivewatch.signals.days import Days

COUNT, DAY = 40, 25
BEES, RATIO = 60_000.0, 0.9
LATER = np.arange(COUNT) >= DAY
AT = np.arange(COUNT) == DAY


def hive(seed: int, gain_kg: float = 0.3, spread: float = 0.005) -> Days:
    """Days of a hive with a counter of its own bias, in the weather of the whole yard."""
    rng, weather = np.random.default_rng(seed), np.random.default_rng(99)
    sky = weather.normal(0, 0.15, COUNT)
    out = np.round(BEES * (1 + sky + rng.normal(0, 0.03, COUNT)))
    return days_with(
        date(2026, 5, 1),
        COUNT,
        day_kg=gain_kg + sky + rng.normal(0, 0.05, COUNT),
        night_kg=np.full(COUNT, 0.1),
        flying_h=np.full(COUNT, 9.0),
        bees_out=out,
        bees_in=np.round(out * (RATIO + rng.normal(0, spread, COUNT))),
    )


def yard_of(hives: int = 4, seed: int = 0, **more: float) -> dict[str, Days]:
    return {f"hazel-{i}": hive(10 * seed + i, **more) for i in range(hives)}


def lose(
    days: Days, bees: float = 1800.0, share: float = 0.6, kg: float = 0.4, until: int = COUNT
) -> Days:
    """Let bees stay away on a day, and so many times the flights leave from then on."""
    fewer = np.where(LATER & (np.arange(COUNT) < until), share, 1.0)
    return replace(
        days,
        bees_out=days.bees_out * fewer,
        bees_in=days.bees_in * fewer - np.where(AT, bees, 0.0),
        day_kg=days.day_kg - np.where(AT, kg, 0.0),
    )


def find(days: dict[str, Days]) -> list[Finding]:
    return unreturned.find(YARD, days)


@pytest.mark.parametrize("hives", [2, 4])
def test_three_witnesses_tell_it_on_the_evening_of_the_day_after(hives) -> None:
    for seed in range(5):
        yard = yard_of(hives, seed)
        assert find(yard) == []
        yard["hazel-1"] = lose(yard["hazel-1"])
        (one,) = find(yard)
        assert one.subject == "hive:hazel-1"
        assert yard["hazel-1"].start_s[DAY] < one.start_s < yard["hazel-1"].start_s[DAY + 1]
        assert one.detected_s == yard["hazel-1"].dusk_s[DAY + 1]
        assert one.measures["bees_lost"] == pytest.approx(1800, rel=0.3)
        assert one.measures["traffic_beside_yard"] == pytest.approx(0.6, abs=0.15)
        assert is_of_yard(one)


def test_any_two_of_them_alone_do_not() -> None:
    for seed in range(5):
        yard = yard_of(seed=seed)
        for loss in ({"bees": 0.0}, {"share": 1.0}, {"kg": -0.2}, {"until": DAY + 1}):
            assert find(yard | {"hazel-1": lose(yard["hazel-1"], **loss)}) == []


@pytest.mark.parametrize("figure", ["bees_out", "day_kg"])
def test_what_strays_so_far_by_itself_is_none(figure) -> None:
    """Patches that begin and end: such a hive has flown, or gained, as little before."""
    for seed in range(5):
        yard = yard_of(seed=seed)
        patches = np.where(AT | np.roll(AT, -1), 0.0, np.resize([0.4, -0.4, -0.3, 0.3], COUNT))
        mine = yard["hazel-1"]
        if figure == "bees_out":
            times = np.exp(patches)
            mine = replace(mine, bees_out=mine.bees_out * times, bees_in=mine.bees_in * times)
        else:
            mine = replace(mine, day_kg=mine.day_kg + patches)
        assert find(yard | {"hazel-1": lose(mine)}) == []


def test_what_comes_slowly_is_a_colony_that_dwindles() -> None:
    yard = yard_of()
    slowly = np.interp(np.arange(COUNT), [DAY - 8, DAY], [1.0, 0.6])
    poor = lose(yard["hazel-1"], share=1.0)
    yard["hazel-1"] = replace(poor, bees_out=poor.bees_out * slowly, bees_in=poor.bees_in * slowly)
    assert find(yard) == []


def test_a_poor_day_of_the_whole_yard_is_none() -> None:
    assert find({name: lose(days) for name, days in yard_of().items()}) == []


def test_a_swarm_or_a_visit_on_that_day_is_another_matter() -> None:
    yard = yard_of()
    step_kg = np.where(AT, -0.6, 0.0)
    yard["hazel-1"] = replace(lose(yard["hazel-1"]), step_kg=step_kg)
    assert find(yard) == []


def test_what_the_hive_tells_by_itself_is_not_told_twice() -> None:
    yard = yard_of()
    yard["hazel-1"] = lose(yard["hazel-1"], bees=9000.0, kg=1.2)
    assert find(yard) == []


def test_nobody_is_asked_who_is_not_weighed_and_counted() -> None:
    none = np.full(COUNT, np.nan)
    yard = yard_of(2)
    yard["hazel-1"] = lose(yard["hazel-1"])
    for missing in ("bees_out", "day_kg"):
        assert find({name: replace(days, **{missing: none}) for name, days in yard.items()}) == []
    assert find({"hazel-1": yard["hazel-1"]}) == []
    assert find({}) == []


@pytest.mark.parametrize("count", [DAY + 1, DAY + 2, DAY + 6])
def test_what_is_told_stands_when_the_season_goes_on(count) -> None:
    yard = yard_of()
    yard["hazel-1"] = lose(yard["hazel-1"])
    then = find({name: cut(days, count) for name, days in yard.items()})
    assert then == (find(yard) if count > DAY + 1 else [])


def test_the_yards_look_asks_it() -> None:
    assert unreturned in YARD_DETECTORS
