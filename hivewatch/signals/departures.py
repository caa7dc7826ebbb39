"""When many bees left at once and stayed away: what a swarm is to the scale and to the counter.

A hive that has swarmed raises a new queen and has no eggs for weeks; whoever judges its brood must
know of it. Here it is enough that it may have been a swarm.
"""

from __future__ import annotations

import numpy as np

from hivewatch.signals.days import DAY_S, days_of
from hivewatch.signals.sun import is_light
from hivewatch.signals.window import HiveWindow, usual_step_near

LEAST_KG, MOST_KG = 0.7, 4.5  # [kg] common practice, no source: 0.8 for a cast, less an error
LONGEST_S = 45 * 60  # [s] own choice: an exodus takes about ten minutes, from memory
COARSE_STEPS = 3.5  # own choice: of a coarse feed, the readings around it and one in between
LIFTED_KG = 2.0  # [kg] own choice: a part in somebody's hands
EXODUS_BEES = 6000  # [bees] own choice: 0.8 kg of them, more went than came within the time below
EXODUS_S = 1800  # [s] own choice: foragers leave over hours
WEIGHED_S = 2 * 3600  # [s] own choice: where the scale was at work it knows better
WATCHED = 0.8  # own choice: share of the days on which the scale or the counter was at work

_AROUND = (-WEIGHED_S, WEIGHED_S)


def departures_of(window: HiveWindow) -> list[int]:
    """Give when a swarm may have left, by the scale or the counter.

    Parameters
    ----------
    window : HiveWindow
        The hive; takes `weight`, or `bees-out` with `bees-in`.

    Returns
    -------
    list[int]
        Unix times, rising, one a day at most. [s]
    """
    known = window.memo.get("departures")
    if not isinstance(known, list):
        times = sorted({*_by_weight(window), *_by_counter(window)})
        known = [one for i, one in enumerate(times) if not i or one - times[i - 1] > DAY_S / 2]
        window.memo["departures"] = known
    return known


def is_watched(window: HiveWindow, from_s: int, to_s: int) -> bool:
    """Say whether a departure would have been seen: scale or counter at work on most days."""
    days = (to_s - from_s) / DAY_S
    for name in ("weight", "bees-out"):
        time_s = window.of(name).time_s
        low, high = np.searchsorted(time_s, [from_s, to_s])
        if high > low and 1 + (np.diff(time_s[low:high] // DAY_S) > 0).sum() >= WATCHED * days:
            return True
    return False


def _by_weight(window: HiveWindow) -> list[int]:
    """Find lasting losses of a swarm's size, by day, with nothing lifted."""
    weight = window.of("weight")
    return [
        step.before_s
        for step in days_of(window).steps
        if -MOST_KG <= step.size_kg <= -LEAST_KG
        and step.after_s - step.before_s
        <= max(LONGEST_S, COARSE_STEPS * (usual_step_near(weight, step.before_s) or 0))
        and max(step.low_kg, step.high_kg) < LIFTED_KG
        and is_light(window.yard, step.before_s)
    ]


def _by_counter(window: HiveWindow) -> list[int]:
    """Find half hours in which a swarm's bees went more than came, where no scale was at work."""
    out, back = window.of("bees-out"), window.of("bees-in")
    if not len(out) or not len(back):
        return []
    went = np.concatenate(([0.0], np.cumsum(out.value)))
    came = np.concatenate(([0.0], np.cumsum(back.value)))
    since_s = out.time_s - EXODUS_S
    gone = went[1:] - went[np.searchsorted(out.time_s, since_s, side="right")]
    returned = (
        came[np.searchsorted(back.time_s, out.time_s, side="right")]
        - came[np.searchsorted(back.time_s, since_s, side="right")]
    )
    times = out.time_s[gone - returned >= EXODUS_BEES]
    weighed = [np.searchsorted(window.of("weight").time_s, times + by) for by in _AROUND]
    return [int(one) for one in times[weighed[0] == weighed[1]]]
