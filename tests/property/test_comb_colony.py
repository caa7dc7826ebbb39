"""What holds for every colony and every day."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hivewatch.comb.colony import Colony, Ledger, Rates, empty_colony, move_on
from hivewatch.comb.priors import draw_noise, draw_traits
from hivewatch.comb.rates import Day, advance_one_day


def random_colony(rng: np.random.Generator) -> Colony:
    empty = empty_colony(2, 3, np.float64)
    return Colony(*(rng.gamma(0.5, 800, part.shape) for part in vars(empty).values()))


def balances(before: Colony, after: Colony, ledger: Ledger, rel: float) -> None:
    assert after.adults == pytest.approx(before.adults + ledger.emerged - ledger.died, rel=rel)
    assert after.brood.sum(axis=0) == pytest.approx(
        before.brood.sum(axis=0) + ledger.laid - ledger.brood_lost - ledger.emerged, rel=rel
    )
    for part in vars(after).values():
        assert part.min() >= 0


@given(st.integers(0, 2**32), st.floats(0, 1), st.floats(0, 3000))
@settings(max_examples=100, deadline=None)
def test_no_rates_lose_a_bee_or_make_one(seed: int, most: float, laid: float) -> None:
    rng = np.random.default_rng(seed)
    colony = random_colony(rng)
    shapes = {
        "brood_loss": colony.brood.shape,
        "house_death": colony.house.shape,
        "recruit": colony.house.shape,
        "forager_death": colony.foragers.shape,
    }
    rates = Rates(
        **{
            name: rng.uniform(0, most, shapes.get(name, colony.winter.shape))
            for name in Rates.__dataclass_fields__
        }
    )
    after, ledger = move_on(colony, np.full((2, 3), laid), rates)
    balances(colony, after, ledger, 1e-9)


@given(
    st.integers(0, 2**32), st.floats(0, 1), st.floats(0, 10), st.floats(0, 1), st.floats(0.8, 1.2)
)
@settings(max_examples=60, deadline=None)
def test_no_weather_loses_a_bee_or_makes_one(
    seed: int, flying: float, flow: float, winter: float, growth: float
) -> None:
    colony = random_colony(np.random.default_rng(seed))
    noise = draw_noise([seed % 1000, 5], date(2026, 5, 1) + timedelta(days=seed % 97), 3)
    traits = draw_traits(np.full((2, 3), 900.0), 3 * noise)
    day = Day(*(np.full((1, 1), value) for value in (flying, flow, winter, growth)))
    after, _, ledger = advance_one_day(colony, traits, day, 3 * noise)
    balances(colony, after, ledger, 1e-6)
