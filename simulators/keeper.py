"""The keeper: when he comes, what he does, what he writes down."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from simulators.colony import HONEY_SUGAR, SUPER_KG, Colony, Day
from simulators.scenario import Keeper, Scenario, YardPlan, local_s, rng

SYRUP_SUGAR = 0.6


@dataclass(frozen=True)
class Step:
    """Something that changed the weight for good."""

    time_s: int
    kg: float
    what: str
    box_kg: float = 0.0  # part of it that is wood and wax
    wet_kg: float = 0.0  # part of it that is water still to dry off


@dataclass(frozen=True)
class Opening:
    """A hive stood open."""

    time_s: int
    minutes: float
    lifted_kg: float


@dataclass
class Visit:
    """What one visit did to a hive."""

    opening: Opening
    steps: list[Step] = field(default_factory=list)
    inspection: dict[str, Any] | None = None
    recorded_s: int = 0


def rounds(
    yard: YardPlan, scenario: Scenario, days: list[Day], chance: np.random.Generator
) -> dict[int, int]:
    """Give the days of a yard's visits and when they begin, moved out of cold and wet days."""
    keeper = scenario.keeper
    if not keeper.first_visit:
        return {}
    day = scenario.day_of(keeper.first_visit) + int(chance.integers(0, 4))
    last = scenario.day_of(keeper.last_visit) if keeper.last_visit else len(days)
    found: dict[int, int] = {}
    while day < min(len(days), last):
        while day < len(days) - 1 and (days[day].noon_c < 11 or days[day].fly_h < 0.8):
            day += 1
        hour = int(chance.integers(10, 16))
        date = scenario.start + timedelta(days=day)
        found[day] = local_s(date, f"{hour}:{int(chance.integers(60)):02d}", yard.timezone)
        day += max(3, round(float(chance.normal(keeper.visit_every_days, 1.6))))
    return found


def visit(colony: Colony, day: Day, begin_s: int, season: Season) -> Visit:
    """Open one hive, do what it needs, and perhaps write it down."""
    chance, keeper = season.chance, season.keeper
    minutes = float(chance.uniform(4, 9))
    lifted = 3.0 + (SUPER_KG + 6) * colony.supers + float(chance.uniform(0, 4))
    seen = Visit(Opening(begin_s, minutes, lifted))
    act_s = begin_s + int(minutes * 45)
    actions: list[dict[str, Any]] = []

    def add(what: str, kg: float, box: float = 0.0, wet: float = 0.0) -> None:
        seen.steps.append(Step(act_s, kg, what, box, wet))
        actions.append({"what": what, "kg": round(abs(kg), 1)})

    full = colony.supers * 12.0
    crowded = colony.crowding > 0.72 or colony.free_cells < 0.22 * colony.cells
    if keeper.supers and day.rising and crowded and colony.alive and colony.supers < 5:
        colony.supers += 1
        kg = SUPER_KG + float(chance.normal(0, 0.15))
        add("super added", kg, box=kg)
    due = bool(keeper.harvest) and not season.harvested and day.number >= season.harvest_day
    if due and colony.supers:
        season.harvested = True
        spare = min(colony.honey_sugar_kg / HONEY_SUGAR - 7, full)
        taken = max(spare, 0.0)
        colony.honey_sugar_kg -= taken * HONEY_SUGAR
        box = -colony.supers * SUPER_KG
        add("harvested", box - taken, box=box)
        colony.supers = 0
    if keeper.feeds and colony.alive and colony.stores_kg < 3.5:
        syrup = float(chance.uniform(2.5, 5))
        wet = syrup * (1 - SYRUP_SUGAR / HONEY_SUGAR)
        colony.honey_sugar_kg += syrup * SYRUP_SUGAR
        add("fed", syrup, wet=wet)
    if chance.random() < keeper.notes:
        delay = chance.uniform(1, 12) * 86_400 if chance.random() < keeper.late_notes else 3_600
        seen.recorded_s = begin_s + int(delay)
        seen.inspection = _write(colony, begin_s, season, actions)
    return seen


@dataclass
class Season:
    """What the keeper carries from visit to visit for one hive."""

    hive: str
    keeper: Keeper
    timezone: str
    harvest_day: int
    chance: np.random.Generator
    harvested: bool = False


def open_book(hive: str, yard: YardPlan, scenario: Scenario) -> Season:
    """Start a hive's season in the keeper's book."""
    keeper = scenario.keeper
    harvest = scenario.day_of(keeper.harvest) if keeper.harvest else 10**6
    chance = rng(scenario.seed, "keeper", hive)
    return Season(hive, keeper, yard.timezone, harvest, chance)


def _write(
    colony: Colony, at_s: int, season: Season, actions: list[dict[str, Any]]
) -> dict[str, Any]:
    chance, error = season.chance, season.keeper.count_error

    def count(true: float, to: int) -> int:
        return max(round(true * np.exp(chance.normal(0, error)) / to) * to, 0)

    at = datetime.fromtimestamp(at_s, UTC).astimezone(ZoneInfo(season.timezone))
    queen = colony.queen
    laying = queen.state in ("laying", "fading")
    words = "not seen"
    if laying and colony.egg.sum() > 0:
        words = "seen" if chance.random() < 0.35 else "eggs seen"
    elif queen.state == "virgin" and chance.random() < 0.25:
        words = "virgin"
    stage = None
    if queen.cells and queen.state in ("laying", "cells"):
        stage = "eggs" if queen.cell_d < 3 else "open" if queen.cell_d < 8 else "capped"
    return {
        "hive": season.hive,
        "at": at.isoformat(timespec="seconds"),
        "by": "keeper",
        "brood": {
            "eggs": count(float(colony.egg.sum()), 100),
            "open": count(float(colony.open.sum()), 100),
            "capped": count(float(colony.capped.sum()), 100),
        },
        "adults": count(colony.adults, 500),
        "stores_kg": count(colony.stores_kg * 10, 5) / 10,
        "queen": words,
        "queen_cells": {"count": int(queen.cells), "stage": stage},
        "actions": actions,
        "note": "" if colony.alive else "dead",
    }
