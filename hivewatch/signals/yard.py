"""A yard day by day: what each of its hives gained from dawn to dawn, and its middle hive.

What was put on or taken off does not count, and rain on the lids is not taken for it: what a cloud
puts on dries off again, so that over a few days the level tells the truth if nothing is removed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from hivewatch.apiary import Yard
from hivewatch.signals.days import DAY_S, Days, sum_steps
from hivewatch.signals.drying import is_at_once
from hivewatch.signals.levels import known_or
from hivewatch.signals.lids import (
    HOLDS_KG,
    LID_KG,
    doubt,
    night_takes,
    on_lid,
    seen_by_night,
    weighed_by_night,
)
from hivewatch.signals.local_days import local_midnights_s
from hivewatch.signals.steps import Step
from hivewatch.signals.window import Floats

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/detect/test_flow.py and the scoreboard.
SMALL_KG = 1.0  # [kg] smaller steps: foragers of a strong hive come home, a comb is moved, it rains
SHOWER_KG = 1.4  # [kg] no lid holds more; recordings of 2014 show 0.6 to 1.3 kg in downpours
SLOW_KG = 3.0  # [kg] what comes on slowly is snow, or the best of flows; a super is heavier
CAST_KG = 0.8  # [kg] a light swarm; foragers that leave within minutes weigh less, and come home
TOGETHER_S = 3600  # [s] a cloud reaches all hives of a yard within this, a keeper hardly
RAINED_MM = 1.0  # [mm/d] a lid that weighs
DRIES_KG = 0.06  # [kg/h] of flying weather: 4 mm of water a long warm day. From memory, FAO
# Irrigation and Drainage Paper 56 (1998), table 2: 2 to 4 mm/d where moderate, 4 to 7 where warm
MOST_KG = 10.0  # [kg/d] more is no nectar: a hive put down or taken off
WEIGHED = 0.5  # of a doubt of water that is left by dawn: the scale has weighed it, too
EMPTY_KG, HIVE_KG = 5.0, 15.0  # [kg] a floor board that was a hive once
STILL_KG = 0.08  # [kg/d] in weather to fly, of a week: nobody at home
DRY_DAYS = 4  # [d] of that week that tell it
WEAK = 0.3  # of the bees that a middle neighbour sends out: it has no vote
FLOWN_H = 4.0  # [h/d] that such a day is light and warm
WEEK = 7  # [d]
GAP_DAYS = 6  # [d] dawns that may be missing between two; what was gained between is spread


@dataclass(frozen=True, slots=True)
class YardDays:
    """A yard by days: n days, h hives.

    Parameters
    ----------
    day : tuple of date
        The yard's calendar days.
    start_s : NDArray
        Their midnights, shape (n + 1,). [s]
    gain_kg : Floats
        From this dawn to the next, without the water on the lids, shape (h, n). [kg]
    early_kg : Floats
        The same, judged at dusk: less what the night will take. [kg]
    day_kg : Floats
        From dawn to dusk, without that water. [kg]
    dawn_s, dusk_s : Floats
        When a day's gain is known, and when it can be judged, shape (n,). [s]
    is_gone : Flags
        There is nobody at home, or too few to have a vote, shape (h, n).
    lid_kg : Floats
        What the day's rain may weigh on a lid, as far as anybody knows of it. [kg]
    off_kg : Floats
        What water is allowed for at this dawn on the middle lid: so much less it may be. [kg]
    dusk_wet_kg, dawn_wet_kg : Floats
        What more water than is allowed for may be on it at dusk, and at the next dawn. [kg]
    flying_h : Floats
        Hours warm and light enough to fly, NaN where nobody knows. [h]
    bees_out : Floats
        The most that one hive sent out, NaN where nobody counts. [bees]
    """

    day: tuple[date, ...]
    start_s: NDArray[np.int64]
    gain_kg: Floats
    early_kg: Floats
    day_kg: Floats
    dawn_s: Floats
    dusk_s: Floats
    is_gone: Flags
    lid_kg: Floats
    off_kg: Floats
    dusk_wet_kg: Floats
    dawn_wet_kg: Floats
    flying_h: Floats
    bees_out: Floats

    def typical_kg(self, figures: Floats) -> Floats:
        """Give the middle hive's figure, where half of the hives that report tell it; (n,)."""
        told = ~np.isnan(figures)
        there = np.expand_dims(told.any(axis=1), 1) & ~self.is_gone
        enough = (told.sum(axis=0) * 2 >= there.sum(axis=0)) & told.any(axis=0)
        typical = np.full(figures.shape[1], np.nan)
        typical[enough] = np.nanmedian(figures[:, enough], axis=0)
        return typical

    def has_agreed(self, first: int, last: int, kg: float, *, at_dusk: bool) -> bool:
        """Say whether half of the hives, or more, gained so much from one day to another.

        Of two, one may be weak, or have lost its queen. It is asked at the dusk of the last day,
        or once its dawn is known.
        """
        gain = np.where(np.isnan(self.gain_kg), self.early_kg, self.gain_kg)[:, first : last + 1]
        if at_dusk:
            gain[:, -1] = self.early_kg[:, last]
        told = ~np.isnan(gain).all(axis=1)
        return bool((np.nansum(gain[told], axis=1) >= kg).sum() * 2 >= told.sum())


