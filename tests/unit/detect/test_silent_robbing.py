"""Silent robbing, which only the neighbours' gain shows, on made-up days."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from made_up_yard import YARD, cut, days_with

from hivewatch.detect import silent_robbing
from hivewatch.detect.finding import Finding
from hivewatch.detect.run import YARD_DETECTORS, rests_on_yard
from hivewatch.signals.days import Days
from hivewatch.signals.raids import LOAD_KG
from hivewatch.signals.robbed import robbed_days
from hivewatch.signals.steps import Step

FIRST = date(2026, 7, 1)
COUNT = 50


def hive(weather, *, strength=1.0, seed=0, noise_kg=0.05, flying_h=9.0) -> Days:
    """Make days that follow the yard's weather, by the colony's strength."""
    rng = np.random.default_rng(seed)
    n = len(weather)
    day_kg = strength * weather + rng.normal(0, noise_kg, n)
    return days_with(FIRST, n, day_kg=day_kg, flying_h=np.full(n, flying_h))


def a_yard(*, mean_kg=0.1, hives=4, seed=0, **more) -> dict[str, Days]:
    rng = np.random.default_rng(seed)
    weather = rng.normal(mean_kg, 0.25, COUNT)
    return {
        f"hazel-{i}": hive(weather, strength=0.7 + 0.2 * i, seed=10 * seed + i, **more)
        for i in range(hives)
    }


def rob(days: Days, first: int, last: int, kg: float) -> Days:
    taken = np.zeros(len(days))
    taken[first:last] = kg
    return replace(days, day_kg=days.day_kg - taken)


def counted(days: Days, bees: float, from_day: int = COUNT, share: float = 1.0) -> Days:
    """Let a counter see so many bees go out, and a share of them from some day on."""
    late = np.arange(len(days)) >= from_day
    return replace(days, bees_out=np.where(late, share * bees, bees))


def day_of(days: dict[str, Days], time_s: float) -> int:
    return int(np.searchsorted(days["hazel-1"].start_s, time_s, side="right")) - 1


def find(days: dict[str, Days]) -> list[Finding]:
    return silent_robbing.find(YARD, days)


def test_half_a_kilogram_a_day_is_told_in_days() -> None:
    for seed in range(5):
        yard = a_yard(seed=seed)
        yard["hazel-1"] = rob(yard["hazel-1"], 25, 40, 0.6)
        (one,) = find(yard)
        assert one.subject == "hive:hazel-1"
        assert 23 <= day_of(yard, one.start_s) <= 28
        assert 26 <= day_of(yard, one.detected_s) <= 30
        assert 38 <= day_of(yard, one.end_s) <= 45
        assert one.measures["kg_behind_yard"] == pytest.approx(0.6, abs=0.25)
        assert rests_on_yard(one)


def test_with_a_counter_it_is_told_in_days() -> None:
    for seed in range(5):
        yard = {name: counted(days, 50_000) for name, days in a_yard(seed=seed).items()}
        yard["hazel-1"] = rob(yard["hazel-1"], 25, 40, 0.6)
        (one,) = find(yard)
        assert 24 <= day_of(yard, one.start_s) <= 27
        assert day_of(yard, one.detected_s) <= 28


def test_a_counter_that_counted_nobody_is_as_good_as_none() -> None:
    yard = {name: counted(days, 50_000) for name, days in a_yard().items()}
    yard["hazel-1"] = counted(rob(yard["hazel-1"], 25, 40, 0.8), 0)
    (one,) = find(yard)
    assert day_of(yard, one.detected_s) <= 30


def counted_yard(mean_kg: float = -0.1, hives: int = 4, seed: int = 0) -> dict[str, Days]:
    """Make a yard in even weather, every hive with a counter."""
    weather = np.random.default_rng(seed).normal(mean_kg, 0.03, COUNT)
    return {
        f"hazel-{i}": counted(hive(weather, seed=10 * seed + i, noise_kg=0.03), 50_000)
        for i in range(hives)
    }


def with_robbers(days: Days, first: int, last: int, kg: float) -> Days:
    """Take so much a day, and let the counter see the robbers who carry it."""
    at = (np.arange(len(days)) >= first) & (np.arange(len(days)) < last)
    robbed = rob(days, first, last, kg)
    return replace(robbed, bees_out=robbed.bees_out + np.where(at, kg / LOAD_KG, 0.0))


@pytest.mark.parametrize("hives", [2, 4])
@pytest.mark.parametrize(("kg", "latest"), [(0.6, 26), (0.4, 28)])
def test_robbers_that_are_counted_tell_it_within_days(kg, latest, hives) -> None:
    for seed in range(5):
        yard = counted_yard(hives=hives, seed=seed)
        assert find(yard) == []
        yard["hazel-1"] = with_robbers(yard["hazel-1"], 25, 40, kg)
        (one,) = find(yard)
        assert 25 <= day_of(yard, one.start_s) <= day_of(yard, one.detected_s) <= latest


def test_neighbours_that_swarmed_tell_nothing_of_how_many_fly() -> None:
    yard = counted_yard()
    fewer = np.where(np.arange(COUNT) >= 22, 0.5, 1.0)
    step_kg = np.where(np.arange(COUNT) == 22, -2.0, 0.0)
    for name in ("hazel-0", "hazel-2", "hazel-3"):
        one = yard[name]
        yard[name] = replace(one, bees_out=one.bees_out * fewer, step_kg=step_kg)
    strong = rob(yard["hazel-1"], 25, 28, 0.6)
    assert find(yard | {"hazel-1": strong}) == []


def test_while_the_others_bring_what_is_carried_off_is_told_as_well() -> None:
    """A flow of half a kilogram a day, and one hive loses as much, with robbers at its door."""
    yard = counted_yard(0.5)
    yard["hazel-1"] = with_robbers(yard["hazel-1"], 25, 29, 1.0)
    (one,) = find(yard)
    assert (one.subject, day_of(yard, one.detected_s)) == ("hive:hazel-1", 25)


@pytest.mark.parametrize(("kg", "share", "told"), [(0.6, 0.9, 1), (0.1, 0.9, 0), (0.6, 0.6, 0)])
def test_fewer_bees_bring_less_but_lose_nothing_unless_they_are_lost(kg, share, told) -> None:
    """In a dearth a weaker colony brings nothing less than nothing; bees that die weigh, too."""
    yard = {name: counted(days, 50_000) for name, days in a_yard(mean_kg=-0.2).items()}
    yard = {name: replace(days, night_kg=np.full(COUNT, 0.1)) for name, days in yard.items()}
    robbed = rob(yard["hazel-1"], 25, 45, kg)
    yard["hazel-1"] = counted(robbed, 50_000, from_day=25, share=share)
    assert len(find(yard)) == told


def test_a_day_on_which_no_neighbour_flew_says_nothing_of_flight() -> None:
    yard = {name: counted(days, 50_000) for name, days in a_yard().items()}
    rainy = np.arange(len(yard["hazel-1"])) == 20
    yard = {
        name: replace(one, bees_out=np.where(rainy, 0, one.bees_out)) for name, one in yard.items()
    }
    assert find(yard) == []
    yard["hazel-1"] = rob(yard["hazel-1"], 25, 40, 0.8)
    assert len(find(yard)) == 1


def test_a_hive_whose_bees_grow_fewer_brings_less_and_is_not_robbed() -> None:
    yard = {name: counted(days, 50_000) for name, days in a_yard().items()}
    yard["hazel-1"] = counted(rob(yard["hazel-1"], 25, 45, 0.6), 50_000, from_day=25, share=0.6)
    assert find(yard) == []


def test_a_neighbour_whose_bees_dwindle_hides_no_loss_of_bees() -> None:
    yard = counted_yard(-0.2, hives=3)
    yard["hazel-1"] = counted(rob(yard["hazel-1"], 25, 45, 0.5), 50_000, from_day=25, share=0.8)
    assert find(yard) == []
    yard["hazel-2"] = counted(yard["hazel-2"], 50_000, from_day=20, share=0.1)
    assert find(yard) == []


@pytest.mark.parametrize(("kg", "told"), [(2.0, 1), (0.9, 0)])
def test_in_a_flow_a_hive_may_fall_behind_but_not_lose_more_than_it_eats(kg, told) -> None:
    for seed in range(5):
        yard = counted_yard(0.6, seed=seed)
        yard["hazel-1"] = rob(yard["hazel-1"], 25, 26, kg)
        yard = {name: replace(one, night_kg=np.full(COUNT, 0.3)) for name, one in yard.items()}
        assert [day_of(yard, one.detected_s) for one in find(yard)] == [25] * told


def test_a_flow_that_a_hive_misses_is_no_robbing() -> None:
    for seed in range(5):
        yard = a_yard(seed=seed, mean_kg=-0.1)
        missed = yard["hazel-0"]
        yard = {name: rob(days, 25, 45, -0.6) for name, days in yard.items()}
        assert find(yard | {"hazel-0": missed}) == []


def test_foragers_that_come_home_at_once_blind_nobody() -> None:
    """Small steps are part of the day's gain: a strong hive has one every other day."""
    yard = a_yard(hives=3)
    small = tuple(
        Step(at, at + 600, at + 1200, 40.0, 0.6, 0.02, 0.0, 0.0, 0.6, 0.6, 0)
        for at in (int(one) + 15 * 3600 for one in yard["hazel-2"].start_s[:-1:2])
    )
    step_kg = np.zeros(COUNT)
    step_kg[::2] = 0.6
    strong = yard["hazel-2"]
    day_kg = strong.day_kg - step_kg
    yard["hazel-2"] = replace(strong, steps=small, step_kg=step_kg, day_kg=day_kg)
    yard["hazel-0"] = rob(yard["hazel-0"], 25, 40, 0.6)
    assert [one.subject for one in find(yard)] == ["hive:hazel-0"]


