"""Intervals of counts against published tables and scipy."""

from __future__ import annotations

import pytest
from scipy.stats import chi2, norm

from simulators.score.sampling import garwood, is_less, is_more_often, wilson

# R. G. Newcombe, Stat. Med. 17, 857 (1998), table I, method 3: Wilson's 95 % intervals (memory)
NEWCOMBE = {
    (81, 263): (0.2553, 0.3662),
    (15, 148): (0.0624, 0.1605),
    (0, 20): (0.0, 0.1611),
    (1, 29): (0.0061, 0.1718),
}


@pytest.mark.parametrize(("counts", "interval"), NEWCOMBE.items())
def test_wilson_meets_the_published_table(counts, interval):
    assert wilson(*counts) == pytest.approx(interval, abs=5e-5)


@pytest.mark.parametrize("k", [0, 1, 2, 5, 17, 60, 400])
@pytest.mark.parametrize("z", [1.0, 1.959964])
def test_garwood_is_the_chi_square_interval(k, z):
    tail = norm.sf(z)
    low = chi2.ppf(tail, 2 * k) / 2 if k else 0.0
    high = chi2.isf(tail, 2 * k + 2) / 2
    assert garwood(k, z) == pytest.approx((low, high), rel=1e-6)


def test_large_counts_stay_within_a_percent():
    for k in (1_000, 5_000):
        expected = (chi2.ppf(0.025, 2 * k) / 2, chi2.isf(0.025, 2 * k + 2) / 2)
        assert garwood(k) == pytest.approx(expected, rel=0.01)


def test_nothing_tried_says_nothing():
    assert wilson(0, 0) == (0.0, 1.0)
    assert not is_less((0, 0), (5, 5))
    assert not is_more_often((3, 0.0), (0, 1.0))


def test_one_miss_of_thirty_passes_and_two_do_not():
    assert not is_less((29, 30), (30, 30))
    assert is_less((28, 30), (30, 30))


def test_more_found_is_never_worse():
    assert not is_less((30, 30), (20, 30))
    assert not is_more_often((1, 5.0), (9, 5.0))


def test_three_false_alarms_where_none_were_are_worse():
    assert not is_more_often((2, 5.0), (0, 5.0))
    assert is_more_often((3, 5.0), (0, 5.0))
