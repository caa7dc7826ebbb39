"""What a queen lays, and when a young one begins."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest

from hivewatch.comb.calendar import EGGS_AFTER, EMERGENCY_EGGS_DAYS
from hivewatch.comb.queen import (
    BACK_DAYS,
    BEES_FOR_HALF,
    REQUEENS,
    WORTH,
    come_back,
    expected_laying,
    wait_for_eggs,
    worth_by_laying,
)
from hivewatch.comb.start import LAYING_MAX

JUNE, OCTOBER = date(2026, 6, 1), date(2026, 10, 1)
LATITUDE = 47.0


def test_laying_rises_with_the_bees_and_levels_off() -> None:
    """The form L N / (w + N) of Khoury, Myerscough & Barron 2011."""
    worth = np.full(3, WORTH[0])
    bees = np.array([BEES_FOR_HALF, 3 * BEES_FOR_HALF, 1e9])
    laid = np.exp(expected_laying(worth, bees, JUNE, LATITUDE))
    assert laid / laid[2] == pytest.approx([1 / 2, 3 / 4, 1], rel=1e-3)
    assert laid[2] == pytest.approx(2000, rel=0.02)
    assert np.all(expected_laying(worth, bees, OCTOBER, LATITUDE) < np.log(laid) - 1)


def test_a_good_colony_in_june_is_within_what_is_published() -> None:
    """Between 1,300 (Khoury et al. 2011 at 50,000 bees) and 1,818 (2013, at 35,000 house bees)."""
    laid = math.exp(expected_laying(np.array([WORTH[0]]), np.array([50e3]), JUNE, LATITUDE)[0])
    assert 2000 * 50 / (50 + 27) <= laid <= 2000 * 35 / (35 + 5)


def test_laying_comes_back_and_a_queen_that_stopped_does_not() -> None:
    laying = np.array([1000.0, 0.0])
    for _ in range(int(BACK_DAYS)):
        laying = come_back(laying, np.full(2, math.log(2000.0)))
    gap = math.log(2) * (1 - 1 / BACK_DAYS) ** BACK_DAYS
    assert laying == pytest.approx([2000 * math.exp(-gap), 0.0], rel=1e-6)
    assert come_back(np.array([LAYING_MAX]), np.array([20.0]))[0] == LAYING_MAX


def test_a_queen_is_worth_more_when_more_is_counted() -> None:
    drawn = np.random.default_rng(1).normal(*WORTH, 4000)
    bees = np.full(4000, 30e3)
    usual = math.exp(expected_laying(np.array([WORTH[0]]), bees[:1], JUNE, LATITUDE)[0])
    means = []
    for part in (0.6, 1.0, 1.5):
        known = worth_by_laying(drawn, np.full(4000, part * usual), bees, JUNE, LATITUDE)
        means.append(known.mean())
        assert known.std() < 0.95 * drawn.std()
    assert means[0] < means[1] < means[2]
    assert means[1] == pytest.approx(WORTH[0], abs=0.02)
    assert worth_by_laying(drawn, np.zeros(4000), bees, JUNE, LATITUDE) == pytest.approx(drawn)


def test_eggs_are_awaited_no_longer_than_a_raised_queen_takes() -> None:
    rng = np.random.default_rng(2)
    fresh, bare = wait_for_eggs(3, rng, 4000), wait_for_eggs(21, rng, 4000)
    assert np.isfinite(fresh).mean() == pytest.approx(REQUEENS[0], abs=0.03)
    assert np.isfinite(bare).mean() == pytest.approx(REQUEENS[1], abs=0.03)
    last = EMERGENCY_EGGS_DAYS[0] + EGGS_AFTER[1]
    assert fresh[np.isfinite(fresh)].max() <= last - 3 + 1
    assert fresh.min() >= 1
