"""How often a feed usually reports: by its days, for it may be set to another step."""

from __future__ import annotations

import numpy as np

from hivewatch.signals.carried import DAY_S
from hivewatch.signals.window import Ints, Series

LONGEST_STEP_S = 86_400  # [s] own choice: a feed of once a day
COUNTED = 2000  # [steps] own choice: more are counted rather than sorted


def usual_step_s(series: Series) -> int | None:
    """Give the median time between readings, a day at most; None with fewer than two [s]."""
    if len(series) < 2:  # noqa: PLR2004
        return None
    return _middle(np.minimum(np.diff(series.time_s), LONGEST_STEP_S))


def usual_step_near(series: Series, at_s: float) -> int | None:
    """Give the median time between readings about a moment: two days before to a day after. [s]."""
    return usual_step_s(series.between(int(at_s) - 2 * DAY_S, int(at_s) + DAY_S))


def first_within(time_s: Ints, span_s: int, first: int = 0) -> Ints:
    """Give for each reading from `first` on the place of the earliest one in the span up to it.

    A feed reports at one step, so that it is nearly always as many readings back; where it is not,
    it is searched for.

    Parameters
    ----------
    time_s : Ints
        Strictly rising, shape (n,). [s]
    span_s : int
        Length of the span; a reading just so long before is in it. [s]

    Returns
    -------
    Ints
        Shape (n - first,).
    """
    begin_s = time_s[first:] - span_s
    at = np.arange(len(begin_s))
    if len(begin_s):
        middle = len(begin_s) // 2
        at += int(time_s.searchsorted(begin_s[middle])) - middle
        at.clip(0, out=at)
        # before the first reading there is the last one: there, too, it is searched for
        is_other = (time_s[at] < begin_s) | (time_s[at - 1] >= begin_s)
        at[is_other] = time_s.searchsorted(begin_s[is_other])
    return at


def usual_steps_s(series: Series, at: Ints | None = None) -> Ints:
    """Give the median time between readings of a reading's UTC day and the one before.

    A feed may be set to another step: what is usual is a matter of days, not of all history.

    Parameters
    ----------
    at : Ints or None
        The places of the readings that are asked for; None for all of them.

    Returns
    -------
    Ints
        One for each, a day at most; a day where there is one reading alone. [s]
    """
    n = len(series)
    if n < 2:  # noqa: PLR2004
        return np.full(n if at is None else len(at), LONGEST_STEP_S, np.int64)
    step_s = np.minimum(np.diff(series.time_s, prepend=0), LONGEST_STEP_S)
    step_s[0] = step_s[1]
    day = series.time_s // DAY_S
    first = np.concatenate(([0], np.flatnonzero(day[1:] != day[:-1]) + 1))
    last = np.append(first[1:], n)
    low, high = np.minimum.reduceat(step_s, first), np.maximum.reduceat(step_s, first)
    low = np.concatenate((low[:1], np.minimum(low[1:], low[:-1])))
    high = np.concatenate((high[:1], np.maximum(high[1:], high[:-1])))
    uneven = np.flatnonzero(low != high)
    if at is not None:
        asked = first.searchsorted(at, side="right") - 1
        uneven = np.intersect1d(uneven, asked)
    for i in uneven.tolist():
        low[i] = _middle(step_s[first[max(i - 1, 0)] : last[i]])
    return np.repeat(low, last - first) if at is None else low[asked]


def _middle(step_s: Ints) -> int:
    """Give the median of some steps, the lower of two."""
    half = (len(step_s) - 1) // 2
    if len(step_s) < COUNTED:
        return int(np.partition(step_s, half)[half])
    # a feed's steps are nearly all the same, which sorting takes badly
    return int(np.searchsorted(np.bincount(step_s).cumsum(), half + 1))
