"""Hives without a probe that their neighbours show to be empty, on made-up days."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from made_up_yard import YARD, cut, days_with

from hivewatch.detect import deserted
from hivewatch.detect.run import YARD_DETECTORS, is_of_yard
from hivewatch.signals.days import DAY_S, Days
from hivewatch.signals.steps import Step

COUNT, DAY = 40, 25
BEES = 60_000.0
LATER = np.arange(COUNT) > DAY
HOUR_S = 3600


def hive(seed: int, gain_kg: float = 1.0, *, counted: bool = True) -> Days:
    """Days of a hive without a probe, in the weather of the whole yard."""
    rng, weather = np.random.default_rng(seed), np.random.default_rng(99)
    sky = weather.normal(0, 0.15, COUNT)
    figures = {
        "day_kg": gain_kg + sky + rng.normal(0, 0.05, COUNT),
        "night_kg": 0.1 + 0.2 * max(gain_kg, 0.0) + rng.normal(0, 0.02, COUNT),
    }
    if counted:
        figures["bees_out"] = np.round(BEES * (1 + sky + rng.normal(0, 0.03, COUNT)))
        figures["bees_in"] = figures["bees_out"]
    return days_with(date(2026, 5, 1), COUNT, **figures)


def yard_of(hives: int = 4, seed: int = 0, **more: object) -> dict[str, Days]:
    return {f"hazel-{i}": hive(10 * seed + i, **more) for i in range(hives)}


def loss(one: Days, day: int, kg: float) -> Days:
    """Let bees leave a hive at noon."""
    noon_s = int(one.start_s[day]) + 12 * HOUR_S
    step = Step(noon_s, noon_s + 600, noon_s + 1500, 30.0, -kg, 0.02, 0.0, 0.0, -kg, -kg / 2, 3)
    at = np.arange(COUNT) == day
    return replace(one, steps=(*one.steps, step), step_kg=one.step_kg - np.where(at, kg, 0.0))


def emptied(one: Days, day: int = DAY, kg: float = 3.0) -> Days:
    """Let all bees leave a hive, which from then on weighs the same by day and by night."""
    later, rng = np.arange(COUNT) > day, np.random.default_rng(7)
    still = {
        name: np.where(later, rng.normal(0, 0.02, COUNT), getattr(one, name))
        for name in ("day_kg", "night_kg")
    }
    gone = {name: np.where(later, 0.0, getattr(one, name)) for name in ("bees_out", "bees_in")}
    left = replace(one, **still)
    return loss(replace(left, **gone) if not np.isnan(one.bees_out).all() else left, day, kg)


def known(days: Days, count: int) -> Days:
    """Give what is known at the midnight after the last of so many days."""
    part = cut(days, count)
    return replace(
        part,
        steps=tuple(step for step in days.steps if step.before_s < part.start_s[-1]),
        night_kg=np.where(np.arange(count) == count - 1, np.nan, part.night_kg),
    )


def find(days: dict[str, Days]):
    return deserted.find(YARD, days)


@pytest.mark.parametrize("counted", [True, False])
@pytest.mark.parametrize("seed", range(6))
def test_a_hive_that_all_bees_left_is_told_within_three_days(seed, counted):
    days = yard_of(seed=seed, counted=counted)
    days["hazel-1"] = emptied(days["hazel-1"])
    (one,) = find(days)
    left_s = int(days["hazel-1"].start_s[DAY]) + 12 * HOUR_S
    assert (one.kind, one.subject, one.status, one.end_s) == (
        "dead_out",
        "hive:hazel-1",
        "open",
        None,
    )
    assert 0 < one.start_s - left_s < DAY_S
    assert 0 < one.detected_s - left_s <= 3 * DAY_S
    assert is_of_yard(one)
    assert deserted in YARD_DETECTORS


@pytest.mark.parametrize("counted", [True, False])
def test_it_is_told_by_the_days_up_to_then_and_never_taken_back(counted):
    days = yard_of(counted=counted)
    days["hazel-1"] = emptied(days["hazel-1"])
    (one,) = find(days)
    told = [find({name: known(own, n) for name, own in days.items()}) for n in range(1, COUNT + 1)]
    first = next(n for n, found in enumerate(told) if found)
    assert all(found == [one] for found in told[first:])
    day = int(np.searchsorted(days["hazel-1"].start_s, one.detected_s, side="right")) - 1
    assert first == day


def test_a_swarm_leaves_bees_that_fly_bring_and_eat():
    for counted in (True, False):
        days = yard_of(counted=counted)
        own = days["hazel-1"]
        fewer = {
            "day_kg": np.where(LATER, 0.25 * own.day_kg, own.day_kg),
            "night_kg": np.where(LATER, 0.4 * own.night_kg, own.night_kg),
            "bees_out": np.where(LATER, 0.2 * own.bees_out, own.bees_out),
        }
        days["hazel-1"] = loss(replace(own, **fewer), DAY, 3.0)
        assert not find(days)


def test_the_scale_alone_tells_nothing_without_a_flow_nor_without_a_loss():
    days = yard_of(counted=False, gain_kg=0.1)
    days["hazel-1"] = emptied(days["hazel-1"])
    assert not find(days)
    days = yard_of(counted=False)
    days["hazel-1"] = replace(emptied(days["hazel-1"]), steps=(), step_kg=np.zeros(COUNT))
    assert not find(days)


def test_a_cast_leaves_a_weak_colony_and_a_harvest_a_strong_one():
    days = yard_of(counted=False)
    days["hazel-1"] = loss(emptied(days["hazel-1"], kg=1.0), DAY - 8, 2.5)
    assert not find(days)
    days = yard_of(counted=False)
    days["hazel-1"] = emptied(days["hazel-1"], kg=8.0)
    assert not find(days)


def test_a_weak_hive_that_had_no_part_in_the_flow_is_not_empty_for_that():
    days = yard_of(counted=False)
    own = emptied(days["hazel-1"], kg=1.5)
    days["hazel-1"] = replace(own, night_kg=np.minimum(own.night_kg, 0.05))
    assert not find(days)


def test_where_the_neighbours_stay_at_home_a_quiet_counter_tells_nothing():
    days = yard_of()
    rain = np.isin(np.arange(COUNT), (DAY + 1, DAY + 2, DAY + 3))
    days = {
        name: replace(one, bees_out=np.where(rain, 0.05 * one.bees_out, one.bees_out))
        for name, one in days.items()
    }
    own = days["hazel-1"]
    days["hazel-1"] = replace(own, bees_out=np.where(rain, 0.0, own.bees_out))
    assert not find(days)


def test_a_hive_that_gains_by_day_has_a_counter_that_does_not_count():
    days = yard_of()
    own = days["hazel-1"]
    days["hazel-1"] = replace(own, bees_out=np.where(LATER, 0.0, own.bees_out))
    assert not find(days)


def test_a_probe_or_the_air_beside_a_counter_knows_better():
    days = yard_of()
    own = emptied(days["hazel-1"])
    for name in ("nest_cel", "flying_h"):
        assert not find(days | {"hazel-1": replace(own, **{name: np.full(COUNT, 8.0)})})


def test_it_ends_when_bees_fly_again_and_one_hive_alone_tells_nothing():
    days = yard_of()
    own = emptied(days["hazel-1"])
    again = np.arange(COUNT) >= DAY + 8
    back = np.where(again, 20_000.0, own.bees_out)
    (one,) = find(days | {"hazel-1": replace(own, bees_out=back)})
    assert (one.status, one.end_s) == ("ended", int(own.start_s[DAY + 8]))
    assert not find({"hazel-1": own})
    assert not find({})
