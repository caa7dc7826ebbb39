"""The scoreboard's intervals of counts and shares, against tables and exact laws.

Sources: F. Garwood, Biometrika 28, 437 (1936): the exact interval of a Poisson mean, by the chi
square law; E. B. Wilson, J. Am. Stat. Assoc. 22, 209 (1927); C. J. Clopper, E. S. Pearson,
Biometrika 26, 404 (1934): the exact interval of a share, here by the beta law of scipy. The figures
in the tables were computed from these laws beforehand, to the digits given.
"""

from __future__ import annotations

import pytest
from scipy.stats import beta, chi2, poisson

from simulators.score.sampling import NORMAL_95, garwood, wilson

GARWOOD_95 = [
    (0, 0.0, 3.6889),
    (1, 0.0253, 5.5716),
    (5, 1.6235, 11.6683),
    (10, 4.7954, 18.3904),
    (100, 81.364, 121.627),
]
WILSON_95 = [
    # found, of, low, high; Clopper and Pearson's low and high
    (20, 20, 0.8389, 1.0, 0.8316, 1.0),
    (10, 10, 0.7225, 1.0, 0.6915, 1.0),
    (5, 5, 0.5655, 1.0, 0.4782, 1.0),
    (19, 20, 0.7639, 0.9911, 0.7513, 0.9987),
    (0, 100, 0.0, 0.0370, 0.0, 0.0362),
]


@pytest.mark.parametrize(("k", "low", "high"), GARWOOD_95)
def test_the_interval_of_a_count(k, low, high):
    assert garwood(k) == pytest.approx((low, high), rel=1e-4, abs=5e-5)


@pytest.mark.parametrize("k", [0, 1, 3, 17, 250, 900])
def test_the_interval_of_a_count_leaves_out_what_the_chi_square_law_leaves_out(k):
    # Garwood: half of the chi square's quantiles with 2 k and 2 k + 2 degrees of freedom
    low = chi2.ppf(0.025, 2 * k) / 2 if k else 0.0
    assert garwood(k) == pytest.approx((low, chi2.ppf(0.975, 2 * k + 2) / 2), rel=1e-4)
    assert poisson.cdf(k, garwood(k)[1]) == pytest.approx(0.025, rel=2e-3)


@pytest.mark.parametrize(("k", "n", "low", "high", "_exact_low", "_exact_high"), WILSON_95)
def test_the_interval_of_a_share(k, n, low, high, _exact_low, _exact_high):
    assert wilson(k, n) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize(("k", "n", "_low", "_high", "exact_low", "exact_high"), WILSON_95)
def test_the_exact_interval_of_a_share_is_the_more_careful_one(
    k, n, _low, _high, exact_low, exact_high
):
    exact = (
        beta.ppf(0.025, k, n - k + 1) if k else 0.0,
        beta.ppf(0.975, k + 1, n - k) if k < n else 1.0,
    )
    assert exact == pytest.approx((exact_low, exact_high), abs=5e-5)
    if k > 0:  # at nothing of many Wilson's upper bound is the higher one
        assert exact[0] < wilson(k, n)[0]
    # of shares from their own bounds: Wilson solves |p - k/n| = z root(p (1 - p) / n)
    low, high = wilson(k, n)
    for bound in {low, high} - {0.0, 1.0}:
        z = abs(bound - k / n) / (bound * (1 - bound) / n) ** 0.5
        assert z == pytest.approx(NORMAL_95, rel=1e-9)
