"""The days of a yard's hives side by side: what the weather is to one, it is to all of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.bare import before_each
from hivewatch.signals.days import DAY_S, HOUR_S, Days, sum_steps
from hivewatch.signals.robbed import can_fly, eaten_kg_per_h, goes_with_robbed
from hivewatch.signals.window import Floats

Flags = NDArray[np.bool_]

# All thresholds: own choice; tests/unit/detect/test_silent_robbing.py.
SWARM_KG, SWARM_DAYS = (0.8, 4.5), 28  # [kg], [d] after a swarm it brings less for some weeks
SMALL_KG = 1.0  # [kg] smaller steps are foragers and showers, as for `signals.yard`
MOVED_DAYS = 2  # [d] after a step, feed dries and boxes are licked out
OFF_KG, OFF_FLOW = 0.05, 0.2  # [kg/d] off at the least, and of what the middle one brings
NEARLY_ALL = 0.3  # of the neighbours may err: one that dwindles, or whose patch ended
MOST_OTHERS = 12  # neighbours that are asked each by itself: more say the same, and cost
STILL_KG, STILL_DAYS = 0.05, 8  # [kg] by day at most, for [d]: bees bring and eat more


class Beside(NamedTuple):
    """Figures of a yard's hives on the same days, each of shape (hives, n), NaN where unknown."""

    plain: Floats  # gained on days that tell something, NaN where the hive's own weight tells more
    gain: Floats  # the same, and NaN for weeks after a swarm
    day: Floats  # gained by day, whatever befell the hive
    out: Floats
    back: Floats
    stepped: Floats
    night: Floats
    eaten: Floats
    begin_s: Floats  # of the days, for the whole yard: shape (n,)
    dusk_s: Floats


def side_by_side(hives: Sequence[Days]) -> Beside:
    """Lay the days of a yard's hives side by side."""
    first = min(one.day[0] for one in hives)
    shape = len(hives), (max(one.day[-1] for one in hives) - first).days + 1
    plain, gain, day, out, back, stepped, night, eaten = (np.full(shape, np.nan) for _ in range(8))
    begin_s, dusk_s = np.zeros(shape), np.zeros(shape)
    for row, one in enumerate(hives):
        at = slice((one.day[0] - first).days, (one.day[0] - first).days + len(one))
        told = np.where(goes_with_robbed(one), np.nan, _plain_kg(one))
        plain[row, at], gain[row, at] = told, np.where(_has_swarmed(one), np.nan, told)
        day[row, at], out[row, at], back[row, at] = one.day_kg, one.bees_out, one.bees_in
        stepped[row, at], night[row, at] = one.step_kg, one.night_kg
        eaten[row, at] = eaten_kg_per_h(one) * (one.dusk_s - one.dawn_s) / HOUR_S
        begin_s[row, at], dusk_s[row, at] = one.rise_s, one.dusk_s  # nobody robs by night
    begin_s, dusk_s = begin_s.max(axis=0), dusk_s.max(axis=0)
    return Beside(plain, gain, day, out, back, stepped, night, eaten, begin_s, dusk_s)


def _plain_kg(one: Days) -> Floats:
    """Give the gain by day of days without steps shortly before, on which bees could fly."""
    small = [step for step in one.steps if abs(step.size_kg) < SMALL_KG]
    next_rise_s = np.append(one.rise_s[1:], one.rise_s[-1:] + DAY_S)
    moved = np.nan_to_num(np.abs(one.step_kg - sum_steps(small, one.rise_s, next_rise_s)))
    lately = before_each(moved, MOVED_DAYS, 1, 1.0)
    spoilt = (np.nan_to_num(lately) >= SMALL_KG) | (moved >= SMALL_KG)
    plain = one.day_kg + sum_steps(small, one.rise_s, one.set_s)
    return np.where(spoilt | ~can_fly(one) | _is_still(one.day_kg), np.nan, plain)


def _has_swarmed(one: Days) -> Flags:
    """Say on which days a swarm may have left in the weeks before."""
    fell = -np.nan_to_num(one.step_kg)
    swarmed = np.where((fell >= SWARM_KG[0]) & (fell <= SWARM_KG[1]), 1.0, 0.0)
    return np.asarray(np.nan_to_num(before_each(swarmed, SWARM_DAYS, 1, 1.0)) > 0)


def _is_still(day_kg: Floats) -> Flags:
    """Say when a scale carries no living hive, or stands still: it tells nothing of the day."""
    moves = np.concatenate((np.zeros(STILL_DAYS - 1), np.nan_to_num(np.abs(day_kg))))
    most_kg = np.lib.stride_tricks.sliding_window_view(moves, STILL_DAYS).max(axis=1)
    return np.asarray(most_kg < STILL_KG)


def others_of(figures: Floats, row: int) -> Floats:
    """Give the figures of a hive's neighbours: the first dozen of a large yard."""
    return np.delete(figures, row, axis=0)[:MOST_OTHERS]


def before_each_row(figures: Floats, days: int, least: int) -> Floats:
    """Give the middle figure of the days before each day, row by row: see `before_each`."""
    rows = np.concatenate((np.full((len(figures), days), np.nan), figures), axis=1)
    return before_each(rows.ravel(), days, least).reshape(rows.shape)[:, days:]


def middle_of(figures: Floats) -> Floats:
    """Give the middle one of what is known of each day, shape (hives, n); NaN where nothing is."""
    ordered, day = np.sort(figures, axis=0), np.arange(figures.shape[1])  # NaN goes to the end
    known = (~np.isnan(figures)).sum(axis=0)
    low, high = np.maximum(known - 1, 0) // 2, np.minimum(known // 2, len(figures) - 1)
    return np.asarray((ordered[low, day] + ordered[high, day]) / 2)


def nearly_least(figures: Floats) -> Floats:
    """Give the figure of each day that nearly all known ones reach; NaN where nothing is."""
    ordered, known = np.sort(figures, axis=0), (~np.isnan(figures)).sum(axis=0)
    at = np.ceil(NEARLY_ALL * known).astype(np.int64) - 1
    return np.asarray(ordered[np.maximum(at, 0), np.arange(figures.shape[1])])


def above_of(own: Floats, others: Floats) -> Floats:
    """Give by how much a hive's figure is above the middle one of the others; 0 below it."""
    return np.asarray(np.nan_to_num(np.maximum(own - middle_of(others), 0.0)))


def off_of(more_kg: Floats, income_kg: Floats, before: tuple[int, int, float]) -> Floats:
    """Give how far off the usual most of the days before were, at this day's income [kg].

    Two colonies bring what differs by a share of it: on a lean day they are nearer to each other.

    Parameters
    ----------
    more_kg, income_kg : Floats
        How much more the others gained; what the middle one of them brought. Shape (n,).
    before : tuple
        How many days back, how many known ones at the least, and the share of them.

    Returns
    -------
    Floats
        Shape (n,); infinite where too few days are known.
    """
    each = OFF_KG + OFF_FLOW * income_kg
    times = before_each(np.abs(more_kg - before_each(more_kg, *before[:2])) / each, *before)
    return np.asarray(np.nan_to_num(np.maximum(times, 1.0) * each, nan=np.inf))