def test_after_a_swarm_a_hive_is_another_one() -> None:
    yard = a_yard()
    step_kg = np.zeros(COUNT)
    step_kg[15] = -2.0
    yard["hazel-1"] = replace(rob(yard["hazel-1"], 25, 40, 0.6), step_kg=step_kg)
    assert find(yard) == []


def test_a_dearth_of_the_whole_yard_is_none() -> None:
    for seed in range(10):
        yard = {name: rob(days, 25, 45, 0.5) for name, days in a_yard(seed=seed).items()}
        assert find(yard) == []


def test_a_hive_that_was_always_weaker_is_none() -> None:
    for seed in range(10):
        yard = a_yard(seed=seed, mean_kg=0.3)
        yard["hazel-0"] = rob(yard["hazel-0"], 0, COUNT, 0.5)
        assert find(yard) == []


def test_what_goes_in_two_days_is_left_to_the_hives_own_weight() -> None:
    yard = a_yard()
    yard["hazel-1"] = rob(yard["hazel-1"], 25, 27, 2.5)
    assert find(yard) == []


def test_after_a_visit_nothing_is_told_for_some_days() -> None:
    yard = a_yard()
    robbed = rob(yard["hazel-1"], 25, 28, 0.6)
    step_kg = np.zeros(COUNT)
    step_kg[25] = 5.0
    yard["hazel-1"] = replace(robbed, step_kg=step_kg)
    assert find(yard) == []


