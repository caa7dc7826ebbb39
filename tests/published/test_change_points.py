"""How a change is told and dated, against published tables and series.

A turn of the brood is told by a cumulative sum of the days (E. S. Page, Biometrika 41, 100 (1954))
and dated where the isotonic fit crosses the bound; that is the likeliest place of a change between
two levels, the bound half way between them. A silent robbing is dated by the likeliest day of a
change from nothing to what is missing now (D. V. Hinkley, Biometrika 57, 1 (1970)).

Sources: run lengths of the one-sided cumulative sum for k = 0.5, h = 3: 117.59 in control and 3.75
after a shift of 1.5 deviations, D. Brook, D. A. Evans, Biometrika 59, 539 (1972), as quoted in the
manual of the CRAN package `spc` (S. Knoth); those for h = 4 there after J. M. Lucas, R. B. Crosier,
Technometrics 24, 199 (1982), two-sided, which after a shift is the same to the digits given; 38.0,
10.4 and 4.01 for h = 5, D. C. Montgomery, "Introduction to Statistical Quality Control", from
memory, and 37.996, 10.376, 4.009 by a Markov chain of 400 states beforehand. The flow of the Nile
at Aswan, 1871 to 1970, and its change after 1898: G. W. Cobb, Biometrika 65, 243 (1978), public
domain; as in statsmodels' `nile`; break point 28 by strucchange on the manual pages of
ggchangepoint; mean and deviation computed beforehand. `ruptures.Dynp`: the exact
optimum for a known number of changes. `scipy.optimize` has an isotonic regression of its own.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import ruptures
from scipy.optimize import isotonic_regression

from hivewatch.detect.silent_robbing import _since
from hivewatch.signals import brood
from hivewatch.signals.brood import _rising

# fmt: off
NILE = np.array([
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960,
    1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694,
    940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764,
    821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822,
    1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918,
    986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
], np.float64)  # [1e8 m^3 a year]
# fmt: on
SCALE = 0.1  # of the deviation to a full day, so that no day is cut off at one
RUNS = 600


def dated(value: np.ndarray, bound: float) -> int:
    """Give how many values lie before a fall, as a turn is dated."""
    return int(np.flatnonzero(_rising(bound - value) > 0)[0])


def run_lengths(monkeypatch: pytest.MonkeyPatch, k: float, h: float, shift: float) -> np.ndarray:
    """Let the days say what normal noise says, after brood that was sure; days until its end."""

    def turn(_: object, __: object, days: range, to: float, **___: object) -> brood.Turn:
        return brood.Turn(to > 0, days[-1], days[-1], 0, 0, 0, 0.0, 0.0)

    rng = np.random.default_rng(1954)
    n = {0.0: 1500, 0.5: 400}.get(shift, 100)
    every = {
        "warmth_of": lambda _: SimpleNamespace(ambient_cel=np.zeros(n + 4), told_s=np.zeros(n + 4)),
        "probe_share": lambda _: np.ones(n + 4),
        "bound_cel": lambda _: np.zeros(n + 4),
        "is_autumn": lambda _: np.zeros(n + 4, np.bool_),
        "_lies_open": lambda _: np.zeros(n + 4, np.bool_),
        "rest_of": lambda _: SimpleNamespace(
            half=np.zeros(n + 4),
            risen_k=lambda _: np.full(n + 4, np.nan),
            risen_since_k=lambda _: np.full(n + 4, np.nan),
        ),
        "over_bound_k": lambda _: np.concatenate((np.full(4, 9.0), -brood.CLEAR_K * days)),
        "_turn": turn,
        "TURN_DAYS": SCALE * h,
    }
    for name, value in every.items():
        monkeypatch.setattr(brood, name, value)
    told = []
    for _ in range(RUNS):
        days = SCALE * (rng.normal(shift, 1.0, n) - k)
        told += [one.told_day for one in brood._find(SimpleNamespace()) if not one.is_onset][:1]
    assert len(told) >= RUNS - 1
    return np.array(told) - 3


# tolerance: four sampling errors of a mean of 600 runs, whose deviation is about their mean
@pytest.mark.parametrize(
    ("h", "shift", "published"),
    [
        (3.0, 0.0, 117.59),
        (3.0, 1.5, 3.75),
        (4.0, 0.5, 26.6),
        (4.0, 1.0, 8.38),
        (4.0, 1.5, 4.75),
        (4.0, 2.0, 3.34),
        (4.0, 3.0, 2.19),
        (5.0, 0.5, 38.0),
        (5.0, 1.0, 10.4),
        (5.0, 2.0, 4.01),
    ],
)
def test_run_lengths_of_the_sum_that_tells_a_brood_end(monkeypatch, h, shift, published):
    length = run_lengths(monkeypatch, 0.5, h, shift)
    error = length.std() / len(length) ** 0.5
    assert length.mean() == pytest.approx(published, abs=4 * error)
    assert error < 0.05 * published


def test_the_nile_changed_after_1898():
    # means before and after, 1097.75 and 849.97, and the place, 28: Cobb, and strucchange
    assert (len(NILE), NILE.mean()) == (100, pytest.approx(919.35))
    assert NILE.std(ddof=1) == pytest.approx(169.2275, abs=1e-4)
    bound = (NILE[:28].mean() + NILE[28:].mean()) / 2
    assert bound == pytest.approx((1097.75 + 849.9722) / 2, abs=1e-3)
    assert dated(NILE, bound) == 28
    assert _since(1097.75 - NILE, 0, 99) == 28
    assert ruptures.Dynp(model="l2", min_size=2, jump=1).fit(NILE).predict(n_bkps=1)[0] == 28


@pytest.mark.parametrize("seed", range(8))
def test_a_fall_is_dated_where_the_least_squares_between_both_levels_have_it(seed):
    rng = np.random.default_rng(seed)
    at = int(rng.integers(5, 35))
    value = np.where(np.arange(40) < at, 1.0, -1.0) + rng.normal(0, 0.8, 40)
    cost = [((value[:i] - 1) ** 2).sum() + ((value[i:] + 1) ** 2).sum() for i in range(40)]
    assert dated(value, 0.0) == int(np.argmin(cost))


def test_a_clear_fall_is_dated_where_dynp_has_it():
    for seed in range(8):
        rng = np.random.default_rng(seed)
        at = int(rng.integers(5, 35))
        value = np.where(np.arange(40) < at, 1.0, -1.0) + rng.normal(0, 0.25, 40)
        exact = ruptures.Dynp(model="l2", min_size=2, jump=1).fit(value).predict(n_bkps=1)[0]
        assert dated(value, 0.0) == exact == at
        assert _since((1 - value) / 2, 0, 39) == exact


@pytest.mark.parametrize("seed", range(8))
def test_the_isotonic_fit_is_that_of_scipy(seed):
    value = np.random.default_rng(seed).normal(size=60).cumsum()
    assert _rising(value) == pytest.approx(isotonic_regression(value).x, abs=1e-12)
