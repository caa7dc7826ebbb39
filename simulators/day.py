"""What one day brings to a colony."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Day:
    """What the outside gives a colony on one day."""

    number: int
    season: float  # 0 to 1, how much a queen would lay
    rising: bool
    year_day: float  # as in the north: day 172 is midsummer everywhere
    air_c: float
    noon_c: float
    fly_h: float  # hours of full flight
    nectar_kg: float  # a strong colony's catch in seven hours of flight
    sugar: float  # sugar share of the nectar
    pollen: float  # 0 to 1
    water_stays: float  # share of the excess water of last evening left this evening
    fresh_stays: float  # the same of today's nectar


@dataclass
class Trouble:
    """What presses on a colony this day."""

    robbed_kg: float = 0.0  # honey robbers would carry off
    plunder_kg: float = 0.0  # honey it robs elsewhere
    sprayed: float = 0.0  # share of foragers that do not come home
    sickness: float = 1.0  # factor on the deaths of grown bees
    chill: float = 1.0  # share of brood that lives through a cold day
    is_shut_in: bool = False
