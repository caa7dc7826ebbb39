"""What a yard's scales would show if nothing troubled them: its flows and its dearths.

The figure is what a beekeeper with a scale would say: a hive's weight just before dawn, when all
bees are home, less that of the dawn before, without what was put on or taken off, without swarms,
and without what lies on the lid or in the wood. It is taken from the model's own masses. Of a yard
it is the middle hive's, day by day, of the colonies that are strong enough to tell.

- **A flow** begins with two good days in succession (0.35 kg or more each, 0.9 kg together). It
  ends with the day on which what it brought above 0.3 kg a day stood highest, before 2 kg of that
  were missing again, no day counting more than 0.4 kg: four days of rain do not end the lime, five
  poor days do. `kg_gained` is the sum from its first dawn to its last, `kg_a_day` that by its days.
- **A dearth** is a spell of eight days or more in which the middle day of every week loses 0.1 kg
  or more, although bees can fly four hours a day, outside flows, between the 15th of April and the
  22nd of September (half a year later in the south; all year in the tropics). Spells no more than
  three days apart are one.

These are our own choices: no numeric definition has been published. A spell that only just meets
them (a flow of less than 3 kg; a dearth of less than twelve days, or of less than 0.2 kg a day) is
marked `clear: false`: a watcher may tell it and need not.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from simulators import mass
from simulators.plans import STEP_S, STEPS_A_DAY, Floats, instant
from simulators.sensors import Told
from simulators.signs import runs

DAWN_STEP = 3 * 3_600 // STEP_S  # in summer first light, in winter night: everybody is home
STRONG_BEES = 6_000.0
GOOD_KG, TWO_GOOD_KG = 0.35, 0.9
BESIDE_KG, MISSING_KG, MISSING_MOST_KG = 0.3, 2.0, 0.4
CLEAR_FLOW_KG = 3.0
LOSS_KG, FLY_H, DEARTH_DAYS, JOIN_DAYS, WEEK = -0.1, 4.0, 8, 3, 7
CLEAR_LOSS_KG, CLEAR_DEARTH_DAYS = -0.2, 12
SEASON = (105.0, 265.0)  # day of the northern year
TROPIC = 15.0  # degrees

Event = dict[str, Any]


def daily_gain(told: Told) -> Floats:
    """Give what a hive gains from each dawn to the next [kg]; the last day's is not known."""
    weight, begin_s = told.weight, int(told.weather.time_s[0])
    stands = (
        weight.gross_kg - weight.lid_kg - weight.wood_kg - mass.stepped(told.life, told.weather)
    )
    gain = np.append(np.diff(stands[DAWN_STEP::STEPS_A_DAY]), np.nan)
    gain[told.life.columns["adults"] <= STRONG_BEES] = np.nan
    for since_s, _, what in told.life.off_scale:
        if what == "taken":
            gain[max(0, int(since_s) - begin_s) // 86_400 :] = np.nan
    return gain


def middle(rows: list[Floats]) -> Floats:
    """Give the middle hive's figure of each day, NaN where no hive tells one."""
    table = np.array(rows)
    known = ~np.isnan(table).all(axis=0)
    typical = np.full(table.shape[1], np.nan)
    typical[known] = np.nanmedian(table[:, known], axis=0)
    return typical


def of_yard(yard: str, hives: list[Told], latitude: float) -> list[Event]:
    """Tell the flows and dearths of a yard."""
    sky = hives[0].weather
    gain = middle([daily_gain(told) for told in hives])
    day_s = int(sky.time_s[0]) + 86_400.0 * np.arange(gain.size + 1, dtype=np.float64)
    given = flows(gain)
    events = [_spell("nectar_flow", yard, day_s, first, after, gain) for first, after in given]
    fly_h = sky.daily(sky.flying).sum(axis=1) / 12
    season = np.asarray(sky.season_day, np.float64)
    in_season = (season >= SEASON[0]) & (season <= SEASON[1])
    if abs(latitude) < TROPIC:
        in_season[:] = True
    for first, after in given:
        in_season[first:after] = False  # a flow in which it rains is no dearth
    return events + [
        _spell("dearth", yard, day_s, first, after, gain)
        for first, after in dearths(gain, fly_h, in_season)
    ]


def flows(gain: Floats) -> list[tuple[int, int]]:
    """Give the flows as (first day, day after the last)."""
    found: list[tuple[int, int]] = []
    free = 0
    days = np.flatnonzero(gain >= GOOD_KG).tolist()
    for one, two in pairwise(days):
        if one < free or two - one > 1 or gain[one] + gain[two] < TWO_GOOD_KG:
            continue
        free = _end(gain, one)
        found.append((one, free))
    return found


def _end(gain: Floats, first: int) -> int:
    """Give the day after the one on which a flow stood highest, before too much was missing."""
    level = highest = 0.0
    after = first + 1
    for day in range(first, gain.size):
        if not np.isnan(gain[day]):
            level += max(gain[day] - BESIDE_KG, -MISSING_MOST_KG)
        if level > highest:
            highest, after = level, day + 1
        if highest - level >= MISSING_KG:
            break
    return after


def dearths(
    gain: Floats, fly_h: Floats, in_season: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
) -> list[tuple[int, int]]:
    """Give the dearths as (first day, day after the last)."""
    idle = np.zeros(gain.size, np.bool_)
    half = WEEK // 2
    for day in range(gain.size):
        week = slice(max(0, day - half), day + half + 1)
        known = gain[week][~np.isnan(gain[week])]
        if known.size > half and in_season[day]:
            idle[day] = np.median(known) <= LOSS_KG and fly_h[week].mean() >= FLY_H
    return [(first, last + 1) for first, last in runs(idle, DEARTH_DAYS, JOIN_DAYS)]


def _spell(kind: str, yard: str, day_s: Floats, first: int, after: int, gain: Floats) -> Event:
    inside = gain[first:after]
    kg, days = float(np.nansum(inside)), after - first
    a_day = kg / max(1, int((~np.isnan(inside)).sum()))
    if kind == "nectar_flow":
        clear = kg >= CLEAR_FLOW_KG
    else:
        clear = days >= CLEAR_DEARTH_DAYS and a_day <= CLEAR_LOSS_KG
    return {
        "kind": kind,
        "subject": f"yard:{yard}",
        "start": instant(float(day_s[first])),
        "end": instant(float(day_s[after])),
        "kg_a_day": round(a_day, 3),
        "kg_gained": round(kg, 2),
        "clear": clear,
    }
