"""Slopes between pairs and their median, Theil and Sen: a scale beside the air, a swarm's trends.

Sources: P. K. Sen, J. Am. Stat. Assoc. 63, 1379 (1968): the median of the slopes between all pairs;
`scipy.stats.theilslopes` as an implementation of its own; two examples worked by hand. The product
leaves out pairs of nights whose air differs by too little, so that the examples are stretched.
"""

from __future__ import annotations

from itertools import combinations
from statistics import median

import numpy as np
import pytest
from scipy.stats import theilslopes

from hivewatch.detect.lost import TREND_KG_PER_H, _carried_on
from hivewatch.signals.cell_warmth import APART_K, _slopes
from hivewatch.signals.window import Series

STRETCH = 1.5 * APART_K  # neighbours in an example then lie apart enough


def slope(x: np.ndarray, y: np.ndarray) -> float:
    return float(np.median(_slopes(STRETCH * x, y)) * STRETCH)


def test_one_wild_value_in_ten_does_not_move_the_slope():
    # y = 2 x, the last one 100: 36 of the 45 slopes are 2; least squares say 6.3636
    x = np.arange(1.0, 11.0)
    y = 2 * x
    y[-1] = 100.0
    assert slope(x, y) == pytest.approx(2.0, rel=1e-12)
    assert np.polyfit(x, y, 1)[0] == pytest.approx(6.3636, abs=1e-4)


def test_the_worked_five():
    # slopes of the ten pairs of 1 3 2 5 4 in order: -1 -1 1/3 .5 .75 1 1 4/3 2 3; median 0.875
    x, y = np.arange(5.0), np.array([1.0, 3, 2, 5, 4])
    pairs = sorted((y[j] - y[i]) / (x[j] - x[i]) for i, j in combinations(range(5), 2))
    assert pairs == pytest.approx([-1, -1, 1 / 3, 0.5, 0.75, 1, 1, 4 / 3, 2, 3])
    assert median(pairs) == pytest.approx(0.875)
    assert slope(x, y) == pytest.approx(0.875, rel=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_it_is_what_scipy_gives(seed):
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.uniform(1.0, 3.0, 40))
    y = 0.3 * x + rng.standard_t(1.5, 40)
    assert slope(x, y) == pytest.approx(theilslopes(y, x).slope, rel=1e-12)


def test_near_pairs_are_left_out_and_no_others():
    x = np.array([0.0, 0.5 * APART_K, 1.5 * APART_K, 4 * APART_K])
    y = np.array([0.0, 7.0, 1.0, 2.0])
    known = [
        (y[j] - y[i]) / (x[j] - x[i]) for i, j in combinations(range(4), 2) if x[j] - x[i] > APART_K
    ]
    assert sorted(_slopes(x, y).tolist()) == pytest.approx(sorted(known))
    assert len(known) == 4


@pytest.mark.parametrize("seed", range(5))
def test_a_trend_is_carried_on_as_scipy_s_line(seed):
    # the line goes through the median of what the slope leaves, as scipy's "joint" intercept does
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(rng.integers(200, 400, 9))
    slope = rng.uniform(-0.5, 0.5) * TREND_KG_PER_H / 3600
    kg = 40 + slope * time_s + 0.005 * rng.standard_t(1.5, 9)
    line = theilslopes(kg, time_s, method="joint")
    assert abs(line.slope) < TREND_KG_PER_H / 3600
    at = _carried_on(Series(time_s.astype(np.int64), kg), 5000.0)
    assert at == pytest.approx(line.intercept + 5000.0 * line.slope, abs=1e-9)
