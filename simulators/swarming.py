"""Swarms: the wish, the cells, the prime swarm, the casts, and bees that abscond."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulators import nature as n
from simulators.colony import Colony
from simulators.day import Day
from simulators.forage import Country
from simulators.plans import STEPS_A_DAY, Floats
from simulators.queen import CELL_CAPPED_D
from simulators.weather import Weather

SWARM_SHARE, CAST_SHARE = 0.62, 0.35  # published 0.5 to 0.75 (Winston 1987; Rangel & Seeley 2012)
SWARM_BROOD = 9_000  # own choice; a published model takes 17,000 (Fefferman & Starks 2006)
SWARM_DAY = 146  # day of the year; published 134 (Winston 1980) and 162 (McLellan & Rowland 1986)
CELLS_AHEAD_D = 6  # cells a day old leave so many days until the first is capped
CAST_BEES = 11_000  # own choice: fewer bees do not divide again


@dataclass(frozen=True)
class Flight:
    """A swarm on the wing."""

    time_s: int
    minutes: float
    bees: float
    kg: float


def wants(colony: Colony, day: Day, urge: float) -> float:
    """Give the chance that a colony starts swarm cells today (own choice of form)."""
    if not (colony.queen.state == "laying" and not colony.queen.cells and not colony.queen.heir_d):
        return 0.0
    if colony.queen.age_d < 60:
        return 0.0
    if day.season < 0.7 or colony.brood < SWARM_BROOD:
        return 0.0
    in_time = float(np.exp(-(((day.year_day - SWARM_DAY) / 22) ** 2)))
    pressed = colony.crowding + 0.25 * (colony.laying_room < 3_500)
    age = 0.6 if colony.queen.age_d < 420 else 1.3
    return float(0.035 * urge * age * in_time / (1 + np.exp(-(pressed - 0.95) / 0.07)))


def start_cells(colony: Colony, chance: np.random.Generator, age_d: float = 1.0) -> None:
    """Let swarm cells be started."""
    colony.queen.cells, colony.queen.cell_d = int(chance.integers(6, 20)), age_d


def prepare(colony: Colony, day: Day) -> bool:
    """Pass a day before the swarm; true on the day it leaves: cells capped, weather fit."""
    queen = colony.queen
    queen.cell_d += 1
    if queen.cell_d > CELL_CAPPED_D - 3:
        queen.slim *= 0.5  # three days without laying (HoPoMo; Winston)
    fit = day.fly_h > 2.5 or queen.cell_d > 15
    return queen.cell_d >= CELL_CAPPED_D and fit


def fly(
    colony: Colony, day: Day, sky: tuple[Weather, Country], chance: np.random.Generator,
    share: float, *, takes_queen: bool,
) -> Flight:  # fmt: skip
    """Let a share of the bees go around noon, in the day's best flight weather."""
    weather = sky[0]
    steps = slice(day.number * STEPS_A_DAY, (day.number + 1) * STEPS_A_DAY)
    hour: Floats = weather.solar_h[steps]
    fit = (weather.flying[steps] + 0.01) * np.exp(-(((hour - 13.0) / 1.4) ** 2))
    step = int(chance.choice(STEPS_A_DAY, p=fit / fit.sum()))
    when = int(weather.time_s[steps][step]) + int(chance.integers(300))
    if share < 1:
        share = float(np.clip(chance.normal(share, 0.05), 0.3, 0.78))
    bees, kg = leave(colony, share)
    if takes_queen:
        colony.queen.swarmed()
    return Flight(when, float(chance.uniform(8, 14)), bees, kg)


def leave(colony: Colony, share: float) -> tuple[float, float]:
    """Take bees of all ages but fewer foragers, each with honey in the crop; bees and kg."""
    before = colony.adults
    colony.house = colony.house * (1 - share)
    colony.winter *= 1 - share
    colony.forager *= 1 - (0.75 * share if share < 1 else 1)
    bees = before - colony.adults
    honey = min(bees * n.GORGE_KG, 0.5 * colony.honey_sugar_kg / n.HONEY_SUGAR)
    colony.honey_sugar_kg -= honey * n.HONEY_SUGAR
    drones = (0.1 if share < 1 else 1.0) * colony.drone
    colony.drone -= drones
    return bees, bees * n.BEE_KG + honey + drones * n.DRONE_KG
