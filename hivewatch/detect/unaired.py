"""What shows an empty box where nobody measures the air: the nest's fall and swing, and flights."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.days import FLIGHT_CEL, HOUR_S, Days
from hivewatch.signals.warmth import Warmth, warmth_of
from hivewatch.signals.window import Floats, HiveWindow

# Own choices; tests/unit/detect/test_dead_out.py.
FELL_CEL = 8.0  # [Cel] so far the nest fell below its week before ...
SWING_K, SWING_TIMES = 5.0, 3.0  # [K] ... and swings so far in a day, and so many times as before
STILL_K = 4.0  # [K] where nobody flies, too: no brood nest swings so far
AFTERNOON_H = 11, 20  # [h] when an empty box is warmest; published: earlier than bees
LEAST_HOURS = 18  # [h] hours with readings that show a day's swing
LIVED_DAYS = 3  # [d] with bees, before
FEW_BEES = 50.0  # [bees/d] that look into an empty hive
NO_FLIGHTS = 0.01  # share of a usual day's bees
# [d], [kg], [Cel] popular scale reports: a winter colony eats 30 to 50 g a day; its nest is warmer
EATS_DAYS, EATS_KG, COLD_CEL = 8, 0.06, 20.0
USUAL_FLIGHTS, USUAL_DAYS = 500, 14  # [bees/d] a counter that counts less tells nothing; [d]
SWUNG = "nobody flew for two days, though the nest swung with the day up to flying warmth"
FASTED = f"nobody flew for {EATS_DAYS} days, and the scale says that nobody ate"


def fallen(window: HiveWindow, warmth: Warmth) -> NDArray[np.bool_]:
    """Say at which hours two days before looked like an empty box by their fall and swing.

    A colony that dwindles cools by weeks, so that it is not told: only what was warm a week before.
    """
    nest = warmth.nest_h
    empty = np.zeros(len(nest), np.bool_)
    days = len(nest) // 24
    level, swing, peak_h = np.full(days, np.nan), np.full(days, np.nan), np.full(days, np.nan)
    known: list[int] = []
    for day in range(days):
        there = np.flatnonzero(~np.isnan(nest[24 * day : 24 * day + 24]))
        if len(there) < LEAST_HOURS:
            continue
        hours = nest[24 * day : 24 * day + 24][there]
        level[day], swing[day] = np.median(hours), np.ptp(hours)
        peak_h[day] = _peak_h(window, warmth, 24 * day + there, hours)
        known.append(day)
        usual, last = known[-9:-2], known[-2:]
        if len(usual) < LIVED_DAYS or last[0] != day - 1:
            continue
        asked_k = max(SWING_K, SWING_TIMES * float(np.median(swing[usual])))
        fell = np.median(level[usual]) - level[last] >= FELL_CEL
        by_day = (peak_h[last] >= AFTERNOON_H[0]) & (peak_h[last] <= AFTERNOON_H[1])
        empty[24 * day + 23] = bool((fell & by_day & (swing[last] >= asked_k)).all())
    return empty


def still_days(window: HiveWindow, days: Days) -> Iterator[tuple[int, float, str]]:
    """Give each day that shows nobody at home; how many flew usually, and in words what shows it.

    It and its eve had flying weather in the nest and no flight: a brood nest does not swing, bees
    that have dwindled let it, but fly while they live, and what keeps them at home in winter keeps
    an empty box cold. Or it ends a week in which nobody flew and nobody ate.
    """
    warmth = warmth_of(window)
    if not (window.has("bees-out") and np.isnan(warmth.ambient_h).all()):
        return
    last = -2
    seldom = days.bees_out < NO_FLIGHTS * np.nanmax(days.bees_out, initial=0.0)
    for day in np.flatnonzero(seldom).tolist():
        usual = days.bees_out[max(0, day - USUAL_DAYS - 2) : max(0, day - 1)]
        usual = usual[usual > 0]
        usually = float(np.median(usual)) if len(usual) else 0.0
        is_few = usually >= USUAL_FLIGHTS and days.bees_out[day] < NO_FLIGHTS * usually
        span_s = int(days.start_s[day]), int(days.start_s[day + 1])
        if is_few and _is_flying_weather(window, warmth, span_s):
            if last == day - 1:
                yield day, usually, SWUNG
            last = day
        elif _eats_nothing(days, day):
            yield day, float(np.nanmax(days.bees_out[:day])), FASTED


def _eats_nothing(days: Days, day: int) -> bool:
    """Say whether a hive weighed the same for a week up to a day, and let nobody out."""
    week = slice(max(0, day - EATS_DAYS + 1), day + 1)
    eaten_kg = days.gain_kg[week]
    return bool(
        len(eaten_kg) == EATS_DAYS
        and abs(eaten_kg.sum()) < EATS_KG
        and days.nest_cel[day] < COLD_CEL
        and (days.bees_out[week] < FEW_BEES).all()
        and np.nanmax(days.bees_out[:day]) >= USUAL_FLIGHTS
    )


def _is_flying_weather(window: HiveWindow, warmth: Warmth, span_s: tuple[int, int]) -> bool:
    """Say whether a nest was as an empty box's on a day warm enough to fly."""
    low, high = warmth.hour_s.searchsorted(span_s)
    there = low + np.flatnonzero(~np.isnan(warmth.nest_h[low:high]))
    if len(there) < LEAST_HOURS:
        return False
    hours = warmth.nest_h[there]
    peak_h = _peak_h(window, warmth, there, hours)
    by_day = AFTERNOON_H[0] <= peak_h <= AFTERNOON_H[1]
    return bool(by_day and np.ptp(hours) >= STILL_K and hours.max() >= FLIGHT_CEL)


def _peak_h(window: HiveWindow, warmth: Warmth, there: NDArray[np.intp], hours: Floats) -> float:
    """Give the sun's hour at which it was warmest."""
    warmest_s = int(warmth.hour_s[there[int(np.argmax(hours))]])
    return (warmest_s / HOUR_S + window.yard.longitude / 15) % 24