def yard_days(yard: Yard, days: Sequence[Days]) -> YardDays:
    """Lay the days of a yard's hives on one calendar.

    Parameters
    ----------
    days : Sequence[Days]
        Of each hive with a scale, at least one.

    Returns
    -------
    YardDays
        From the first day of any hive to the last of any.
    """
    first = min(one.day[0] for one in days)
    count = (max(one.day[-1] for one in days) - first).days + 1
    gain, early, by_day = (np.full((len(days), count), np.nan) for _ in range(3))
    dawn_s, dusk_s = np.zeros(count), np.zeros(count)
    showers = _showers(days)
    wet, gone = (np.zeros((len(days), count), np.bool_) for _ in range(2))
    off_kg = np.full((len(days), count), np.nan)
    rain_mm, night_mm, dusk_mm, flying_h = (
        _most(_rows(days, name, first, count))
        for name in ("rain_mm", "night_mm", "dusk_mm", "flying_h")
    )
    dawn_lid_kg, dusk_lid_kg = (on_lid(rain, HOLDS_KG) for rain in (night_mm, dusk_mm))
    for row, one in enumerate(days):
        at = (one.day[0] - first).days
        span = slice(at, at + len(one))
        no_steps = _no_steps(one, showers[row])
        next_rise_s = np.append(one.rise_s[1:], one.rise_s[-1:] + DAY_S)
        day_kg = one.day_kg + sum_steps(no_steps, one.rise_s, one.set_s) - dusk_lid_kg[span]
        night_kg = one.night_kg - sum_steps(no_steps, one.set_s, next_rise_s)
        no_gauge = np.isnan(night_mm[span])
        lid_kg = np.where(
            no_gauge,
            seen_by_night(night_kg, day_kg),
            weighed_by_night(dusk_mm[span], night_mm[span], night_kg, day_kg + dawn_lid_kg[span]),
        )
        gain[row, span] = _gain(one, no_steps, lid_kg)
        off_kg[row, span] = lid_kg
        day_kg += lid_kg
        wet_night = np.append(lid_kg[1:], 0.0) > 0
        by_day[row, span] = day_kg
        early[row, span] = day_kg - night_takes(np.where(wet_night, np.nan, night_kg), day_kg)
        dawn_s[span] = np.append(one.dawn_s[1:], one.dawn_s[-1:] + DAY_S)
        dusk_s[span] = one.dusk_s
        empty = (one.dawn_kg < EMPTY_KG) & (np.fmax.reduce(one.dawn_kg) > HIVE_KG)
        empty |= np.append(empty[1:], empty[-1:])  # by its next dawn, too
        gone[row, span] = empty | _stands_still(one)
        at_s = np.array([step.before_s for step in showers[row]], np.int64)
        wet[row, at + one.start_s.searchsorted(at_s, side="right") - 1] = True
    lid_kg = np.where(known_or(rain_mm) >= RAINED_MM, on_lid(rain_mm, LID_KG), 0.0)
    if len(days) > 1:
        both = wet.sum(axis=0) * 2 >= np.maximum(2, (~np.isnan(gain)).sum(axis=0))
        lid_kg[both] = LID_KG
    unseen_kg = np.maximum(lid_kg - DRIES_KG * known_or(flying_h) / 2, 0.0)
    bees_out = _rows(days, "bees_out", first, count)
    gone |= _is_still(by_day, flying_h, lid_kg) | _is_weak(bees_out)
    gain[gone] = early[gone] = by_day[gone] = np.nan
    return YardDays(
        tuple(first + timedelta(days=i) for i in range(count)),
        local_midnights_s(yard, first, count + 1),
        gain,
        early,
        by_day,
        dawn_s,
        dusk_s,
        gone,
        lid_kg,
        _middle(off_kg),
        doubt(dusk_mm, unseen_kg),
        doubt(np.append(night_mm[1:], np.nan), unseen_kg, WEIGHED),
        flying_h,
        _most(bees_out),
    )


def _rows(days: Sequence[Days], name: str, first: date, count: int) -> Floats:
    """Lay a figure of all hives on one calendar; (h, n)."""
    rows = np.full((len(days), count), np.nan)
    for row, one in enumerate(days):
        at = (one.day[0] - first).days
        rows[row, at : at + len(one)] = getattr(one, name)
    return rows


