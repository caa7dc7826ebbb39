"""Losses too small for a move of a coarse feed, that counter or nest saw bees pour out of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from hivewatch.signals.exodus import Exodus
from hivewatch.signals.steps import Step, restless_of, settled_of
from hivewatch.signals.window import HiveWindow


def with_slips(window: HiveWindow, pouring: Sequence[Exodus]) -> list[Step]:
    """Give all moves that are settled, and each exodus that is none, by the time they settled.

    Parameters
    ----------
    window : HiveWindow
        The hive; `weight` is needed.
    pouring : Sequence[Exodus]
        What was seen pouring out, by the time it was seen.

    Returns
    -------
    list[Step]
        An exodus is over with the reading after the last one that showed it.
    """
    moves = settled_of(window)
    slips = list(_slips(window, pouring)) if pouring else []
    return sorted([*moves, *slips], key=lambda one: one.settled_s) if slips else moves


def _slips(window: HiveWindow, pouring: Sequence[Exodus]) -> Iterator[Step]:
    """Make a move of each exodus in which no reading moved enough for one."""
    weight, known = window.of("weight"), restless_of(window)
    moved_s = known.time_s[known.flags]
    over_s = 0
    for been in reversed(pouring):
        after = int(weight.time_s.searchsorted(been.seen_s)) + 1
        if (over_s and been.seen_s > over_s) or after >= len(weight):
            continue
        settled_s = int(weight.time_s[after])
        low, high = moved_s.searchsorted((been.start_s, settled_s), side="right")
        if low < high:
            continue
        over_s = been.start_s
        yield Step(
            before_s=been.start_s,
            after_s=been.seen_s,
            settled_s=settled_s,
            level_kg=float(weight.value[after - 1]) + been.kg,
            size_kg=-been.kg,
            spread_kg=been.kg_error,
            low_kg=0.0,
            high_kg=0.0,
            within_kg=-been.kg,
            sharp_kg=been.kg,
            readings=0,
        )
