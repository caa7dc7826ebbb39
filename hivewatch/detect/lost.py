"""What a loss of the weight comes to between the trends beside it, and whether it came back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from hivewatch.signals.carried import DAY_S
from hivewatch.signals.exodus import LEAST_KG
from hivewatch.signals.flown import NEVER_S
from hivewatch.signals.steps import Step, steps_of
from hivewatch.signals.usual import usual_step_near
from hivewatch.signals.window import HiveWindow, Series

# Own choice: so long away from a loss its levels are read, from so much time, or from so many
# readings where they are further apart; then the readings at its edges count, too.
EDGE_S, SIDE_S, SIDE, TREND_SIDE = 300, 900, 3, 4
TREND_KG_PER_H = 0.6  # [kg/h] own choice: what bees alone can do for hours, as in signals/steps
TREND_LEAST = 3  # [readings] fewer have no trend
# Own choice: share of the loss that may go on before and after it; foragers that go out again after
# a shower leave a slope and no step.
SLOPE = 0.3

UNDONE = (0.6, 1.5)  # own choice: share of a loss that, when it comes, undoes it ...
UNDONE_S = 2 * 3600  # [s] own choice: ... within so long
FED_S, FED_SHARE = 2 * DAY_S, 0.8  # own choice: so long before, and so much of the loss, was put on
# Own choice: what a shower sent home an hour or two before goes out again with the sun, or a part
HOME_S, HOME = 3 * 3600, (0.5, 1.5)


def lost_kg(weight: Series, step: Step) -> float | None:
    """Give the loss between the trends before and after it; None where it has no clear edge.

    The readings at the edges of a step may have been taken while bees were leaving. What nectar
    brings in, or foragers take out, from the one side to the other is no part of the loss.
    """
    usual_s = usual_step_near(weight, step.before_s) or 0
    reach_s = max(SIDE_S, SIDE * usual_s) + EDGE_S
    before = weight.between(step.before_s - reach_s, step.before_s - EDGE_S).value
    after = weight.between(step.after_s + EDGE_S, step.after_s + reach_s).value
    if usual_s > EDGE_S and not len(before):  # a coarse feed with a gap before
        before = weight.between(step.before_s, step.before_s).value
    if not (len(before) and len(after)):
        return None
    kg = float(np.median(before) - np.median(after))
    goes_on = max(0.0, float(before[0] - before[-1])) + max(0.0, float(after[0] - after[-1]))
    if kg < LEAST_KG or goes_on > SLOPE * kg:
        return None
    edge_s = EDGE_S if usual_s <= EDGE_S else 0
    reach_s = max(SIDE_S, TREND_SIDE * usual_s) + edge_s
    middle_s = (step.before_s + step.after_s) / 2
    return _carried_on(
        weight.between(step.before_s - reach_s, step.before_s - edge_s), middle_s
    ) - _carried_on(weight.between(step.after_s + edge_s, step.after_s + reach_s), middle_s)


def _carried_on(side: Series, to_s: float) -> float:
    """Give what a side's weight comes to at a moment if its trend (Theil, Sen) goes on. [kg]."""
    if len(side) < TREND_LEAST:
        return float(np.median(side.value))
    first, second = np.triu_indices(len(side), 1)
    slopes = (side.value[second] - side.value[first]) / (side.time_s[second] - side.time_s[first])
    most = TREND_KG_PER_H / 3600
    slope = float(np.clip(np.median(slopes), -most, most))
    return float(np.median(side.value - slope * (side.time_s - to_s)))


def is_undone(step: Step, later: Step) -> bool:
    """Say whether a loss came back: a part was put on again, or the swarm came home."""
    low, high = UNDONE
    return (
        later.before_s <= step.after_s + UNDONE_S
        and low * -step.size_kg <= later.size_kg <= high * -step.size_kg
    )


def alone_s(steps: Sequence[Step], i: int) -> tuple[int, int]:
    """Give between which moments nothing else moved the weight: the steps beside one. [s]."""
    begin_s = steps[i - 1].after_s if i else 0
    return begin_s, steps[i + 1].before_s if i + 1 < len(steps) else NEVER_S


def was_fed(window: HiveWindow, step: Step, kg: float) -> bool:
    """Say whether as much was put on in the days before: robbers carry feed off within hours."""
    return any(
        step.before_s - FED_S <= one.after_s <= step.before_s and FED_SHARE * kg <= one.size_kg
        for one in steps_of(window)
    )


def had_come_home(window: HiveWindow, step: Step, kg: float) -> bool:
    """Say whether as many bees as left had come home at once shortly before, as before rain."""
    return any(
        step.before_s - HOME_S <= one.after_s <= step.before_s
        and HOME[0] * kg <= one.size_kg <= HOME[1] * kg
        for one in steps_of(window)
    )
