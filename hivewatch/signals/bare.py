"""A hive's weight without its steps, and what has passed its entrance so far: slow change alone."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from typing import NamedTuple

import numpy as np

from hivewatch.signals.carried import DAY_S, unless_same, worked
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.faults import clean
from hivewatch.signals.levels import sorted_windows
from hivewatch.signals.steps import Step
from hivewatch.signals.window import Floats, HiveWindow, Ints, Series, first_beyond

BARE_S = 3 * DAY_S  # [s] own choice: so long before what is known already


def bare_weight(window: HiveWindow) -> Series:
    """Give the weight as it would be had nobody put anything on or taken anything off.

    Parameters
    ----------
    window : HiveWindow
        The hive; its lasting steps are those of `days_of`.

    Returns
    -------
    Series
        From the first reading's level on, or from some days before what is known already; bad
        readings and those amid a step are left out, and each is the median of itself and its two
        neighbours. [kg]
    """
    name = f"bare since {window.carried.until_s}"
    return worked(window, name, lambda here, _: _bare(here))


def _bare(window: HiveWindow) -> Series:
    """Take the steps out of the weight, and smooth it."""
    known = window.of("weight").since(window.carried.until_s, BARE_S)
    weight, steps = clean(known, "weight"), stepped_of(window)
    if len(weight) < 3:  # noqa: PLR2004 - a reading and two neighbours
        return weight
    amid = np.zeros(len(weight), np.bool_)
    edges = weight.time_s.searchsorted(steps.edges_s)
    for low, high in edges[edges[:, 1] > edges[:, 0]].tolist():
        amid[low:high] = True
    time_s = weight.time_s[~amid]
    value = weight.value[~amid] - steps.so_far_kg(time_s)
    smooth = value.copy()
    first, middle, last = value[:-2], value[1:-1], value[2:]
    smooth[1:-1] = np.maximum(
        np.minimum(first, middle), np.minimum(np.maximum(first, middle), last)
    )
    return Series(time_s, smooth, known.skipped)


class Stepped(NamedTuple):
    """Lasting steps: between which readings each lies, and what they add up to, from none on."""

    edges_s: Ints
    after_s: Ints
    total_kg: Floats

    @classmethod
    def of(cls, steps: Sequence[Step]) -> Stepped:
        """Add them up."""
        after_s = np.array([one.after_s for one in steps], np.int64)
        before_s = np.array([one.before_s for one in steps], np.int64)
        total_kg = np.array([0.0, *accumulate(one.size_kg for one in steps)])
        return cls(np.stack((before_s + 1, after_s), axis=1), after_s, total_kg)

    def so_far_kg(self, at_s: Ints | Floats) -> Floats:
        """Give the sum of those that were over by some moments [kg]."""
        return np.asarray(self.total_kg[self.after_s.searchsorted(at_s, side="right")], np.float64)


def stepped_of(window: HiveWindow) -> Stepped:
    """Give a hive's steps; added up anew when there is another one."""
    steps = days_of(window).steps
    return unless_same(window, "stepped", steps, lambda: Stepped.of(steps))


def stepped_kg(days: Days, at_s: Ints | Floats) -> Floats:
    """Give the sum of all steps that were over by some moments [kg]."""
    return Stepped.of(days.steps).so_far_kg(at_s)


def bare_dawns_kg(window: HiveWindow) -> Floats:
    """Give a hive's weight before each sunrise, without the steps until then [kg]."""
    days = days_of(window)
    return days.dawn_kg - stepped_of(window).so_far_kg(days.dawn_s)


def passed(series: Series, from_s: Ints | Floats | int, to_s: Ints | Floats) -> Floats:
    """Add up counts after `from_s` and up to `to_s` [bees]."""
    time_s = series.time_s
    low = first_beyond(time_s, np.asarray(from_s))
    high = first_beyond(time_s, np.asarray(to_s))
    first = int(low.min(initial=len(series)))  # counts are whole: where the sum begins is no matter
    total = np.concatenate(([0.0], np.cumsum(series.value[first : int(high.max(initial=first))])))
    return np.asarray(total[np.maximum(high - first, 0)] - total[low - first], np.float64)


def before_each(
    figures: Floats, days: int, least: int, share: float = 0.5, first: int = 0
) -> Floats:
    """Give a quantile of the figures of the days before each day.

    Parameters
    ----------
    figures : Floats
        One a day, NaN where unknown, shape (n,).
    days : int
        How many days back; the day itself does not count.
    least : int
        Fewer known ones give NaN.
    share : float
        The quantile: a half is the median.
    first : int
        The first day that is asked for; NaN before.

    Returns
    -------
    Floats
        Shape (n,).
    """
    n = max(len(figures) - first, 0)
    before = figures[max(first - days, 0) :]
    padded = np.concatenate((np.full(n + days - len(before), np.nan), before))
    ordered = sorted_windows(padded, days, n)
    known = days - np.isnan(ordered).sum(axis=1)  # NaN goes to the end
    at = np.maximum(np.ceil(share * known).astype(np.int64) - 1, 0)
    middle = np.where(known >= least, ordered[np.arange(n), at], np.nan)
    return np.concatenate((np.full(first, np.nan), middle)) if first else middle
