"""Robbers seen twice, by a hive's weight and by its counter, on made-up days."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from made_up_yard import days_with

from hivewatch.signals.beside import side_by_side
from hivewatch.signals.days import Days
from hivewatch.signals.raids import LOAD_KG, raided_kg

COUNT, DAY = 30, 20
BEES = 50_000.0


def hive(kg: float = -0.2, seed: int = 0, **more: np.ndarray) -> Days:
    """Days of a dearth, on which as many bees fly as on every other."""
    day_kg = kg + np.random.default_rng(seed).normal(0, 0.02, COUNT)
    known = {"day_kg": day_kg, "night_kg": np.full(COUNT, 0.1), "flying_h": np.full(COUNT, 9.0)}
    counts = {"bees_out": np.full(COUNT, BEES), "bees_in": np.full(COUNT, 0.9 * BEES)}
    return days_with(date(2026, 7, 20), COUNT, **(known | counts | more))


def rob(days: Days, kg: float, bees: float | None = None, day: int = DAY) -> Days:
    """Carry so much off on a day, by as many robbers as that takes."""
    robbers = kg / LOAD_KG if bees is None else bees
    at = np.arange(COUNT) == day
    return replace(
        days,
        day_kg=days.day_kg - np.where(at, kg, 0.0),
        bees_out=days.bees_out + np.where(at, robbers, 0.0),
    )


def raided(own: Days, *others: Days) -> np.ndarray:
    return raided_kg(side_by_side([own, *(others or (hive(seed=1), hive(seed=2)))]), 0)


def test_both_witnesses_tell_what_was_carried_off() -> None:
    told = raided(rob(hive(), 0.6))
    assert told[DAY] == pytest.approx(0.6, abs=0.1)
    assert (np.delete(told, DAY)[5:] <= 0).all()


@pytest.mark.parametrize("share", [0.0, 0.3, 6.0])
def test_as_many_bees_must_have_come_as_could_carry_it(share) -> None:
    assert raided(rob(hive(), 0.6, share * 0.6 / LOAD_KG))[DAY] <= 0


def test_one_neighbour_is_enough_and_nobody_counting_is_not() -> None:
    assert raided(rob(hive(), 0.6), hive(seed=1))[DAY] == pytest.approx(0.6, abs=0.1)
    none = np.full(COUNT, np.nan)
    assert np.isnan(raided(replace(rob(hive(), 0.6), bees_out=none))).all()


def test_a_neighbour_that_loses_as_much_denies_it() -> None:
    assert raided(rob(hive(), 0.6), hive(seed=1), rob(hive(seed=2), 0.8, 0.0))[DAY] <= 0


def test_who_loses_hardly_more_than_one_of_two_neighbours_is_not_robbed() -> None:
    assert raided(rob(hive(), 0.6), hive(seed=1), rob(hive(seed=2), 0.52, 0.0))[DAY] <= 0


def test_in_a_flow_a_hive_without_a_part_in_it_is_not_robbed() -> None:
    rich = np.where(np.arange(COUNT) >= DAY, 1.5, 0.3)
    others = [hive(seed=seed, day_kg=rich + 0.01 * seed) for seed in (1, 2)]
    assert raided(rob(hive(), 0.2, 40_000.0), *others)[DAY] <= 0


def test_neighbours_that_starve_do_not_make_a_hive_busy() -> None:
    fewer = np.interp(np.arange(COUNT), [DAY - 4, DAY], [BEES, 0.5 * BEES])
    others = [hive(seed=1), *(hive(seed=seed, bees_out=fewer) for seed in (2, 3))]
    assert raided(rob(hive(), 0.6, 0.0), *others)[DAY] <= 0


def test_where_the_others_stay_at_home_nobody_robs() -> None:
    still = np.where(np.arange(COUNT) == DAY, 0.3 * BEES, BEES)
    others = [hive(seed=seed, bees_out=still) for seed in (1, 2)]
    assert raided(rob(hive(), 0.6, 0.0), *others)[DAY] <= 0


def test_who_brings_as_much_as_ever_is_not_robbed() -> None:
    """The others have found something: the hive loses nothing of its own."""
    rich = np.where(np.arange(COUNT) == DAY, 0.8, 0.2)
    others = [hive(seed=seed, day_kg=rich + 0.01 * seed) for seed in (1, 2)]
    own = rob(hive(0.2), 0.0, 20_000.0)
    assert raided(own, *others)[DAY] <= 0


def test_fresh_nectar_that_dries_is_not_carried_off() -> None:
    """After a great flow a hive loses much by night as well, and by day in spite of its gain."""
    wet = hive(-0.2, night_kg=np.full(COUNT, 0.5))
    assert raided(rob(wet, 0.6))[DAY] <= 0
    assert raided(rob(hive(), 0.6))[DAY] > 0


def test_a_hive_that_was_ahead_and_falls_to_the_others_is_not_robbed() -> None:
    assert raided(rob(hive(0.3), 0.5))[DAY] <= 0


def test_a_day_rests_on_itself_and_on_days_before() -> None:
    days = rob(hive(), 0.6)
    later = np.arange(COUNT) > DAY
    other = replace(days, day_kg=np.where(later, -3.0, days.day_kg))
    same = slice(0, DAY + 1)
    np.testing.assert_array_equal(raided(days)[same], raided(other)[same])
