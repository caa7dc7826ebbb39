"""The keeper: when he comes, what he does, what he writes down."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from simulators import nature as n
from simulators.colony import Colony
from simulators.day import Day
from simulators.plans import Keeper, Scenario, YardPlan, local_s, rng

SYRUP_SUGAR = 0.6


@dataclass(frozen=True)
class Step:
    """Something that changed the weight for good."""

    time_s: int
    kg: float
    what: str
    box_kg: float = 0.0  # part of it that is wood and wax
    wet_kg: float = 0.0  # part of it that is water still to dry off
    takes_s: float = 0.0  # how long it took


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
    act_s: int = 0
    steps: list[Step] = field(default_factory=list)
    actions: list[str] = field(default_factory=list)
    written: list[dict[str, Any]] = field(default_factory=list)
    inspection: dict[str, Any] | None = None
    recorded_s: int = 0

    def act(self, what: str, kg: float, box: float = 0.0, wet: float = 0.0) -> None:
        """Do something that weighs."""
        self.steps.append(Step(self.act_s, kg, what, box, wet))
        self.actions.append(what)
        self.written.append({"what": what, "kg": round(abs(kg), 1)})

    def note(self, what: str, word: str) -> None:
        """Do something that weighs nothing."""
        self.actions.append(what)
        self.written.append({"what": word})


def rounds(
    yard: YardPlan, scenario: Scenario, days: list[Day], chance: np.random.Generator
) -> dict[int, int]:
    """Give the days of a yard's visits and when they begin, moved out of cold and wet days."""
    keeper = scenario.keeper
    found: dict[int, int] = {}
    if not keeper.first_visit:
        return found
    for first, last in scenario.spans(keeper.first_visit, keeper.last_visit or "12-31"):
        day = max(first, 0) + int(chance.integers(1, 5))
        while day < min(len(days), last):
            while day < len(days) - 1 and (days[day].noon_c < 11 or days[day].fly_h < 0.8):
                day += 1
            hour = int(chance.integers(10, 16 if len(yard.hives) < 12 else 12))
            date = scenario.start + timedelta(days=day)
            found[day] = local_s(date, f"{hour}:{int(chance.integers(60)):02d}", yard.timezone)
            day += max(3, round(float(chance.normal(keeper.visit_every_days, 1.6))))
    return found


def visit(colony: Colony, day: Day, begin_s: int, season: Season) -> Visit:
    """Open one hive, do what it needs, and perhaps write it down."""
    chance, keeper = season.chance, season.keeper
    minutes = float(chance.uniform(4, 9))
    lifted = 3.0 + (n.SUPER_KG + 6) * colony.supers + float(chance.uniform(0, 4))
    seen = Visit(Opening(begin_s, minutes, lifted))
    seen.act_s = begin_s + int(minutes * 45)
    before = _write(colony, begin_s, season) if keeper.notes else {}
    if colony.alive:
        _tend(colony, day, season, seen)
    _boxes(colony, day, season, seen)
    if before and chance.random() < keeper.notes:
        is_late = chance.random() < keeper.late_notes
        seen.recorded_s = begin_s + int(chance.uniform(1, 12) * 86_400 if is_late else 3_600)
        seen.inspection = before | {"actions": seen.written}
        seen.inspection["note"] = season.remark if colony.alive else "dead"
        season.remark = ""
    return seen


def _tend(colony: Colony, day: Day, season: Season, seen: Visit) -> None:
    """See to queen, cells, food, treatment."""
    keeper, chance, queen = season.keeper, season.chance, colony.queen
    if queen.cells and queen.is_laying and chance.random() < keeper.cuts_cells:
        queen.cells, queen.cell_d = 0, 0.0
        seen.note("cells cut", "other")
    hope = {"none": 0.9, "drone layer": 0.9, "fading": 0.7, "laying workers": 0.3}  # she is taken
    if keeper.requeens and day.season > 0.3 and chance.random() < hope.get(queen.state, 0.0):
        queen.renewed()
        seen.note("requeened", "requeened")
    strong = colony.adults > 22_000 and queen.is_laying and not queen.cells
    if strong and season.is_due("split", day.number, 25):
        season.done("split", day.number)
        _split(colony, seen)
    hungry = colony.stores_kg < 3.5
    autumn = not day.rising and day.season < 0.85 and not colony.supers
    short = keeper.winter_stores_kg - colony.stores_kg
    if keeper.feeds and (hungry or (autumn and short > 1)):
        syrup = float(chance.uniform(2.5, 5) if hungry else min(short + 1, chance.uniform(4, 7)))
        wet = syrup * (1 - SYRUP_SUGAR / n.HONEY_SUGAR)
        colony.honey_sugar_kg += syrup * SYRUP_SUGAR
        seen.act("fed", syrup, wet=wet)
    if season.is_due("treat", day.number, 60):
        season.done("treat", day.number)
        queen.slim = min(queen.slim, 0.6)
        seen.act("treated", 0.12, box=0.12)


