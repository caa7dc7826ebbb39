"""Does a hive that fell off its scale lie beside it: what its nest and its entrance say."""

from __future__ import annotations

from math import exp

import numpy as np

from hivewatch.signals.window import HiveWindow, Series

LEVEL_S = 3600  # [s] own choice: the hive's weight is the median of this span before
PROBE_S = 1500  # [s] own choice: a bare probe cools by a factor e in less; a nest takes hours
NEST_MIN_K = 6.0  # [K] own choice: below this over ambient a nest says nothing
NEST_FELL_K = 8.0  # [K] own choice: a probe without its nest, where ambient is not known
COOLING_S = 3 * 3600  # [s] own choice: within this
COLD = 0.5  # own choice: of what a nest is warmer than the air; a visit costs it much less
FLYING, FLYING_BEES = 0.02, 40  # own choice: share of the hour's rate before, and at least so many
WAITED_S = 2 * 3600  # [s] own choice: bees that find their entrance again


def nest_after(window: HiveWindow, before_s: int, start_s: int, told_s: int) -> str:
    """Say where the nest probe is after a fall: `warm`, `gone` or `unknown`."""
    nest, ambient = window.of("nest"), window.of("ambient").up_to(told_s)
    end = int(nest.time_s.searchsorted(start_s))  # a reading just before may be of before
    last = int(nest.time_s.searchsorted(told_s, side="right"))
    if end < 2 or before_s - nest.time_s[end - 1] > LEVEL_S:  # noqa: PLR2004
        return "unknown"
    if last == end:
        usual_s = int(nest.time_s[end - 1] - nest.time_s[end - 2])
        return "gone" if told_s - nest.time_s[end - 1] > 1.5 * usual_s else "unknown"
    was, now = float(nest.value[end - 1]), float(nest.value[last - 1])
    if not len(ambient) or told_s - ambient.time_s[-1] > LEVEL_S:
        return "gone" if was - now >= NEST_FELL_K else "warm"
    outside = float(ambient.value[-1])
    if was - outside < NEST_MIN_K:
        return "unknown"
    cooling_s = int(nest.time_s[last - 1]) - before_s
    kept = (now - outside) / (was - outside)
    return "gone" if kept < max(0.05, exp(-cooling_s / PROBE_S)) else "warm"


def cold_s_after(window: HiveWindow, before_s: int, until_s: int) -> int | None:
    """Give when a nest had lost half of its warmth within hours of a fall; None if it did not.

    A keeper who takes off half of a hive closes it again, and the nest stays warm.
    """
    nest, ambient = window.of("nest"), window.of("ambient")
    first = int(nest.time_s.searchsorted(before_s, side="right"))
    last = int(nest.time_s.searchsorted(min(until_s, before_s + COOLING_S), side="right"))
    outside = ambient.between(before_s - LEVEL_S, before_s + 1)
    if first == 0 or not len(outside) or before_s - nest.time_s[first - 1] > LEVEL_S:
        return None
    warm_k = float(nest.value[first - 1]) - float(outside.value[-1])
    if warm_k < NEST_MIN_K:
        return None
    cold = np.flatnonzero(nest.value[first:last] < outside.value[-1] + COLD * warm_k)
    return int(nest.time_s[first + cold[0]]) if len(cold) else None


def cooled_k_after(nest: Series, before_s: int, told_s: int) -> tuple[float, float] | None:
    """Give after how many hours, and by how much, the nest cooled after a fall. [h], [K]."""
    end = int(nest.time_s.searchsorted(before_s, side="right"))
    low, high = nest.time_s.searchsorted([told_s, before_s + COOLING_S], side="right")
    if end == 0 or high <= low:
        return None
    hours = float(nest.time_s[high - 1] - before_s) / 3600
    return hours, float(nest.value[end - 1] - nest.value[high - 1])


def bees_after(
    window: HiveWindow, before_s: int, moments_s: tuple[int, int, int]
) -> tuple[float, int]:
    """Give how many bees passed the entrance since a fall, and when that said that it is there.

    A record that began before the fall tells of the time before, too, and is left out. Of a hive
    that stands no more a fiftieth of the bees may still fly.

    Parameters
    ----------
    before_s : int
        The last reading before the fall. [s]
    moments_s : tuple of int
        The fall, when it was told, and until when bees are waited for. [s]

    Returns
    -------
    tuple of float and int
        No bees, and when it was told, where too few passed.
    """
    start_s, told_s, until_s = moments_s
    counts = [window.of(name) for name in ("bees-out", "bees-in")]
    after = [one.between(start_s, until_s) for one in counts]
    usual = [one.between(before_s - LEVEL_S, before_s) for one in counts]
    if not all(len(one) for one in usual):
        return 0.0, told_s
    rate = min(float(one.value.sum()) for one in usual) / LEVEL_S
    for end_s in after[0].time_s[1:].tolist():
        if end_s < told_s:
            continue
        passed = [float(one.up_to(end_s).value[1:].sum()) for one in after]
        if min(passed) >= max(FLYING_BEES, FLYING * rate * (end_s - int(after[0].time_s[0]))):
            return sum(passed), end_s
    return 0.0, told_s
