"""Sampling errors of counts: a share of so many (binomial), so many in a time (Poisson).

Wilson: E. B. Wilson, J. Am. Stat. Assoc. 22, 209 (1927). Garwood: F. Garwood, Biometrika 28, 437
(1936). Difference of two shares: R. G. Newcombe, Stat. Med. 17, 873 (1998), method 10; the same
combination of the two intervals serves rates.
"""

from __future__ import annotations

from collections.abc import Callable
from math import erf, exp, sqrt

NORMAL_95 = 1.959964  # standard deviations of a 95 % interval
ONE = 1.0

Interval = tuple[float, float]


def wilson(k: int, n: int, z: float = NORMAL_95) -> Interval:
    """Give the interval of a share k of n; (0, 1) where nothing was tried."""
    if n == 0:
        return 0.0, 1.0
    share = k / n
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    return max(middle - half, 0.0) if k else 0.0, min(middle + half, 1.0) if k < n else 1.0


def garwood(k: int, z: float = NORMAL_95) -> Interval:
    """Give the exact interval of the mean of a Poisson count."""
    tail = (1 - erf(z / sqrt(2))) / 2
    low = 0.0 if k == 0 else _solve(lambda mean: 1 - _at_most(k - 1, mean) - tail, float(k))
    high = _solve(lambda mean: tail - _at_most(k, mean), k + 10 * sqrt(k + 1) + 10)
    return low, high


def _at_most(k: int, mean: float) -> float:
    """Give the chance of at most k where `mean` are expected."""
    if mean > 600:  # beyond what exp can hold: normal, corrected for skewness
        root = 3 * sqrt(k + 1) * (1 - 1 / (9 * (k + 1)) - (mean / (k + 1)) ** (1 / 3))
        return (1 + erf(root / sqrt(2))) / 2
    term = total = exp(-mean)
    for i in range(1, k + 1):
        term *= mean / i
        total += term
    return min(total, 1.0)


def _solve(rising: Callable[[float], float], high: float) -> float:
    """Find where a rising function passes zero between 0 and `high`."""
    low = 0.0
    for _ in range(100):
        middle = (low + high) / 2
        if rising(middle) < 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def is_less(new: tuple[int, int], old: tuple[int, int], z: float = ONE) -> bool:
    """Say whether a share (k of n) lies below an earlier one by more than the sampling error."""
    if not new[1] or not old[1]:
        return False
    p, q = new[0] / new[1], old[0] / old[1]
    up = wilson(*new, z)[1] - p
    down = q - wilson(*old, z)[0]
    return p - q + sqrt(up * up + down * down) < 0


def is_more_often(new: tuple[int, float], old: tuple[int, float], z: float = ONE) -> bool:
    """Say whether a rate (count, time) lies above an earlier one by more than the error."""
    if not new[1] or not old[1]:
        return False
    p, q = new[0] / new[1], old[0] / old[1]
    down = p - garwood(new[0], z)[0] / new[1]
    up = garwood(old[0], z)[1] / old[1] - q
    return p - q - sqrt(up * up + down * down) > 0
