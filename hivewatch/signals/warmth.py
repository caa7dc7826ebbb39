"""The nest's warmth day by day: its level, its spread, and how it stands to the air outside.

A day's figures rest on that day's readings alone, and a day counts once a reading of the nest came
after its end, so that what was said of it stays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hivewatch.signals.days import HOUR_S, days_of
from hivewatch.signals.faults import clean
from hivewatch.signals.window import EMPTY, Floats, HiveWindow, Ints, Series, on_grid

LEAST_HOURS = 6  # own choice: hours with readings that make a day's level
ONE_SIDE = 0.158655  # share of a normal below its mean less one deviation
LEVEL_SHARES = (ONE_SIDE, 0.5, 1 - ONE_SIDE)


@dataclass(frozen=True, slots=True)
class Warmth:
    """Figures of n local days, NaN where the readings do not tell or the day is not over.

    Parameters
    ----------
    start_s : Ints
        Local midnights, shape (n + 1,). [s]
    told_s : Ints
        The first reading of the nest after each day: then its figures are known. [s]
    level_cel : Floats
        Median of the nest: an opening of two hours does not move it. [Cel]
    spread_k : Floats
        Half of what the middle 68 % of the readings span: one deviation. [K]
    ambient_cel : Floats
        Mean of the air outside; where nobody measures it, NaN. [Cel]
    nest : Series
        The readings, without those that are wrong. [Cel]
    hour_s : Ints
        Starts of hours, from the first reading to the last. [s]
    nest_h, ambient_h : Floats
        Means of the nest and of the air outside over each hour; the nest's hour that is not over
        is NaN. [Cel]
    """

    start_s: Ints
    told_s: Ints
    level_cel: Floats
    spread_k: Floats
    ambient_cel: Floats
    nest: Series
    hour_s: Ints
    nest_h: Floats
    ambient_h: Floats

    def __len__(self) -> int:
        """Count the days."""
        return len(self.level_cel)


def warmth_of(window: HiveWindow) -> Warmth:
    """Work out the nest's warmth by days; once for each window.

    Parameters
    ----------
    window : HiveWindow
        The hive; needs `nest`, takes `ambient` where there is any.

    Returns
    -------
    Warmth
        As many days as `days_of` gives.
    """
    known = window.memo.get("warmth")
    if not isinstance(known, Warmth):
        known = window.memo["warmth"] = _work_out(window)
    return known


def _work_out(window: HiveWindow) -> Warmth:
    """Work out the days and the hours."""
    days = days_of(window)
    ambient = window.of("ambient")
    nest = clean(window.of("nest"), "nest") if len(window.of("nest")) else EMPTY
    level = _shares_by_day(nest, days.start_s)
    after = np.searchsorted(nest.time_s, days.start_s[1:])
    is_over = after < len(nest)
    told_s = np.zeros(len(days), np.int64)
    told_s[is_over] = nest.time_s[after[is_over]]
    level[:, ~is_over] = np.nan
    first_s = int(days.start_s[0]) if len(days) else 0
    last_s = int(days.start_s[-1]) if len(days) else 0
    hour_s, nest_h = on_grid(nest, HOUR_S, first_s, last_s)
    _, ambient_h = on_grid(ambient, HOUR_S, first_s, last_s)
    if len(nest):
        nest_h[hour_s + HOUR_S > nest.time_s[-1]] = np.nan
    return Warmth(
        start_s=days.start_s,
        told_s=told_s,
        level_cel=level[1],
        spread_k=(level[2] - level[0]) / 2,
        ambient_cel=days.ambient_cel,
        nest=nest,
        hour_s=hour_s,
        nest_h=nest_h,
        ambient_h=ambient_h,
    )


def _shares_by_day(nest: Series, start_s: Ints) -> Floats:
    """Give each day's `LEVEL_SHARES`, shape (3, n); NaN with readings of too few hours."""
    figures = np.full((len(LEVEL_SHARES), len(start_s) - 1), np.nan)
    if not len(nest):
        return figures
    hours = nest.time_s // HOUR_S
    hours = hours[np.diff(hours, prepend=hours[0] - 1) > 0]
    day_of_hour = np.searchsorted(start_s, hours * HOUR_S, side="right") - 1
    counted = np.bincount(day_of_hour.clip(min=0), minlength=figures.shape[1])
    edges = np.searchsorted(nest.time_s, start_s)
    for i in np.flatnonzero((np.diff(edges) > 0) & (counted[: figures.shape[1]] >= LEAST_HOURS)):
        ordered = np.sort(nest.value[edges[i] : edges[i + 1]])
        figures[:, i] = ordered[[round(share * (len(ordered) - 1)) for share in LEVEL_SHARES]]
    return figures