def _most(rows: Floats) -> Floats:
    """Give the largest figure of each day; NaN where nobody has one."""
    return np.asarray(np.fmax.reduce(rows, axis=0), np.float64)


def _middle(rows: Floats) -> Floats:
    """Give the middle figure of each day; 0 where nobody has one."""
    told = ~np.isnan(rows).all(axis=0)
    middle = np.zeros(rows.shape[1])
    middle[told] = np.nanmedian(rows[:, told], axis=0)
    return middle


def _showers(days: Sequence[Days]) -> list[list[Step]]:
    """Give each hive's steps that a cloud made: a gauge says that it rained, or its neighbours."""
    light = [[one for one in hive.steps if 0 < one.size_kg < SHOWER_KG] for hive in days]
    times = [np.array([one.before_s for one in steps], np.int64) for steps in light]
    return [
        [step for step in steps if _is_shower(step, hive, times[:row] + times[row + 1 :])]
        for row, (hive, steps) in enumerate(zip(days, light, strict=True))
    ]


def _is_shower(step: Step, hive: Days, others: Sequence[NDArray[np.int64]]) -> bool:
    """Say whether a light step up is rain."""
    day = int(hive.start_s.searchsorted(step.before_s, side="right")) - 1
    rain_mm = hive.rain_mm[max(0, day - 1) : day + 1]
    if not np.isnan(rain_mm).all():
        return bool(np.nansum(rain_mm) >= RAINED_MM)
    with_it = sum(bool((np.abs(one - step.before_s) < TOGETHER_S).any()) for one in others)
    return with_it > 0 and with_it * 2 >= len(others)


def _no_steps(one: Days, showers: Sequence[Step]) -> list[Step]:
    """Give the steps of a hive that nobody's hand made, or that are too small to say so."""
    return [
        *(step for step in one.steps if _is_slow_or_small(step) and step not in showers),
        *showers,
    ]


def _is_slow_or_small(step: Step) -> bool:
    """Say whether a step is no super, no feed and no swarm."""
    if not is_at_once(step):
        return -SMALL_KG < step.size_kg < SLOW_KG
    return -CAST_KG < step.size_kg < SMALL_KG


def _gain(one: Days, no_steps: Sequence[Step], lid_kg: Floats) -> Floats:
    """Give what a hive gained from each dawn to the next, spread over dawns that are missing."""
    next_rise_s = np.append(one.rise_s[1:], one.rise_s[-1:] + DAY_S)
    added = np.append(
        0.0, np.cumsum(one.step_kg - sum_steps(no_steps, one.rise_s, next_rise_s))[:-1]
    )
    level = one.dawn_kg - added - lid_kg
    gain = np.full(len(one), np.nan)
    known = np.flatnonzero(~np.isnan(level)).tolist()
    for a, b in pairwise(known):
        if b - a <= GAP_DAYS:
            gain[a:b] = (level[b] - level[a]) / (b - a)
    return np.where(np.abs(gain) > MOST_KG, np.nan, gain)


def _stands_still(one: Days) -> Flags:
    """Say on which days a scale shows the same dawn and dusk as on the day before: it is stuck."""
    still = (one.day_kg == 0) & (one.night_kg == 0)
    return np.append(np.False_, still[1:] & still[:-1])


def _is_still(by_day: Floats, flying_h: Floats, lid_kg: Floats) -> Flags:
    """Say on which days a scale has not moved for a week, in weather in which bees fly; (h, n).

    Foragers that leave and come home move it by more than that every day. A day of rain that
    moved it by no more than a wet lid does not count: it dries over an empty hive, too.
    """
    moved = np.abs(known_or(by_day))
    moved = np.where((lid_kg > 0) & (moved < STILL_KG + lid_kg), np.nan, moved)
    ahead = np.full((len(by_day), WEEK - 1), np.inf)
    week = sliding_window_view(np.hstack((ahead, moved)), WEEK, axis=1)
    dry = (~np.isnan(week)).sum(axis=2)
    most = np.fmax.reduce(week, axis=2)
    return np.asarray((most < STILL_KG) & (dry >= DRY_DAYS) & (flying_h >= FLOWN_H), np.bool_)


def _is_weak(bees_out: Floats) -> Flags:
    """Say on which days a hive has sent out few bees beside its neighbours, two in a row; (h, n).

    It is dead, has left whole, or is too small to tell what the country gives.
    """
    weak = np.zeros(bees_out.shape, np.bool_)
    for row, mine in enumerate(bees_out):
        others = np.delete(bees_out, row, axis=0)
        known = ~np.isnan(others).all(axis=0) & ~np.isnan(mine)
        weak[row, known] = mine[known] < WEAK * np.nanmedian(others[:, known], axis=0)
    weak[:, 1:] &= weak[:, :-1]
    return weak
