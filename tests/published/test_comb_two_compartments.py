"""The cohorts, made constant, against a published model of house bees and foragers.

Khoury D. S., Myerscough M. R., Barron A. B. (2011) A quantitative model of honey bee colony
population dynamics. PLoS ONE 6(4): e18491. Equations:
    dH/dt = L N / (w + N) - H R,  dF/dt = H R - m F,  R = alpha - sigma F / N,  N = H + F
with L = 2000, w = 27000, alpha = 0.25, sigma = 0.75. The table and the critical death rate below
are computed from the closed forms of these equations (the paper's abstract states the threshold;
its rounded value, 0.355 a day, is from memory).

Integer vector: a university lab on this paper (craighuggins/CITS2401-Labs): H0 = F0 = 1, L = 1000,
w = 80, m = 0.4, ten days, rounded to whole bees every day.
"""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.comb.colony import Colony, Rates, empty_colony, move_on

ALPHA, SIGMA = 0.25, 0.75
TABLE = np.array(
    [
        # m, house bees, foragers, recruitment
        [0.10, 31721.13, 12408.19, 0.03912],
        [0.154, 16840.83, 5943.67, 0.05435],
        [0.20, 10261.32, 3351.92, 0.06533],
        [0.24, 6470.04, 1987.76, 0.07373],
        [0.30, 2542.17, 718.31, 0.08477],
        [0.35, 208.81, 55.37, 0.09281],
    ]
)
CRITICAL = 0.355196689


def constant(zero: np.ndarray, recruitment: np.ndarray, house_to: np.ndarray, m: np.ndarray):
    """Rates of the two compartments; recruitment below zero sends foragers back."""
    return Rates(
        brood_loss=zero,
        house_death=zero,
        forager_death=m,
        winter_death=zero,
        recruit=np.maximum(recruitment, 0.0),
        revert=np.maximum(-recruitment, 0.0) * house_to,
        winter_recruit=zero,
        winter_share=zero,
    )


def step(colony: Colony, m: np.ndarray, eggs: float, half: float, *, brood: bool) -> Colony:
    house, foragers = colony.house.sum(axis=0), colony.foragers.sum(axis=0)
    bees = house + foragers
    recruitment = ALPHA - SIGMA * foragers / np.maximum(bees, 1e-12)
    laid = eggs * bees / (half + bees)
    if not brood:  # the model has none: an egg is a bee
        colony = Colony(colony.brood * 0, colony.house, colony.foragers, colony.winter)
        colony.brood[-1] = laid
        laid = laid * 0
    zero = np.zeros((1, 1))
    rates = constant(zero, recruitment, house / np.maximum(foragers, 1e-12), m)
    return move_on(colony, laid, rates)[0]


def start(house: float, foragers: float, members: int) -> Colony:
    colony = empty_colony(1, members, np.float64)
    colony.house[0], colony.foragers[0] = house, foragers
    return colony


@pytest.mark.parametrize("brood", [False, True])
def test_the_equilibrium_is_met_with_and_without_three_weeks_of_brood(*, brood: bool) -> None:
    """Started a tenth away; tolerance 2e-3: what is left of that after 14,000 days at m = 0.35.

    1 / recruitment is the mean age at which they begin to forage: 25.6 days at 0.10, 10.8 at 0.35.
    """
    m = TABLE[:, 0][None]
    colony = empty_colony(1, m.size, np.float64)
    colony.house[0], colony.foragers[0] = 1.1 * TABLE[:, 1], 0.9 * TABLE[:, 2]
    if brood:
        bees = colony.adults
        colony.brood[:] = 2000 * bees / (27000 + bees)
    for _ in range(14000):
        colony = step(colony, m, 2000, 27000, brood=brood)
    house, foragers = colony.house.sum(axis=0)[0], colony.foragers.sum(axis=0)[0]
    assert house == pytest.approx(TABLE[:, 1], rel=2e-3)
    assert foragers == pytest.approx(TABLE[:, 2], rel=2e-3)
    assert ALPHA - SIGMA * foragers / (house + foragers) == pytest.approx(TABLE[:, 3], abs=2e-5)


def test_the_critical_death_rate_parts_living_from_dying() -> None:
    """Closed form recomputed; 0.5 % below it lives at its small equilibrium, 0.5 % above dies."""
    ratio = 2000 / 27000
    root = np.sqrt((ALPHA - SIGMA) ** 2 + 4 * SIGMA * ratio)
    assert ratio / 2 * (ALPHA + SIGMA + root) / (ALPHA - ratio) == pytest.approx(CRITICAL, abs=1e-9)
    m = CRITICAL * np.array([[0.995, 1.005, 1.1]])
    colony = start(500, 100, 3)
    for _ in range(20000):
        colony = step(colony, m, 2000, 27000, brood=False)
    lives, dies, soon = colony.adults[0]
    assert lives > 30
    assert dies < 1
    assert soon < 1e-6


def test_the_way_down_follows_the_published_equations() -> None:
    """Computed by Runge-Kutta at 1e-10; steps of a whole day are within 3 %.

    Adults on days 10 to 200 at m = 0.24 and 0.40, and both compartments after three weeks.
    """
    m = np.array([[0.24, 0.40]])
    adults = {
        10: (19805.66, 15324.74),
        21: (17128.43, 10753.88),
        50: (13118.79, 5382.29),
        100: (10352.93, 2440.95),
        200: (8857.03, 855.19),
        500: (8462.96, 94.24),
    }
    colony = start(16000, 8000, 2)
    for day in range(1, 501):
        colony = step(colony, m, 2000, 27000, brood=False)
        if day in adults:
            assert colony.adults[0] == pytest.approx(adults[day], rel=0.03)
        if day == 21:
            assert colony.house.sum(axis=0)[0] == pytest.approx([13046.94, 8543.14], rel=0.03)
            assert colony.foragers.sum(axis=0)[0] == pytest.approx([4081.49, 2210.73], rel=0.03)


def test_a_university_labs_whole_bees_day_by_day() -> None:
    house, foragers = [1], [1]
    for _ in range(10):
        colony = step(start(house[-1], foragers[-1], 1), np.array([[0.4]]), 1000, 80, brood=False)
        house.append(round(float(colony.house.sum())))
        foragers.append(round(float(colony.foragers.sum())))
    assert house == [1, 26, 265, 975, 1706, 2396, 3034, 3621, 4160, 4654, 5106]
    assert foragers == [1, 0, 6, 65, 237, 413, 583, 742, 889, 1024, 1148]
