"""When many bees left at once and stayed away: what a swarm is to the scale and to the counter.

A hive that has swarmed raises a new queen and has no eggs for weeks; whoever judges its brood must
know of it. Here it is enough that it may have been a swarm.
"""

from __future__ import annotations

from bisect import bisect_left

import numpy as np

from hivewatch.signals.carried import DAY_S, worked
from hivewatch.signals.steps import Step, steps_of
from hivewatch.signals.sun import is_light
from hivewatch.signals.usual import first_within, usual_step_near
from hivewatch.signals.window import HiveWindow, Ints

# [kg] common practice, no source: 0.8 for a cast, 4 to 4.5 for the heaviest, less and more an
# error, or honey that they take from the combs
LEAST_KG, MOST_KG = 0.7, 6.0
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
    return worked(window, "departures", lambda here, _: _work_out(here))


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: departures by the counter, and days at work."""
    at_work = {
        name: days[: days.searchsorted(until_s // DAY_S)].copy()
        for name, days in _at_work(window).items()
    }
    counted = [one for one in worked(window, "by counter", _by_counter) if one < until_s]
    weighed = [one for one in worked(window, "by weight", _by_weight) if one.settled_s < until_s]
    return {"by counter": counted, "by weight": weighed, "at work": at_work}


def _work_out(window: HiveWindow) -> list[int]:
    """Put together what scale and counter say."""
    weighed = [one.before_s for one in worked(window, "by weight", _by_weight)]
    times = sorted({*weighed, *worked(window, "by counter", _by_counter)})
    return [one for i, one in enumerate(times) if not i or one - times[i - 1] > DAY_S / 2]


def _at_work(window: HiveWindow) -> dict[str, Ints]:
    """Give the UTC days on which scale and counter reported, by number."""
    return worked(window, "at work", _days_at_work)


def _days_at_work(window: HiveWindow, kept: dict[str, Ints] | None) -> dict[str, Ints]:
    """Give the days that are known, and those since."""
    found = {}
    for name in ("weight", "bees-out"):
        time_s = window.of(name).time_s
        low = time_s.searchsorted(window.carried.until_s // DAY_S * DAY_S)
        day = time_s[low:] // DAY_S
        since = day[np.diff(day, prepend=-1) > 0]
        found[name] = since if kept is None else np.append(kept[name], since)
    return found


def is_watched(window: HiveWindow, from_s: int, to_s: int) -> bool:
    """Say whether a departure would have been seen: scale or counter at work on most days."""
    days = (to_s - from_s) / DAY_S
    for known in _at_work(window).values():
        low, high = known.searchsorted([from_s // DAY_S, -(-to_s // DAY_S)])
        if high > low and high - low >= WATCHED * days:
            return True
    return False


def is_weighed(window: HiveWindow) -> bool:
    """Say whether the scale was at work whenever the counter was, which then is not asked."""
    counted_s, weighed_s = window.of("bees-out").time_s, window.of("weight").time_s
    if not len(counted_s):
        return True
    ends_s = np.array((counted_s[0] - WEIGHED_S, counted_s[-1] + WEIGHED_S))
    low, high = weighed_s.searchsorted(ends_s)
    edges_s = np.concatenate((ends_s[:1], weighed_s[low:high], ends_s[1:]))
    return bool((np.diff(edges_s) <= 2 * WEIGHED_S).all())


def _by_weight(window: HiveWindow, kept: list[Step] | None) -> list[Step]:
    """Find lasting losses of a swarm's size, by day, with nothing lifted."""
    weight, steps = window.of("weight"), steps_of(window)
    since = bisect_left(steps, window.carried.until_s, key=lambda one: one.settled_s)
    return (kept or []) + [
        step
        for step in steps[since:]
        if -MOST_KG <= step.size_kg <= -LEAST_KG
        and step.after_s - step.before_s
        <= max(LONGEST_S, COARSE_STEPS * (usual_step_near(weight, step.before_s) or 0))
        and max(step.low_kg, step.high_kg) < LIFTED_KG
        and is_light(window.yard, step.before_s)
    ]


def _by_counter(window: HiveWindow, kept: list[int] | None) -> list[int]:
    """Give the times that are known, and those since."""
    return (kept or []) + [one for one in _exodus(window) if one >= window.carried.until_s]


def _exodus(window: HiveWindow) -> list[int]:
    """Find half hours in which a swarm's bees went more than came, where no scale was at work."""
    span_s = window.carried.until_s - 2 * EXODUS_S, window.last_s  # what was before is known
    out, back = (window.of(name).between(*span_s) for name in ("bees-out", "bees-in"))
    if not len(out) or not len(back):
        return []
    went = np.concatenate(([0.0], np.cumsum(out.value)))
    came = np.concatenate(([0.0], np.cumsum(back.value)))
    gone = went[1:] - went[first_within(out.time_s, EXODUS_S - 1)]
    many = gone >= EXODUS_BEES  # before those that came in are taken off
    times, gone = out.time_s[many], gone[many]
    returned = (
        came[back.time_s.searchsorted(times, side="right")]
        - came[back.time_s.searchsorted(times - EXODUS_S, side="right")]
    )
    times = times[gone - returned >= EXODUS_BEES]
    weighed = [np.searchsorted(window.of("weight").time_s, times + by) for by in _AROUND]
    return [int(one) for one in times[weighed[0] == weighed[1]]]