def test_one_other_hive_tells_it_later_and_one_alone_never() -> None:
    for seed in range(5):
        yard = a_yard(hives=4, seed=seed)
        yard["hazel-1"] = rob(yard["hazel-1"], 25, 40, 0.6)
        (soon,) = find(yard)
        (late,) = find({name: yard[name] for name in ("hazel-0", "hazel-1")})
        assert soon.detected_s <= late.detected_s
        assert day_of(yard, late.detected_s) >= 26
        assert find({"hazel-1": yard["hazel-1"]}) == []
    assert find({}) == []


def test_a_poor_day_where_nobody_counts_is_no_silent_robbing() -> None:
    """Some thousand bees may have stayed out: that is a matter of one day."""
    for seed in range(5):
        yard = a_yard(seed=seed)
        yard["hazel-1"] = rob(yard["hazel-1"], 25, 26, 0.5)
        assert find(yard) == []


def test_a_heavy_loss_beside_neighbours_that_gain_is_told_on_its_day() -> None:
    """By its own days it is no robbing yet: only the yard tells that a fine day was lost."""
    for seed in range(5):
        yard = a_yard(seed=seed, mean_kg=0.5)
        yard["hazel-1"] = rob(yard["hazel-1"], 25, 29, 1.9)
        yard = {
            name: replace(one, bees_out=np.full(COUNT, 5e4), bees_in=np.full(COUNT, 4.5e4))
            for name, one in yard.items()
        }
        found = find(yard)
        loud = np.flatnonzero(robbed_days(yard["hazel-1"]))
        told = [day_of(yard, one.detected_s) for one in found] or loud.tolist()
        assert told[0] in (25, 26)


def test_a_hive_that_starves_loses_by_night_as_well_and_is_not_robbed() -> None:
    for seed in range(5):
        yard = {
            name: replace(days, night_kg=np.full(COUNT, 0.1))
            for name, days in a_yard(seed=seed).items()
        }
        poor = rob(yard["hazel-1"], 25, 40, 0.4)
        assert find(yard | {"hazel-1": poor})
        by_night = np.where(np.arange(COUNT) >= 25, 0.3, 0.1)
        assert find(yard | {"hazel-1": replace(poor, night_kg=by_night)}) == []


