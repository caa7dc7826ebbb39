"""A hive whose brood goes in late summer, beside neighbours that keep theirs, on made-up days."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from made_up_yard import YARD, cut, days_with

from hivewatch.detect import broodless
from hivewatch.detect.finding import Finding
from hivewatch.detect.run import YARD_DETECTORS, is_of_yard
from hivewatch.signals.days import Days

COUNT, DAY = 60, 35
FIRST = date(2026, 8, 1)  # the 35th day is the 5th of September
EACH = np.arange(COUNT)
COOL_CEL = 26.0


def hive(seed: int) -> Days:
    """Days of a weighed hive with brood, in shortening light."""
    rng = np.random.default_rng(seed)
    made = days_with(
        FIRST,
        COUNT,
        nest_cel=34.6 + rng.normal(0, 0.15, COUNT),
        ambient_cel=16.0 + rng.normal(0, 1.5, COUNT),
        dawn_kg=np.full(COUNT, 35.0),
    )
    light_s = 3600 * np.linspace(14.9, 11.4, COUNT)
    noon_s = made.start_s[:-1] + 12.5 * 3600
    return replace(made, rise_s=noon_s - light_s / 2, set_s=noon_s + light_s / 2)


def yard_of(hives: int = 4, seed: int = 0) -> dict[str, Days]:
    return {f"hazel-{i}": hive(10 * seed + i) for i in range(hives)}


def emptied(days: Days, day: int = DAY, lasts: int = COUNT, over_d: float = 4.0) -> Days:
    """Let the brood go over some days, and be back after some more."""
    part = np.clip((EACH - day + 1) / over_d, 0, 1) * (day + lasts > EACH)
    return replace(days, nest_cel=days.nest_cel + part * (COOL_CEL - 34.6))


def find(days: dict[str, Days]) -> list[Finding]:
    return broodless.find(YARD, days)


@pytest.mark.parametrize("hives", [3, 6])
@pytest.mark.parametrize("over_d", [1.0, 4.0, 6.0])
def test_a_nest_that_goes_weeks_before_the_others_is_told_within_days(hives, over_d) -> None:
    for seed in range(5):
        yard = yard_of(hives, seed)
        assert find(yard) == []
        yard["hazel-1"] = emptied(yard["hazel-1"], over_d=over_d)
        (one,) = find(yard)
        begun_s = int(yard["hazel-1"].start_s[DAY])
        assert (one.kind, one.subject, one.status) == ("queen_trouble", "hive:hazel-1", "open")
        assert begun_s + 3 * 86_400 <= one.detected_s <= begun_s + 6 * 86_400
        assert abs(one.start_s - (begun_s - 18 * 86_400)) <= 3 * 86_400
        assert one.measures["nests_with_brood"] == hives - 1
        assert is_of_yard(one)


def test_of_two_hives_nobody_can_say_which_is_early() -> None:
    yard = yard_of(2)
    assert find(yard | {"hazel-1": emptied(yard["hazel-1"])}) == []


def test_an_autumn_that_comes_to_several_is_no_trouble() -> None:
    yard = yard_of()
    some = {name: emptied(yard[name]) for name in ("hazel-1", "hazel-2")}
    assert find(yard | some) == []


def test_before_late_summer_and_after_the_equinox_it_is_left_to_others() -> None:
    yard = yard_of()
    assert find(yard | {"hazel-1": emptied(yard["hazel-1"], day=20, lasts=4)}) == []
    assert find(yard | {"hazel-1": emptied(yard["hazel-1"], day=54)}) == []


def test_it_ends_when_the_nest_is_warm_again_or_the_others_are_cool_too() -> None:
    yard = yard_of()
    warm = yard | {"hazel-1": emptied(yard["hazel-1"], lasts=12)}
    assert [one.end_s for one in find(warm)] == [yard["hazel-0"].start_s[DAY + 14]]
    cool = {name: emptied(one, day=DAY + 10) for name, one in yard.items()}
    (one,) = find(cool | {"hazel-1": emptied(yard["hazel-1"])})
    assert one.end_s is not None
    assert DAY + 9 <= np.searchsorted(yard["hazel-0"].start_s, one.end_s) <= DAY + 14


def test_a_hive_on_the_ground_or_without_bees_is_another_matter() -> None:
    yard = yard_of()
    cold = emptied(yard["hazel-1"], over_d=2.0)
    fell = np.where(EACH == DAY, -30.0, 0.0)
    assert find(yard | {"hazel-1": replace(cold, step_kg=fell)}) == []
    gone = np.where(EACH > DAY, 2.0, 35.0)
    assert find(yard | {"hazel-1": replace(cold, dawn_kg=gone)}) == []
    dead = np.where(EACH >= DAY, cold.ambient_cel + 0.5, cold.nest_cel)
    assert find(yard | {"hazel-1": replace(cold, nest_cel=dead)}) == []


def test_a_lid_that_is_off_for_days_chills_and_is_not_a_queen() -> None:
    yard = yard_of()
    chilled = emptied(yard["hazel-1"], lasts=6, over_d=1.0)
    off = np.where(EACH == DAY, -2.5, 0.0)
    assert find(yard | {"hazel-1": replace(chilled, step_kg=off)}) == []
    nobody_weighs = replace(chilled, step_kg=np.full(COUNT, np.nan))
    assert find(yard | {"hazel-1": nobody_weighs}) == []


def test_what_was_told_stays_as_more_days_come() -> None:
    yard = yard_of()
    yard["hazel-1"] = emptied(yard["hazel-1"])
    (last,) = find(yard)
    told = [find({name: cut(one, n) for name, one in yard.items()}) for n in range(20, COUNT)]
    first = next(found[0] for found in told if found)
    assert (first.start_s, first.detected_s) == (last.start_s, last.detected_s)
    assert all(len(found) <= 1 for found in told)


def test_it_is_asked_of_every_yard() -> None:
    assert broodless in YARD_DETECTORS
