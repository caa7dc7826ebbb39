"""The nest's warmth day by day: its level, its spread, and how it stands to the air outside.

A day's figures rest on that day's readings alone, and a day counts once a reading of the nest came
after its end, so that what was said of it stays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hivewatch.signals.carried import DAY_S, SILENT_S, worked
from hivewatch.signals.days import HOUR_S, days_of
from hivewatch.signals.faults import clean
from hivewatch.signals.window import EMPTY, Floats, HiveWindow, Ints, Series, on_grid

NEST_S = 3 * DAY_S  # [s] own choice: readings so long before what is known are still asked
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
    return worked(window, "warmth", _work_out)


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the days and hours before a midnight."""
    return {"warmth": _up_to(warmth_of(window), until_s)}


def _up_to(warmth: Warmth, until_s: int) -> Warmth:
    """Give the days and hours before a midnight."""
    day = int(warmth.start_s.searchsorted(until_s))
    hour = int(warmth.hour_s.searchsorted(until_s))
    return Warmth(
        start_s=warmth.start_s[: day + 1].copy(),
        told_s=warmth.told_s[:day].copy(),
        level_cel=warmth.level_cel[:day].copy(),
        spread_k=warmth.spread_k[:day].copy(),
        ambient_cel=warmth.ambient_cel[:day].copy(),
        hour_s=warmth.hour_s[:hour].copy(),
        nest_h=warmth.nest_h[:hour].copy(),
        ambient_h=warmth.ambient_h[:hour].copy(),
    )


def _work_out(window: HiveWindow, kept: Warmth | None) -> Warmth:
    """Work out the days and the hours: those that are known, and those since."""
    since = _since(window, kept)
    if kept is None:
        return since
    of_day = ("told_s", "level_cel", "spread_k", "ambient_cel", "hour_s", "nest_h", "ambient_h")
    return Warmth(
        np.concatenate((kept.start_s[:-1], since.start_s)),
        *(np.concatenate((getattr(kept, name), getattr(since, name))) for name in of_day),
    )


def _since(window: HiveWindow, kept: Warmth | None) -> Warmth:
    """Work out the days that are not known yet, and their hours."""
    days, first = days_of(window), 0 if kept is None else len(kept)
    first_s = int(days.start_s[first] if kept is None else kept.hour_s[-1] + HOUR_S)
    last_s = int(days.start_s[-1])
    start_s, ambient = days.start_s[first:], window.of("ambient")
    nest = clean_nest(window)
    level = _shares_by_day(nest, start_s)
    over_s = window.over_s("nest")
    is_over = start_s[1:] <= over_s
    after = nest.time_s.searchsorted(start_s[1:])
    # the next reading tells it, or a day without any
    told_s = np.where(is_over, start_s[1:] + SILENT_S, 0)
    there = is_over & (after < len(nest))
    told_s[there] = np.minimum(told_s[there], nest.time_s[after[there]])
    level[:, ~is_over] = np.nan
    hour_s, nest_h = on_grid(nest, HOUR_S, first_s, last_s)
    _, ambient_h = on_grid(ambient, HOUR_S, first_s, last_s)
    nest_h[hour_s + HOUR_S > over_s] = np.nan
    return Warmth(
        start_s=start_s,
        told_s=told_s,
        level_cel=level[1],
        spread_k=(level[2] - level[0]) / 2,
        ambient_cel=np.where(is_over, days.ambient_cel[first:], np.nan),
        hour_s=hour_s,
        nest_h=nest_h,
        ambient_h=ambient_h,
    )


def clean_nest(window: HiveWindow) -> Series:
    """Give the nest's readings without those that are wrong; from where they are still asked."""
    name = f"nest since {window.carried.until_s}"
    return worked(window, name, lambda here, _: _clean(here))


def _clean(window: HiveWindow) -> Series:
    """Clean the nest's readings."""
    nest = window.of("nest").since(window.carried.until_s, NEST_S)
    return clean(nest, "nest") if len(nest) else EMPTY


def _shares_by_day(nest: Series, start_s: Ints) -> Floats:
    """Give each day's `LEVEL_SHARES`, shape (3, n); NaN with readings of too few hours."""
    figures = np.full((len(LEVEL_SHARES), len(start_s) - 1), np.nan)
    if not len(nest):
        return figures
    edges = nest.time_s.searchsorted(start_s)
    hours = nest.time_s // HOUR_S
    new = np.diff(hours, prepend=-1, append=-1) != 0
    new[edges] = True  # each day by itself
    counted = np.concatenate(([0], np.cumsum(new)))[edges]
    for i in np.flatnonzero((np.diff(edges) > 0) & (np.diff(counted) >= LEAST_HOURS)):
        ordered = np.sort(nest.value[edges[i] : edges[i + 1]])
        last = len(ordered) - 1
        figures[:, i] = [ordered[round(share * last)] for share in LEVEL_SHARES]
    return figures