def test_what_the_hives_own_weight_tells_is_not_told_twice() -> None:
    yard = a_yard()
    yard["hazel-1"] = rob(rob(yard["hazel-1"], 25, 26, 2.5), 26, 35, 0.5)
    assert robbed_days(yard["hazel-1"])[25]
    assert find(yard) == []


def test_a_yard_whose_hives_differ_today_tells_little() -> None:
    """What lies between the others is no robbing of one of them."""
    for seed in range(5):
        yard = a_yard(seed=seed)
        for at, name in enumerate(yard):
            yard[name] = rob(yard[name], 25, 40, 0.1 * at)
        assert find(yard) == []


def test_a_scale_without_a_living_hive_is_no_neighbour() -> None:
    days = a_yard(hives=2)
    days["hazel-0"] = rob(days["hazel-0"], 25, 40, 0.6)
    still = hive(np.zeros(COUNT), noise_kg=0.01)
    assert find(days | {"hazel-8": still, "hazel-9": still}) == find(days)
    assert find({"hazel-0": days["hazel-0"], "hazel-8": still, "hazel-9": still}) == []


def test_days_without_flight_do_not_count() -> None:
    yard = a_yard(flying_h=1.0)
    yard["hazel-1"] = rob(yard["hazel-1"], 25, 40, 0.6)
    assert find(yard) == []


@pytest.mark.parametrize("count", [33, 37, 42])
def test_what_is_told_stands_when_the_season_goes_on(count) -> None:
    yard = a_yard()
    yard["hazel-1"] = rob(yard["hazel-1"], 25, 40, 0.6)
    (whole,) = find(yard)
    (part,) = find({name: cut(days, count) for name, days in yard.items()})
    assert (part.start_s, part.detected_s) == (whole.start_s, whole.detected_s)
    assert part.measures == whole.measures


def test_the_yards_look_asks_it() -> None:
    assert silent_robbing in YARD_DETECTORS
    assert not rests_on_yard(Finding("robbing", "hive:hazel-1", 0, None, 0, 0.9))


def test_in_an_even_yard_with_counters_the_first_day_tells_it() -> None:
    for seed in range(5):
        yard = counted_yard(seed=seed)
        yard["hazel-1"] = with_robbers(yard["hazel-1"], 25, 35, 0.5)
        (one,) = find(yard)
        assert day_of(yard, one.start_s) == day_of(yard, one.detected_s) == 25


@pytest.mark.parametrize("night_kg", [0.15, 0.4])
def test_a_hive_that_eats_more_falls_behind_when_the_flow_ends_and_is_not_robbed(night_kg) -> None:
    """Its nights tell what it eats and dries, before and after: a little, or as in a great flow."""
    for seed in range(5):
        weather = np.where(np.arange(COUNT) < 25, 1.0, -0.3)
        yard = {
            f"hazel-{i}": replace(
                hive(weather, seed=10 * seed + i, noise_kg=0.03), night_kg=np.full(COUNT, night_kg)
            )
            for i in range(4)
        }
        strong = yard["hazel-1"]
        more = np.where(np.arange(COUNT) < 25, 0.3, -0.4)
        assert find(yard | {"hazel-1": replace(strong, day_kg=strong.day_kg + more)})
        by_night = np.full(COUNT, night_kg + 0.3)
        hungry = replace(strong, day_kg=strong.day_kg + more, night_kg=by_night)
        assert find(yard | {"hazel-1": hungry}) == []


def test_bees_that_stayed_away_are_not_what_robbers_took() -> None:
    for seed in range(5):
        yard = counted_yard(seed=seed)
        poor = rob(yard["hazel-1"], 25, 26, 0.5)
        back = np.full(COUNT, 45_000.0)
        assert find(yard | {"hazel-1": replace(poor, bees_in=back)})
        back[25] -= 5000
        assert find(yard | {"hazel-1": replace(poor, bees_in=back)}) == []


def test_rain_that_came_to_one_hive_by_night_dries_by_day() -> None:
    for seed in range(5):
        yard = counted_yard(seed=seed)
        poor = rob(yard["hazel-1"], 25, 26, 0.45)
        yard = {name: replace(one, night_kg=np.full(COUNT, 0.05)) for name, one in yard.items()}
        assert find(yard | {"hazel-1": replace(poor, night_kg=np.full(COUNT, 0.05))})
        wet_kg = np.where(np.arange(COUNT) == 24, -0.5, 0.05)
        assert find(yard | {"hazel-1": replace(poor, night_kg=wet_kg)}) == []
