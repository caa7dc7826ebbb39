"""The colony's cohorts: exact where exactness is possible."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from plain import plain_day

from hivewatch.comb.colony import Colony, Rates, empty_colony, move_on
from hivewatch.comb.priors import DRIFTING, FORAGER_DEATH, Traits, draw_noise, draw_traits
from hivewatch.comb.rates import Day, advance_one_day

ZERO = np.zeros((1, 1))
DAY = date(2026, 5, 1)


def rates(**more: np.ndarray) -> Rates:
    plain = dict.fromkeys(Rates.__dataclass_fields__, ZERO)
    return Rates(**(plain | more))


def test_steady_laying_fills_the_comb_as_1_to_2_to_4() -> None:
    """Eggs 3, open 6, capped 12 days: common practice, no source."""
    colony = empty_colony(1, 2, np.float64)
    laid = np.array([[1500.0, 333.0]])
    for _ in range(21):
        colony, ledger = move_on(colony, laid, rates())
        assert ledger.emerged.sum() == 0
    for place, days in enumerate((3, 6, 12)):
        assert colony.brood_class(place) == pytest.approx(days * laid)
    colony, ledger = move_on(colony, laid, rates())
    assert ledger.emerged == pytest.approx(laid)


def test_an_egg_is_a_bee_after_21_days_and_no_sooner() -> None:
    colony = empty_colony(1, 1, np.float64)
    colony, _ = move_on(colony, np.array([[1000.0]]), rates())
    emerged = []
    for _ in range(25):
        colony, ledger = move_on(colony, ZERO, rates())
        emerged.append(float(ledger.emerged[0, 0]))
    assert emerged.index(1000.0) == 20
    assert sum(emerged) == 1000.0
    assert colony.adults[0, 0] == 1000.0


def test_constant_rates_reach_the_closed_form_age_by_age() -> None:
    """n(age) = E prod(1 - d - r); the last age and the foragers are geometric sums."""
    rng = np.random.default_rng(4)
    members = 50
    laid = rng.uniform(500, 2000, (1, members))
    loss = rng.uniform(0.0, 0.01, (1, members))
    death = rng.uniform(0.001, 0.02, (1, members))
    recruit = 0.3 / (1 + np.exp(-(np.arange(40.0) - 20)))[:, None, None] * np.ones((1, 1, members))
    forager_death = rng.uniform(0.03, 0.3, (1, members))
    colony = empty_colony(1, members, np.float64)
    here = rates(brood_loss=loss, house_death=death, recruit=recruit, forager_death=forager_death)
    for _ in range(1200):
        colony, _ = move_on(colony, laid, here)
    emerging = laid * (1 - loss) ** 21
    stay = 1 - death - recruit
    house = np.empty_like(colony.house)
    house[0] = emerging
    for age in range(1, 40):
        house[age] = house[age - 1] * stay[age - 1]
    house[-1] /= 1 - stay[-1]
    recruits = (house * recruit).sum(axis=0)
    assert colony.house == pytest.approx(house, rel=1e-10)
    assert colony.foragers.sum(axis=0) == pytest.approx(recruits / forager_death, rel=1e-10)
    assert colony.adults.mean() == pytest.approx(
        (house.sum(axis=0) + recruits / forager_death).mean(), rel=1e-10
    )
    assert colony.brood[20] == pytest.approx(laid * (1 - loss) ** 20)


def test_winter_bees_live_half_a_year() -> None:
    """At 0.004 a day (Martin 2001) half of them are left after 173 days."""
    colony = empty_colony(1, 1, np.float64)
    colony.winter[:] = 12000
    for _ in range(173):
        colony, _ = move_on(colony, ZERO, rates(winter_death=np.full((1, 1), 0.004)))
    assert colony.winter[0, 0] == pytest.approx(6000, rel=0.01)


def summer(laying: float, members: int, flying: float = 1.0, days: int = 250) -> Colony:
    noise = draw_noise([7], DAY, members)
    traits = draw_traits(np.full((1, members), laying, np.float32), noise)
    colony = empty_colony(1, members)
    for _ in range(days):
        colony, traits, _ = advance_one_day(colony, traits, plain_day(flying))
    return colony


@pytest.mark.parametrize("laying", [1500.0, 1750.0, 2000.0])
def test_a_good_queen_ends_at_50_000_to_70_000_bees(laying: float) -> None:
    """Common practice, no source; own choice: seven hours of flight in the mean day."""
    assert 50_000 <= float(np.median(summer(laying, 400, 0.6).adults)) <= 70_000


def test_a_flow_draws_house_bees_out_and_brood_keeps_them_in() -> None:
    noise = np.zeros((5, 1, 1), np.float32)
    traits = draw_traits(np.full((1, 1), 1500, np.float32), noise)
    base = summer(1500, 1)
    flow = Day(*(np.full((1, 1), v, np.float32) for v in (1.0, 2.0, 0.0, 1.0)))
    in_flow = advance_one_day(base, traits, flow)[2].recruited
    plain = advance_one_day(base, traits, plain_day())[2].recruited
    brood = base.brood.copy()
    brood[3:9] *= 2
    nursing = Colony(brood, base.house, base.foragers, base.winter)
    held = advance_one_day(nursing, traits, plain_day())[2].recruited
    assert in_flow > 1.5 * plain
    assert held < 0.8 * plain


def test_foragers_beyond_their_share_hold_house_bees_back() -> None:
    """The sign of Khoury et al. 2011: fewer go out where foragers are many, more where few."""
    traits = draw_traits(np.full((1, 1), 1500, np.float32), np.zeros((5, 1, 1), np.float32))
    base = summer(1500, 1)
    many, few = (replace(base, foragers=base.foragers * part) for part in (2.0, 0.3))
    out = [advance_one_day(one, traits, plain_day())[2].recruited for one in (many, base, few)]
    assert out[0] < 0.9 * out[1] < 0.9 * 0.9 * out[2]


def test_the_oldest_foragers_are_gone_before_winter() -> None:
    """Common practice, no source: summer bees do not see the winter, though they do not fly."""
    colony = summer(1500, 1)
    traits = draw_traits(np.zeros((1, 1), np.float32), np.zeros((5, 1, 1), np.float32))
    first = colony.foragers.sum()
    for _ in range(90):
        colony, _, _ = advance_one_day(colony, traits, plain_day(0.0))
    assert colony.foragers.sum() < 0.15 * (first + summer(1500, 1).house.sum())


def test_bees_without_brood_to_feed_become_winter_bees_sooner() -> None:
    """None by a season that has none, all by one that has all; else the less brood the more."""
    traits = draw_traits(np.full((1, 1), 1000, np.float32), np.zeros((5, 1, 1), np.float32))
    base = summer(1500, 1)
    idle = replace(base, brood=np.concatenate([0 * base.brood[:9], base.brood[9:]]))

    def winter(colony: Colony, share: float) -> float:
        day = Day(*(np.full((1, 1), v, np.float32) for v in (0.5, 0.0, share, 1.0)))
        return float(advance_one_day(colony, traits, day)[0].winter.sum())

    assert winter(idle, 0.3) > 1.5 * winter(base, 0.3) > 0
    assert winter(idle, 0.0) == winter(base, 0.0) == 0
    assert winter(base, 1.0) == pytest.approx(winter(idle, 1.0))


def test_foragers_live_longer_where_they_cannot_fly() -> None:
    fine, poor = summer(1500, 1, 1.0), summer(1500, 1, 0.4)
    assert poor.foragers.sum() > 1.8 * fine.foragers.sum()


def test_what_members_suppose_wanders_within_its_prior() -> None:
    seeds, members = [1, 2], 400
    traits = draw_traits(np.full((2, members), 1000, np.float32), draw_noise(seeds, DAY, members))
    colony = empty_colony(2, members)
    for day in range(1, 200):
        colony, traits, _ = advance_one_day(
            colony, traits, plain_day(), draw_noise(seeds, DAY + timedelta(days=day), members)
        )
    log = np.log(traits.forager_death / FORAGER_DEATH.median)
    assert abs(float(log.mean())) < 0.05
    assert float(log.std()) == pytest.approx(FORAGER_DEATH.spread, rel=0.1)


def test_neighbours_order_and_restart_change_nothing() -> None:
    members = 20

    def run(seeds: list[int], split: int) -> tuple[Colony, Traits]:
        colony = empty_colony(len(seeds), members)
        traits = draw_traits(
            np.full((len(seeds), members), 1000, np.float32), draw_noise(seeds, DAY, members)
        )
        for day in range(1, 60):
            if day == split:  # as from the store
                colony = Colony(
                    *(np.array(part.tolist(), part.dtype) for part in vars(colony).values())
                )
                traits = Traits(
                    *(np.array(getattr(traits, n).tolist(), np.float32) for n in DRIFTING)
                )
            noise = draw_noise(seeds, DAY + timedelta(days=day), members)
            colony, traits, _ = advance_one_day(colony, traits, plain_day(), noise)
        return colony, traits

    many, _ = run(list(range(70)), 0)
    few, _ = run([69, 3], 31)
    assert np.array_equal(many.adults[69], few.adults[0])
    assert np.array_equal(many.adults[3], few.adults[1])
    assert many.adults.max() > 0
