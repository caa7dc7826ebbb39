"""Short, sharp dips of the nest's warmth: what an opened hive shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hivewatch.signals.carried import worked
from hivewatch.signals.window import HiveWindow, Ints, Series

LEAST_K = 1.2  # [K] own choice: tests/unit/signals/test_dips.py, on the Montreal recording
MOST_K = 15.0  # [K] own choice: a nest with bees does not lose more, a bad reading does
SHORTEST_S = 1500  # [s] own choice: no nest is warm again so soon, a bad reading is over
WILD_K, WILD_LEFT = 5.0, 0.1  # [K], share: own choice; bees make good no such fall in one reading
SHARP_S = 2100  # [s] own choice: cold air falls in at once; two readings of a 15 min feed
SHARP_READINGS = 2  # own choice: the same for coarser feeds
LONGEST_S = 7200  # [s] published: half an hour to two hours, notes to the Montreal recording
AT_ONCE = 0.85  # own choice: that much of a dip comes at once
BACK = 0.7  # own choice: that much of a dip is made good by the bees
STEADY = 0.4  # own choice: before, the nest moved by less than this part of the dip
BEFORE_S = 4500  # [s] own choice: what the nest was in this span before counts
FEW = 3  # readings needed before, own choice


@dataclass(frozen=True, slots=True)
class Dip:
    """One dip of the nest's warmth.

    Parameters
    ----------
    before_s, low_s, back_s : int
        Last reading before, lowest reading, reading that showed that the warmth was back. [s]
    depth_k : float
        How deep it went. [K]
    humidity_rise : float or None
        How far the nest's humidity rose within it; None without readings. [%RH]
    """

    before_s: int
    low_s: int
    back_s: int
    depth_k: float
    humidity_rise: float | None


def dips_of(window: HiveWindow) -> list[Dip]:
    """Give the dips of a hive's nest as `find_dips` does; found once a window."""
    return worked(window, "dips", _go_on)


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the dips that were over before."""
    return {"dips": [one for one in dips_of(window) if one.back_s < until_s]}


def _go_on(window: HiveWindow, kept: list[Dip] | None) -> list[Dip]:
    """Give the dips that are known, and those since."""
    from_s = window.carried.until_s - LONGEST_S - SHARP_S
    from_s = max([from_s, *(one.back_s for one in (kept or [])[-1:])])
    nest, humidity = window.of("nest"), window.of("nest-humidity")
    return (kept or []) + find_dips(nest, humidity, from_s)


def find_dips(nest: Series, humidity: Series, from_s: int = 0) -> list[Dip]:
    """Find where the nest cooled at once and was warm again within two hours.

    Parameters
    ----------
    nest : Series
        Brood-nest temperature. [Cel]
    humidity : Series
        Humidity in the nest, may be empty. [%RH]
    from_s : int
        What was over before is known. [s]

    Returns
    -------
    list[Dip]
        By time, none overlapping another.
    """
    dips: list[Dip] = []
    free = int(nest.time_s.searchsorted(from_s))
    for i in _falls(nest, free):
        if i < free:
            continue
        dip = _follow(nest, humidity, int(i))
        if dip is not None:
            dips.append(dip)
            free = int(nest.time_s.searchsorted(dip.back_s))
    return dips


def _falls(nest: Series, free: int) -> Ints:
    """Give the readings from a place on that are well below the one before them."""
    value = nest.value
    if len(value) <= FEW:
        return np.empty(0, np.int64)
    first = max(free - 1, 0)
    fell = value[first:-1] - value[first + 1 :] > LEAST_K / 3
    return np.flatnonzero(fell) + first + 1


def _follow(nest: Series, humidity: Series, i: int) -> Dip | None:
    """Follow the nest from the first cool reading on, until it is warm again or is no dip."""
    time_s, value = nest.time_s, nest.value
    before_s = int(time_s[i - 1])
    before = sorted(value[int(time_s.searchsorted(before_s - BEFORE_S)) : i].tolist())
    if len(before) < FEW or time_s[i] - before_s > max(SHARP_S, 1.5 * (before_s - time_s[i - 2])):
        return None  # new here, or a gap: whether it cooled at once is not known
    level = before[len(before) // 2]
    low, low_s = level, before_s
    end = int(time_s.searchsorted(before_s + LONGEST_S + SHARP_S, side="right"))
    for j in range(i, end):
        if value[j] < low:
            sharp = time_s[j] - before_s <= SHARP_S or j - i < SHARP_READINGS
            if not sharp and low - value[j] > (1 - AT_ONCE) * (level - value[j]):
                break
            low, low_s = float(value[j]), int(time_s[j])
        depth = level - low
        if depth >= LEAST_K and value[j] >= low + BACK * depth:
            short = time_s[j] - before_s < SHORTEST_S
            wild = j == i + 1 and depth > WILD_K and level - value[j] < WILD_LEFT * depth
            if short or wild or depth > MOST_K or before[-1] - before[0] > STEADY * depth:
                break
            rise = _humidity_rise(humidity, before_s, int(time_s[j]))
            return Dip(before_s, low_s, int(time_s[j]), depth, rise)
    return None


def _humidity_rise(humidity: Series, from_s: int, to_s: int) -> float | None:
    """Give how far the humidity rose above what it was in the span before."""
    low, begin, end = humidity.time_s.searchsorted([from_s - BEFORE_S, from_s + 1, to_s + 1])
    if begin in (low, end):
        return None
    before = sorted(humidity.value[low:begin].tolist())
    return float(humidity.value[begin:end].max() - before[len(before) // 2])
