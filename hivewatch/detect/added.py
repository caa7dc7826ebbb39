"""What a visit added to the weight: the trend beside it carried through, bees that flew taken off.

While somebody stands at a hive nectar goes on coming in, and bees go out or come home. The readings
of an hour beside a move tell how fast the weight changed by itself; the counter, how many bees more
are at home after it. A counter is off by a part of all that it counts, so that it is believed the
more, the more its difference stands out from that.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from hivewatch.signals.exodus import COUNT_ERROR
from hivewatch.signals.levels import MOST_SLOPE, median
from hivewatch.signals.steps import GAP_S, Step, moves_of
from hivewatch.signals.usual import usual_step_near
from hivewatch.signals.window import HiveWindow, Series

SIDE_S, SIDE_STEPS = 3600, 4.2  # [s] own choice: the trend beside a move is that of so long
HAND_KG, HAND_TIMES = 0.15, 3.0  # [kg] own choice: five spreads of a reading; times what follows
FLOWN_KG = 1.0e-4  # [kg] published: a worker, 0.10 to 0.125 g, constants in Becher et al. (2014)
WATCHED_S = 3600  # [s] own choice: a counter that was at work so shortly before


def added_kg(window: HiveWindow, move: Step) -> float:
    """Give what a move of the weight added for good. [kg].

    Parameters
    ----------
    window : HiveWindow
        The hive; `weight` is needed, `bees-in` and `bees-out` help.
    move : Step
        One of its lasting moves; across a long silence it stays as it was measured.

    Returns
    -------
    float
        From the last reading before to the first one after, less what changed by itself between
        them: the middle slope of all pairs of readings on one side (Theil, Sen).
    """
    weight = window.of("weight")
    took_s = move.after_s - move.before_s
    if took_s > GAP_S:
        return move.size_kg
    moves = moves_of(window)
    reach_s = int(max(SIDE_S, SIDE_STEPS * (usual_step_near(weight, move.before_s) or 0)))
    from_s = next((one.after_s for one in reversed(moves) if one.after_s <= move.before_s), 0)
    before = weight.between(max(from_s, move.before_s - reach_s), move.before_s)
    after = weight.between(move.after_s, min(move.after_s + reach_s, move.settled_s))
    slopes = sorted(_slopes(before) + _slopes(after))
    most = MOST_SLOPE / 3600
    slope = max(-most, min(most, median(slopes))) if slopes else 0.0
    one, other = _edge(before, -1), _edge(after, 1)
    apart_s = int(after.time_s[other] - before.time_s[one])
    change_kg = float(after.value[other] - before.value[one])
    return change_kg - slope * apart_s - _came_home_kg(window, move)


def _edge(side: Series, way: int) -> int:
    """Give the place of the reading nearest to a move at which no hand was on the hive any more.

    What changes from the nearest reading to the next one, and then no more, was still the hand.
    """
    nearest = 0 if way > 0 else len(side) - 1
    if len(side) < 3:  # noqa: PLR2004
        return nearest
    first, second, third = side.value[:3] if way > 0 else side.value[:-4:-1]
    changed_kg = abs(second - first)
    was_on = changed_kg > HAND_KG and changed_kg > HAND_TIMES * abs(third - second)
    return nearest + way if was_on else nearest


def _slopes(side: Series) -> list[float]:
    """Give the slopes of all pairs of readings. [kg/s]."""
    readings = zip(side.time_s.tolist(), side.value.tolist(), strict=True)
    return [
        (kg - was_kg) / (at_s - was_s) for (was_s, was_kg), (at_s, kg) in combinations(readings, 2)
    ]


def _came_home_kg(window: HiveWindow, move: Step) -> float:
    """Give what the bees weigh that came home during a move, less those that left. [kg]."""
    came, went = (_counted(window.of(name), move) for name in ("bees-in", "bees-out"))
    if came is None or went is None or came == went:
        return 0.0
    net = came - went
    error = COUNT_ERROR * float(np.hypot(came, went))
    return net * net**2 / (net**2 + error**2) * FLOWN_KG


def _counted(counts: Series, move: Step) -> float | None:
    """Give how many passed during a move, its share of each record; None if nobody counted."""
    near = counts.between(move.before_s - WATCHED_S, move.after_s + WATCHED_S)
    if not len(near) or near.time_s[0] > move.before_s or near.time_s[-1] < move.after_s:
        return None
    passed = np.interp((move.before_s, move.after_s), near.time_s, np.cumsum(near.value))
    return float(passed[1] - passed[0])
