"""Sets a colony up as it would stand on a season's first day."""

from __future__ import annotations

import numpy as np

from simulators.colony import Colony
from simulators.day import Day
from simulators.nature import DRONE_DAYS, HONEY_SUGAR, HOUSE_DAYS
from simulators.plans import HivePlan
from simulators.queen import Queen


def found(plan: HivePlan, day: Day, chance: np.random.Generator) -> Colony:
    """Give bees, brood and stores the make-up that the season has at that time."""
    season = day.season
    best = plan.queen_best * season
    rate = 0.03 if day.rising else -0.02
    back = np.exp(-rate * np.arange(1, 22)) * min(best, plan.bees * 0.06)
    age = np.arange(HOUSE_DAYS)
    if day.rising and season < 0.85:
        winter = plan.bees * float(np.clip(1.05 - season, 0.1, 0.97))
        house = np.exp(-0.03 * age) * (age < 24)
        forager = min(0.1 * plan.bees, plan.bees - winter)
    elif season > 0.45:
        winter = 0.0
        house = np.exp(-0.004 * age) * (age < 23)
        forager = 0.33 * plan.bees
    else:
        winter = plan.bees * float(np.clip(1.1 - 1.6 * season, 0.3, 1))
        house = 1.0 * (age < 25)
        forager = min(0.08 * plan.bees * season, plan.bees - winter)
    house = house / house.sum() * max(plan.bees - winter - forager, 0.0)
    return Colony(
        plan=plan,
        chance=chance,
        egg=back[:3].copy(),
        open=back[3:9] * 0.92,
        capped=back[9:21] * 0.86,
        drone_brood=np.zeros(DRONE_DAYS),
        house=house,
        forager=forager,
        winter=winter,
        drone=200.0 if season > 0.6 else 0.0,
        honey_sugar_kg=plan.stores_kg * HONEY_SUGAR,
        wet_kg=0.0,
        pollen_kg=1.6 if season > 0.1 else 0.6,
        queen=Queen(age_d=plan.queen_years * 365.0),
        boxes=plan.boxes,
        supers=plan.supers,
    )
