"""The Hampel identifier against what is published of it.

Sources: F. R. Hampel, J. Am. Stat. Assoc. 69, 383 (1974), the median absolute deviation; L. Davies
and U. Gather, J. Am. Stat. Assoc. 88, 782 (1993), the bound of three scaled deviations (the rule as
used here from memory). The scale of the deviation of a normal law, 1/Phi^-1(3/4), is computed here
by the standard library's own normal law.
"""

from __future__ import annotations

from statistics import NormalDist, median

import numpy as np
import pytest

from hivewatch.signals import faults, levels
from hivewatch.signals.faults import hampel


@pytest.mark.parametrize("constant", [faults.NORMAL, levels.NORMAL])
def test_the_scale_is_that_of_a_normal_law(constant):
    # tolerance: the last digits of a double, 1.482602218505602 is the value to 16 digits
    assert constant == pytest.approx(1 / NormalDist().inv_cdf(0.75), rel=1e-14)


def test_the_worked_window_flags_the_hundred():
    # worked by hand: median 5, deviations 4 3 2 95 0 1 2, their median 2, times 1.4826 = 2.9652
    value = np.array([1.0, 2, 3, 100, 5, 6, 7])
    middle, far = hampel(value)
    assert middle.tolist() == [5.0] * 7
    assert far.tolist() == [False, False, False, True, False, False, False]
    _, at_the_bound = hampel(value, spreads=95 / (2 * faults.NORMAL))
    assert not at_the_bound.any()


def test_every_window_agrees_with_the_definition():
    rng = np.random.default_rng(8)
    value = rng.standard_t(2, 200)  # heavy tails: many are far
    middle, far = hampel(value)
    assert 0 < far.sum() < 60
    for i in range(3, 197):
        window = value[i - 3 : i + 4].tolist()
        centre = median(window)
        spread = median([abs(one - centre) for one in window]) / NormalDist().inv_cdf(0.75)
        assert middle[i] == centre
        assert far[i] == (abs(value[i] - centre) > 3 * spread)


def test_a_wide_window_leaves_outside_what_three_deviations_of_a_normal_law_leave():
    # 2 (1 - Phi(3)) = 0.27 %; tolerance: four deviations of a count of about 54 in 20,000, and the
    # median deviation of a window of 501 is itself uncertain by 3 %, the share then by 30 %
    value = np.random.default_rng(0).normal(size=20_000)
    _, far = hampel(value, half=250)
    assert far.mean() == pytest.approx(2 * (1 - NormalDist().cdf(3)), abs=0.0027 * 0.6)
