"""A later visit brought into the ensemble."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from plain import plain_days

from hivewatch.comb import CombCount
from hivewatch.comb.assimilate import INFLATION, assimilate, bring_in, compare, first_colony
from hivewatch.comb.colony import Colony
from hivewatch.comb.priors import Traits
from hivewatch.comb.start import EGGS_SEEN, Visit, in_field, start

DAY = date(2026, 6, 2)
GOOD = Visit(DAY, CombCount(3900, 7600, 15100), 30000)
NONE = np.zeros((0, 2000))  # no sensor


def drawn(members: int = 2000) -> tuple[Colony, Traits]:
    return start(GOOD, 1, plain_days(0.7), 52.0, members)


def bring(visit: Visit) -> tuple[Colony, Traits, bool]:
    colony, traits = drawn(200)
    after = bring_in(colony, traits, NONE[:, :200], visit, 1, plain_days(0.7), 52.0)
    return after[0], after[1], after[3]


def test_one_count_meets_the_closed_form() -> None:
    """Two normal opinions on the log scale join by their precisions."""
    colony, traits = drawn()
    seen = compare(colony, Visit(DAY, CombCount(eggs=6000, counting_error=0.1)))
    mine = np.log(EGGS_SEEN * colony.brood_class(0)[0])
    var, noise = (INFLATION * mine.std()) ** 2, 0.1**2 + 1 / 6000
    mean = (mine.mean() / var + np.log(6000) / noise) / (1 / var + 1 / noise)
    after, _, _ = assimilate(
        colony, traits, seen, np.random.default_rng(1), NONE[:, : colony.winter.shape[1]]
    )
    moved = np.log(EGGS_SEEN * after.brood_class(0)[0])
    assert moved.mean() == pytest.approx(mean, abs=0.01)
    assert moved.std() == pytest.approx((1 / var + 1 / noise) ** -0.5, rel=0.05)


def test_ages_stay_as_they_were() -> None:
    colony, traits = drawn(50)
    seen = compare(colony, Visit(DAY, CombCount(4200, 8000, 14000), 28000))
    after, _, _ = assimilate(
        colony, traits, seen, np.random.default_rng(1), NONE[:, : colony.winter.shape[1]]
    )
    for before, moved in ((colony.house, after.house), (colony.brood[9:], after.brood[9:])):
        shape = before / before.sum(axis=0)
        assert moved / moved.sum(axis=0) == pytest.approx(shape, rel=1e-4, abs=1e-7)


def test_a_count_of_bees_tells_of_brood_no_more_than_it_should() -> None:
    colony, traits = drawn()
    seen = compare(colony, Visit(DAY, None, 33000))
    after, _, _ = assimilate(
        colony, traits, seen, np.random.default_rng(1), NONE[:, : colony.winter.shape[1]]
    )
    assert np.log(after.adults).std() < 0.8 * np.log(colony.adults).std()
    assert after.brood_class(0).mean() == pytest.approx(colony.brood_class(0).mean(), rel=0.03)


def test_eggs_that_fell_are_taken_as_counted_and_nothing_starts_afresh() -> None:
    colony, traits, afresh = bring(Visit(DAY, CombCount(900, 7600, 15100), 30000))
    assert not afresh
    assert np.median(colony.brood_class(0)) == pytest.approx(900, rel=0.1)
    assert np.median(traits.laying) == pytest.approx(300, rel=0.15)
    assert np.median(colony.brood_class(2)) == pytest.approx(15100, rel=0.1)


def test_only_what_was_looked_for_goes_missing() -> None:
    before, _ = drawn(200)
    colony, traits, afresh = bring(Visit(DAY, CombCount(eggs=0)))
    assert not afresh
    assert colony.brood_class(0).max() == 0
    assert traits.laying.max() == 0
    assert np.array_equal(colony.brood_class(2), before.brood_class(2))
    assert np.array_equal(colony.adults, before.adults)


def test_half_the_bees_gone_starts_afresh_and_keeps_the_brood_it_was_not_told_of() -> None:
    before, _ = drawn(200)
    colony, _, afresh = bring(Visit(DAY, None, 9000))
    assert afresh
    assert np.median(colony.adults) == pytest.approx(9000, rel=0.1)
    assert np.array_equal(colony.brood, before.brood)


def test_a_visit_that_found_nothing_changes_nothing() -> None:
    colony, traits = drawn(20)
    bare = Colony(*(np.zeros_like(part) for part in vars(colony).values()))
    none = replace(traits, laying=np.zeros_like(traits.laying))
    seen = compare(bare, Visit(DAY, CombCount(0, 0, 0), 0))
    after, _, _ = assimilate(
        bare, none, seen, np.random.default_rng(1), NONE[:, : bare.winter.shape[1]]
    )
    assert after.adults.max() == 0
    assert after.brood.max() == 0


def test_a_count_at_noon_leaves_out_who_is_in_the_field() -> None:
    """A third of the foragers, by the hours of foraging a day of Prado et al. 2020."""
    colony, _ = drawn(200)
    foragers = float(np.median(colony.foragers.sum(axis=0)))
    away = in_field(Visit(DAY, None, 30000, hour=12.5), plain_days(0.7))
    assert away == pytest.approx(0.7 / 3)
    assert in_field(Visit(DAY, None, 30000, hour=6.0), plain_days(0.7)) == 0
    seen = compare(colony, Visit(DAY, None, 30000), away)
    there = np.exp(np.median(seen.log_members))
    assert there == pytest.approx(np.median(colony.adults) - away * foragers, rel=0.02)


def test_a_count_of_bees_tells_what_the_counter_makes_of_one() -> None:
    """Flights fixed the sum of both: who has more foragers has the counter that misses more."""
    colony, traits = drawn(1000)
    foragers = np.log(np.asarray(colony.foragers.sum(axis=0), np.float64))
    seen = compare(colony, Visit(DAY, None, 36000))
    _, _, own = assimilate(colony, traits, seen, np.random.default_rng(1), 9.0 - foragers)
    assert own.mean() < (9.0 - foragers).mean() - 0.02


def test_a_first_count_beside_its_brood_moves_towards_it_and_tells_how_long_bees_live() -> None:
    plenty = replace(GOOD, day=date(2026, 7, 10), adults=52000.0)
    few = replace(plenty, adults=26000.0)
    (many, long_lived), (less, short_lived) = (
        first_colony(one, 1, plain_days(0.7), 52.0, 400) for one in (plenty, few)
    )
    assert 26000 < np.median(less.adults) < np.median(many.adults) < 52000
    assert np.median(long_lived.forager_death) < np.median(short_lived.forager_death)
