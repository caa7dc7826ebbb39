"""Tell what bees bring in from what a hand puts on, where both move the weight for good."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from hivewatch.signals.restless import LEAST_KG
from hivewatch.signals.sun import is_light

if TYPE_CHECKING:
    from hivewatch.signals.steps import Step
    from hivewatch.signals.window import HiveWindow

POURS_S = 5400  # [s] own choice: a visit takes less
EVEN = 0.6  # own choice: share of it that comes from one reading to the next at most
LIFTED_KG = 1.0  # [kg] own choice: less than a part in somebody's hands
BEES_KG_PER_H = 3.0  # [kg/h] own choice: twice what the best hives bring for hours


def without_income(window: HiveWindow, step: Step) -> Step | None:
    """Give what of a lasting step a hand put on or took off: all of it, one jump in it, or nothing.

    In the best of flows a kilogram comes in an hour, which is more than slow change is allowed: at
    half an hour between two readings a day of it looks like one step. It comes by day, for longer
    than a visit, and from no reading to the next faster than bees fly.

    Parameters
    ----------
    step : Step
        One of the hive's moves.
    """
    took_s = step.after_s - step.before_s
    if (
        not step.readings
        or took_s < POURS_S
        or max(step.low_kg, step.high_kg) >= LIFTED_KG
        or not (is_light(window.yard, step.before_s) and is_light(window.yard, step.after_s))
    ):
        return step
    weight = window.of("weight").between(step.before_s, step.after_s)
    jumps_kg, apart_s = np.diff(weight.value), np.diff(weight.time_s)
    at = int(np.abs(jumps_kg).argmax())
    came_kg, in_s = step.within_kg - float(jumps_kg[at]), took_s - int(apart_s[at])
    by_bees_kg = LEAST_KG + BEES_KG_PER_H / 3600 * apart_s
    if not 0 < came_kg <= BEES_KG_PER_H / 3600 * in_s or (
        np.delete(np.abs(jumps_kg) > by_bees_kg, at).any()
    ):
        return step
    jump_kg = float(jumps_kg[at])
    if 0 < jump_kg <= min(by_bees_kg[at], EVEN * step.within_kg):
        return None
    return replace(
        step,
        before_s=int(weight.time_s[at]),
        after_s=int(weight.time_s[at + 1]),
        level_kg=float(weight.value[at]),
        size_kg=jump_kg - came_kg / in_s * float(apart_s[at]),
        within_kg=jump_kg,
        readings=0,
    )
