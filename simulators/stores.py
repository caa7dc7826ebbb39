"""Nectar and pollen coming in, honey and pollen used up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulators import nature as n
from simulators.day import Day

if TYPE_CHECKING:
    from simulators.colony import Colony


def effort(day: Day) -> float:
    """Say how hard foragers work: the less the country gives, the fewer trips."""
    give = max(day.nectar_kg / 2.5, 0.7 * day.pollen)
    return float(np.clip(0.30 + 0.7 * give, 0, 1))


def forage(colony: Colony, day: Day) -> dict[str, float]:
    """Bring nectar, pollen and, from a robbed hive, honey."""
    trips = colony.forager * n.TRIPS_PER_H * day.fly_h * effort(day)
    trips *= not colony.trouble.is_shut_in
    want = float(np.clip(1.6 - colony.pollen_kg, 0.05, 1.0)) * min(colony.brood / 9_000, 1)
    pollen_trips = trips * 0.45 * want * min(day.pollen * 1.3, 1)
    pollen = pollen_trips * n.POLLEN_LOAD_KG
    hands = colony.forager / (0.5 * colony.forager + 6_000)
    catch = day.nectar_kg * colony.plan.flow * hands * min(day.fly_h / 5.5, 1.25)
    most = (trips - pollen_trips) * n.NECTAR_LOAD_KG
    room = colony.free_cells * n.CELL_HONEY_KG * 0.35
    nectar = max(min(catch, most, room), 0.0)
    sugar = nectar * day.sugar
    plunder = min(colony.trouble.plunder_kg, room) * (colony.alive and day.fly_h > 1)
    wet = nectar - sugar / n.HONEY_SUGAR
    colony.honey_sugar_kg += sugar + plunder * n.HONEY_SUGAR
    colony.wet_kg = colony.wet_kg * day.water_stays + wet * day.fresh_stays
    colony.pollen_kg += pollen
    colony.last_income_kg += 0.5 * (nectar - colony.last_income_kg)
    return {
        "nectar": nectar,
        "sugar": sugar,
        "wet": wet,
        "pollen": pollen,
        "plunder": plunder,
        "trips": trips + plunder / n.NECTAR_LOAD_KG,
    }


def eat(colony: Colony, day: Day, trips: float) -> dict[str, float]:
    """Burn honey for rest, flight, warmth and larvae; build comb in a flow."""
    cool = float(np.clip((34.5 - day.air_c) / 19.5, 0, 1.6))
    mild = float(np.clip((day.air_c - 8) / 10, 0, 1))
    rest = n.REST_WINTER_KG + (n.REST_SUMMER_KG - n.REST_WINTER_KG) * mild
    rest += n.REST_FROST_KG * float(np.clip(2 - day.air_c, 0, 20))
    uses = {
        "rest": colony.adults * rest + colony.drone * n.DRONE_EATS_KG,
        "flight": trips * n.TRIP_HONEY_KG,
        "warmth": colony.brood * n.BROOD_HEAT_KG * n.BROOD_HEAT_SHARE * cool * colony.alive,
        "larvae": float(colony.open.sum()) * n.LARVA_HONEY_KG,
    }
    drawn = 0.0
    if colony.to_draw_kg > 0 and colony.last_income_kg > 1.0 and colony.alive:
        drawn = min(0.06 * np.tanh(colony.last_income_kg / 3), colony.to_draw_kg)
    uses["wax"] = drawn * n.WAX_COST
    there = 0.98 * colony.honey_sugar_kg / n.HONEY_SUGAR
    share = min(1.0, there / max(sum(uses.values()), 1e-9))
    uses = {f"honey_{use}": kg * share for use, kg in uses.items()}
    colony.wax_kg += drawn * share
    colony.to_draw_kg -= drawn * share
    honey = sum(uses.values())
    pollen = float(colony.open.sum()) * n.LARVA_POLLEN_KG
    pollen += float(colony.house[:15].sum()) * n.ADULT_POLLEN_KG
    pollen *= 1 - 0.5 * colony.winter / max(colony.adults, 1.0)  # winter bees feed off their fat
    pollen = min(pollen, 0.9 * colony.pollen_kg)
    colony.honey_sugar_kg -= honey * n.HONEY_SUGAR
    colony.pollen_kg -= pollen
    return uses | {"honey_eaten": honey, "pollen_eaten": pollen, "drawn": drawn * share}
