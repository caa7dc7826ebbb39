"""What the weight is on one side of a move: its level, its noise, its slow change."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

import numpy as np

from hivewatch.signals.window import Floats, Ints

MEDIAN_LOSS = 1.2533  # published: root of pi/2, spread of a normal sample's median to its mean's
NOISE_BLOCK = 48  # [readings] own choice: the noise is that of the block of readings before
NORMAL = 1.482602218505602  # median absolute deviation of a normal to its deviation: 1/Phi^-1(3/4)
SLOPE_SPAN_S = 3600  # [s] own choice: long enough to tell a flow from noise, short of its turns
SIDE_SPAN_S = 1200  # [s] own choice: further off, bees that fly and nectar that dries tell more
MOST_SLOPE = 1.5  # [kg/h] own choice: steeper is no slow change
FINE_S = 1200  # [s] own choice: readings closer than this tell a level together
SHORT_S = 900  # [s] own choice: a slope over less is noise


def noise_kg(weight_kg: Floats) -> Floats:
    """Give the noise of the weight at each reading, from the two blocks before its own.

    Second differences are taken, which know no slow change; of white noise of deviation 1 they
    have the deviation root 6.

    Parameters
    ----------
    weight_kg : Floats
        Shape (n,), no NaN. [kg]

    Returns
    -------
    Floats
        One standard deviation, shape (n,). The first block has its own; before it is full nothing
        is known, and the noise is infinite. [kg]
    """
    n = len(weight_kg)
    blocks = n // NOISE_BLOCK
    noise = np.full(blocks + 1, np.inf)
    if blocks:
        bend = np.abs(weight_kg[2:] - 2 * weight_kg[1:-1] + weight_kg[:-2])
        bend = np.concatenate([bend[:2], bend])[: blocks * NOISE_BLOCK]
        middle = np.partition(bend.reshape(blocks, NOISE_BLOCK), NOISE_BLOCK // 2, axis=1)
        noise[1:] = middle[:, NOISE_BLOCK // 2] * (NORMAL / 6**0.5)
        noise[2:] = np.maximum(noise[2:], noise[1:-1])  # fifty readings alone may look too quiet
        noise[0] = noise[1]
    return np.repeat(noise, NOISE_BLOCK)[:n]


def agreed(slopes: list[float]) -> float:
    """Give the slow change that both sides of a move show, the smaller of the two. [kg/h]."""
    if not slopes or min(slopes) < 0 < max(slopes):
        return 0.0
    return max(-MOST_SLOPE, min(MOST_SLOPE, min(slopes, key=abs)))


class Slope(NamedTuple):
    """A slow change, and the error of it for noise of one kilogram."""

    kg_per_h: float
    unsure_per_h: float


class Side(NamedTuple):
    """What the weight is on one side of a move."""

    level: float
    off: list[float]
    middle_s: float
    slope: Slope | None

    @classmethod
    def of(cls, weight_kg: Floats, time_s: Ints, indices: range, edge: int) -> Side:
        """Look at some readings on one side of a move, next to the reading `edge`."""
        span, edge_s = slice(indices.start, indices.stop), int(time_s[edge])
        # few readings: plain numbers cost less than arrays
        times_s, kg = time_s[span].tolist(), weight_kg[span].tolist()
        near = _within(times_s, edge_s, SIDE_SPAN_S)
        near_s, near_kg = times_s[near], kg[near]
        if len(near_s) > 1 and near_s[1] - near_s[0] > FINE_S:
            # coarse readings: the next one may have moved with the bees
            near_s, near_kg = [edge_s], [float(weight_kg[edge])]
        values = sorted(near_kg)
        level = median(values)
        off = [abs(value - level) for value in values]
        far = _within(times_s, edge_s, SLOPE_SPAN_S)
        return cls(level, off, sum(near_s) / len(near_s), _slope(times_s[far], kg[far]))


def _within(times_s: list[int], edge_s: int, span_s: int) -> slice:
    """Say which moments lie so near to one of them."""
    return slice(bisect_left(times_s, edge_s - span_s), bisect_right(times_s, edge_s + span_s))


def _slope(times_s: list[int], kg: list[float]) -> Slope | None:
    """Give the slow change over some readings, by the medians of their halves."""
    if len(kg) < 2 or times_s[-1] - times_s[0] < SHORT_S:  # noqa: PLR2004
        return None
    half = len(kg) // 2
    rise = median(sorted(kg[-half:])) - median(sorted(kg[:half]))
    run_h = (sum(times_s[-half:]) - sum(times_s[:half])) / half / 3600
    return Slope(rise / run_h, MEDIAN_LOSS * (2 / half) ** 0.5 / run_h)


def median(ordered: list[float]) -> float:
    """Give the median of a few numbers in order, without numpy's cost for short arrays."""
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def middle_of(value: Floats | Ints) -> float:
    """Give the median of a few numbers in any order, without numpy's cost for short arrays."""
    return float(median(sorted(value.tolist())))


def known_or(figures: Floats, otherwise: float = 0.0) -> Floats:
    """Give figures, with another one where they are NaN; without numpy's cost for short arrays."""
    return np.where(np.isnan(figures), otherwise, figures)


def mean(value: Floats) -> float:
    """Give the mean, without numpy's cost for short arrays."""
    return float(np.add.reduce(value)) / len(value)


def deviation(value: Floats) -> float:
    """Give one standard deviation in the same way."""
    off = value - mean(value)
    return sqrt(mean(off * off))


def middle_before(figures: Floats, from_days: int, to_days: int, least: int) -> Floats:
    """Give the median of the known figures of some days before each day.

    Parameters
    ----------
    figures : Floats
        One a day, NaN where unknown, shape (n,).
    from_days, to_days : int
        How many days before: the first that counts, and the first that does not any more.
    least : int
        Fewer known ones give NaN.

    Returns
    -------
    Floats
        Shape (n,).
    """
    n, wide = len(figures), from_days - to_days
    padded = np.concatenate((np.full(from_days, np.nan), figures))
    table = sorted_windows(padded, wide, n)
    known = wide - np.isnan(table).sum(axis=1)  # NaN goes to the end
    each = np.arange(n)
    low, high = np.maximum(known - 1, 0) // 2, np.minimum(known // 2, wide - 1)
    return np.where(known >= least, (table[each, low] + table[each, high]) / 2, np.nan)


def sorted_windows(figures: Floats, wide: int, n: int) -> Floats:
    """Give the first n windows of some figures, each in order, shape (n, wide); NaN to its end."""
    table: Floats = figures[np.arange(n)[:, None] + np.arange(wide)]
    table.sort(axis=1)
    return table


def in_order(rows: Sequence[Floats] | Floats) -> list[Floats]:
    """Put a few rows in order at each place, by pairs: quick where the rows are long; no NaN."""
    ordered = list(rows)
    for end in range(len(ordered) - 1, 0, -1):
        for i in range(end):
            one, other = ordered[i], ordered[i + 1]
            ordered[i], ordered[i + 1] = np.minimum(one, other), np.maximum(one, other)
    return ordered