def _boxes(colony: Colony, day: Day, season: Season, seen: Visit) -> None:
    """Put supers on, take them off, take the honey."""
    keeper, chance = season.keeper, season.chance
    crowded = colony.adults > 0.72 * (
        colony.boxes * colony.plan.frames * n.BEES_A_FRAME + colony.supers * n.SUPER_BEES
    )
    wanted = crowded or colony.free_cells < 0.25 * colony.cells
    in_time = day.rising or (day.season > 0.9 and colony.last_income_kg > 0.5)
    if keeper.supers and in_time and wanted and colony.alive and colony.supers < 5:
        kg = n.SUPER_KG + float(chance.normal(0, 0.15))
        if chance.random() < keeper.foundation:
            colony.to_draw_kg += n.SUPER_WAX_KG
            kg -= n.SUPER_WAX_KG
        colony.supers += 1
        seen.act("super added", kg, box=kg)
    if colony.supers and season.is_due("harvest", day.number, 60):
        season.done("harvest", day.number)
        honey = colony.honey_sugar_kg / n.HONEY_SUGAR
        above = max(min(honey - 7.0, colony.supers * 13.0), 0.0)
        colony.honey_sugar_kg -= above * n.HONEY_SUGAR
        drawn = colony.wax_kg  # comb that the bees built is weighed with them, not with the boxes
        box = drawn + colony.to_draw_kg - colony.supers * n.SUPER_KG
        seen.act("harvested", box - above - drawn, box=box)
        colony.supers, colony.wax_kg, colony.to_draw_kg = 0, 0.0, 0.0


def _split(colony: Colony, seen: Visit) -> None:
    """Take a nucleus away: brood, bees, some honey; the old queen stays."""
    before = sum(colony.mass_kg().values())
    colony.egg, colony.open, colony.capped = (
        0.62 * brood for brood in (colony.egg, colony.open, colony.capped)
    )
    colony.house = colony.house * 0.66
    colony.winter *= 0.7
    colony.honey_sugar_kg *= 0.85
    colony.pollen_kg *= 0.8
    seen.act("split", sum(colony.mass_kg().values()) - before)


@dataclass
class Season:
    """What the keeper carries from visit to visit for one hive."""

    hive: str
    keeper: Keeper
    timezone: str
    chores: dict[str, list[int]]  # the day of each year from which a chore is due
    chance: np.random.Generator
    last: dict[str, int] = field(default_factory=dict)
    remark: str = ""  # for the next page of the book

    def is_due(self, chore: str, day: int, within: int) -> bool:
        """Say whether a yearly chore waits to be done."""
        last = self.last.get(chore, -1)
        return any(first <= day < first + within and last < first for first in self.chores[chore])

    def done(self, chore: str, day: int) -> None:
        """Tick a chore off for the year."""
        self.last[chore] = day


def open_book(hive: str, yard: YardPlan, scenario: Scenario) -> Season:
    """Start a hive's season in the keeper's book."""
    keeper = scenario.keeper
    dates = {"harvest": keeper.harvest, "split": keeper.splits, "treat": keeper.treats}
    chores = {
        chore: [first for first, _ in scenario.spans(date, date)] if date else []
        for chore, date in dates.items()
    }
    chance = rng(scenario.seed, "keeper", hive)
    return Season(hive, keeper, yard.timezone, chores, chance)


def _write(colony: Colony, at_s: int, season: Season) -> dict[str, Any]:
    """Count as a person counts: to the nearest hundred, and wrong by some tenth."""
    chance, error = season.chance, season.keeper.count_error

    eye = float(np.exp(chance.normal(0, error / 2)))  # this day's habit of over- or under-rating

    def count(true: float, to: int, blur: float = 1.0) -> int:
        seen = true * eye * float(np.exp(chance.normal(0, error * blur)))
        return max(round(seen / to) * to, 0)

    at = datetime.fromtimestamp(at_s, UTC).astimezone(ZoneInfo(season.timezone))
    queen = colony.queen
    laying = queen.is_laying
    words = "not seen"
    if laying and colony.egg.sum() > 0:
        words = "seen" if chance.random() < 0.35 else "eggs seen"
    elif queen.state == "virgin" and chance.random() < 0.25:
        words = "virgin"
    stage = None
    if queen.cells and queen.state in ("laying", "cells"):
        stage = "eggs" if queen.cell_d < 3 else "open" if queen.cell_d < 8 else "capped"
    elif queen.state == "virgin" and queen.age_d < 4:
        stage = "emerged"
    return {
        "hive": season.hive,
        "at": at.isoformat(timespec="seconds"),
        "by": "keeper",
        "brood": {
            "eggs": count(0.9 * float(colony.egg.sum()), 100, 1.8),  # hard to see
            "open": count(float(colony.open.sum()), 100),
            "capped": count(float(colony.capped.sum()), 100),
        },
        "adults": count(colony.adults - 0.25 * colony.forager, 500),  # some are out
        "stores_kg": count(colony.stores_kg * 10, 5) / 10,
        "queen": words,
        "queen_cells": {"count": 4 if stage == "emerged" else int(queen.cells), "stage": stage},
    }
