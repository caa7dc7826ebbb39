"""One hive's season day by day: colony, keeper and happenings meet here."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import numpy as np

from simulators import keeper as keepers
from simulators import nature as n
from simulators import spells, swarming
from simulators.chronicle import Chronicle
from simulators.day import Day
from simulators.forage import Country
from simulators.founding import found
from simulators.keeper import Opening, Step
from simulators.plans import (
    STEP_S,
    Floats,
    Happening,
    HivePlan,
    Scenario,
    ScenarioError,
    YardPlan,
    local_s,
    rng,
)
from simulators.weather import Weather

MISSED_EGGS = 900  # own choice: 300 a day; fewer are not missed in autumn


@dataclass
class Life:
    """What happened in one hive."""

    plan: HivePlan
    columns: dict[str, Floats]
    start_kg: float
    steps: list[Step] = field(default_factory=list)
    openings: list[Opening] = field(default_factory=list)
    flights: list[swarming.Flight] = field(default_factory=list)
    spells: list[spells.Spell] = field(default_factory=list)
    off_scale: list[tuple[int, int, str]] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)
    milestones: list[dict[str, Any]] = field(default_factory=list)
    inspections: list[dict[str, Any]] = field(default_factory=list)
    recorded_s: list[int] = field(default_factory=list)


class Hive:
    """Runs one hive through its days."""

    def __init__(
        self, plan: HivePlan, yard: YardPlan, weather: Weather, country: Country, scenario: Scenario
    ) -> None:
        self.plan, self.yard, self.weather, self.country = plan, yard, weather, country
        self.scenario = scenario
        self.chance = rng(scenario.seed, "life", plan.id)
        self.colony = found(plan, country.days[0], self.chance)
        self.book = keepers.open_book(plan.id, yard, scenario)
        self.rows: dict[str, list[float]] = {}
        box = plan.empty_kg + plan.supers * n.SUPER_KG
        self.life = Life(plan, {}, box + sum(self.colony.mass_kg().values()))
        self.litter_kg = 0.0
        self.casts_left = 0
        self.toppled_s = 0
        self.told = Chronicle(plan.id)
        self.life.events, self.life.milestones = self.told.events, self.told.milestones

    def run(self, rounds: dict[int, int]) -> Life:
        """Live the season."""
        at: dict[int, list[Happening]] = {}
        for event in self.plan.happenings:
            if event.device:
                continue
            if event.what in spells.SPELLS:
                self._spell(event)
            else:
                ahead_d = swarming.CELLS_AHEAD_D if event.what == "swarm" else 0
                first = max(0, self.scenario.day_of(event.on) - ahead_d)
                at.setdefault(first, []).append(event)
        tail = self.plan.id.rsplit("-", 1)[-1]
        order = int(tail) - 1 if tail.isdigit() else 0
        walk_s = min(780, 18_000 // len(self.yard.hives))  # from one hive to the next
        for day in self.country.days:
            visit_s = rounds[day.number] + walk_s * order if day.number in rounds else None
            self._people(day, visit_s, at.get(day.number, []))
            self._bees(day)
        if self.toppled_s:  # nobody came to set it up again
            self.life.off_scale.append((self.toppled_s, 2**40, "toppled"))
        self.life.columns = {name: np.array(values) for name, values in self.rows.items()}
        return self.life

    def _people(self, day: Day, visit_s: int | None, mishaps: list[Happening]) -> None:
        """Let mishaps and the keeper come in the order of the clock."""
        mishaps = sorted(mishaps, key=lambda event: event.at)
        early = [e for e in mishaps if visit_s is None or self._at(day, e.at) <= visit_s]
        for event in early:
            self._befall(event, day)
        if visit_s is not None:
            self._visit(day, visit_s)
        for event in mishaps[len(early) :]:
            self._befall(event, day)

    def _bees(self, day: Day) -> None:
        """Let the colony live its day."""
        self._queen(day)
        self.colony.trouble = spells.pressing(self.life.spells, day)
        lived = self.colony.alive
        row = self.colony.live(day)
        if lived and not self.colony.alive:
            self.told.begin("dead_out", self._at(day, "12:00"))
        self._swarm(day)
        self._note(row, day)

    # people and mishaps ------------------------------------------------------------------

    def _at(self, day: Day, clock: str) -> int:
        date = self.scenario.start + timedelta(days=day.number)
        return local_s(date, clock, self.yard.timezone)

    def _spell(self, event: Happening) -> None:
        spell = spells.cast(event, self.yard, self.scenario, self.weather, self.country)
        if spell is None:
            return
        self.life.spells.append(spell)
        kind = spells.TOLD_AS.get(event.what)
        if kind:
            silent = event.what == "silent robbing"
            self.told.tell(kind, spell.begin_s, spell.end_s, silent=silent)

    def _visit(self, day: Day, begin_s: int) -> None:
        if any(what == "taken" for _, _, what in self.life.off_scale):
            return
        if self.toppled_s:
            self.life.off_scale.append((self.toppled_s, begin_s, "toppled"))
            self.told.end("toppled", begin_s)
            self.toppled_s = 0
            self.book.remark = "found knocked over, set up again"
        seen = keepers.visit(self.colony, day, begin_s, self.book)
        self.life.openings.append(seen.opening)
        self.life.steps += seen.steps
        for step in seen.steps:  # fed water dries only from the visit on
            at = int((step.time_s - self.weather.time_s[0]) // STEP_S)
            self.colony.wet_kg += step.wet_kg * float(np.exp(self.country.dried[at]))
        kg = sum(step.kg for step in seen.steps)
        end = begin_s + 60 * seen.opening.minutes
        self.told.tell("handling", begin_s, end, kg=round(kg, 2), actions=seen.actions)
        if "requeened" in seen.actions:
            self.told.mark("requeened", begin_s)
        if "cells cut" in seen.actions:
            self.told.end("swarm_risk", begin_s)
        if seen.inspection:
            self.life.inspections.append(seen.inspection)
            self.life.recorded_s.append(seen.recorded_s)

    def _befall(self, event: Happening, day: Day) -> None:
        when = self._at(day, event.at)
        colony, queen = self.colony, self.colony.queen
        if event.what == "toppled":
            self.toppled_s = when
            self.told.begin("toppled", when)
            before = colony.brood_kg()
            colony.open *= 0.5
            colony.capped *= 0.75
            self.life.steps.append(Step(when, colony.brood_kg() - before, "brood lost"))
        elif event.what == "taken":
            self.life.off_scale.append((when, 2**40, "taken"))
            self.told.begin("taken", when)
        elif event.what == "queen lost":
            young = float(colony.egg.sum() + colony.open[:2].sum())
            is_shown = bool(colony.egg.sum() >= MISSED_EGGS)
            queen.lost(has_young_brood=young > 50 and event.size >= 0)
            self.told.begin("queen_trouble", when, cause="queen lost", clear=is_shown)
        elif event.what == "queen fails":
            self._fail(when)
        elif event.what == "mates badly":
            queen.mates_badly = True
        elif event.what == "supersedure":
            queen.heir_d = 1.0
        elif event.what == "swarm":
            self._ripen(when, self.scenario.day_of(event.on) - day.number)
        elif event.what == "absconds":
            self._fly_off(day, 1.0, kind="absconded")
            colony.die()
            last = self.life.flights[-1]
            self.told.begin("dead_out", last.time_s + 60 * last.minutes, cause="absconded")
        else:
            raise ScenarioError(f"{self.plan.id}: happening {event.what!r}: not known")

    def _fail(self, when: int) -> None:
        is_shown = bool(self.colony.egg.sum() >= MISSED_EGGS)
        if self.colony.queen.fails():
            self.told.begin("queen_trouble", when, cause="failing queen", clear=is_shown)

    def _ripen(self, when: int, left_d: int) -> None:
        """Let a swarm make ready to leave in so many days, where a queen can go with it."""
        if self.colony.queen.is_laying:
            ahead_d = swarming.CELLS_AHEAD_D
            swarming.start_cells(self.colony, self.chance, 1.0 + ahead_d - left_d)
            self.told.begin("swarm_risk", when - (ahead_d - left_d) * 86_400)

    # the bees' own affairs ---------------------------------------------------------------

    def _queen(self, day: Day) -> None:
        colony = self.colony
        if not colony.alive:
            return
        change = colony.queen.pass_day(day.noon_c, day.fly_h, self.chance)
        when = self._at(day, "12:00")
        if change:
            self.told.mark(change, when)
        if change in ("drone layer", "laying workers"):
            self.told.begin("queen_trouble", when, cause=change)
        if change in ("new queen lays", "superseded"):
            self.told.end("queen_trouble", when)
        old = colony.queen.is_laying and colony.queen.age_d > 800
        if old and day.season > 0.6 and not colony.queen.cells and not colony.queen.heir_d:
            rate = 0.05 if colony.queen.state == "fading" else 0.005
            if self.chance.random() < rate:
                colony.queen.heir_d = 1.0
                self.told.mark("supersedure begun", when)

    def _swarm(self, day: Day) -> None:
        colony, queen = self.colony, self.colony.queen
        if queen.state == "laying" and queen.cells:
            if swarming.prepare(colony, day):
                self._fly_off(day, swarming.SWARM_SHARE, kind="prime")
                self.casts_left = int(self.chance.choice([0, 1, 2], p=[0.5, 0.35, 0.15]))
        elif self.chance.random() < swarming.wants(colony, day, self.plan.swarm_urge):
            swarming.start_cells(colony, self.chance)
            self.told.begin("swarm_risk", self._at(day, "12:00"))
        fit = day.fly_h > 2.5 and queen.state == "virgin" and queen.since_d >= 1
        if self.casts_left and fit and colony.adults > swarming.CAST_BEES:
            self.casts_left -= 1
            self._fly_off(day, swarming.CAST_SHARE, kind="cast")
            queen.since_d, queen.age_d = -1.0, 1.0  # another virgin takes over

    def _fly_off(self, day: Day, share: float, kind: str) -> None:
        sky = (self.weather, self.country)
        prime = kind == "prime"
        flight = swarming.fly(self.colony, day, sky, self.chance, share, takes_queen=prime)
        self.life.flights.append(flight)
        took = 60 * flight.minutes
        self.life.steps.append(Step(flight.time_s, -flight.kg, "swarm", takes_s=took))
        end = flight.time_s + 60 * flight.minutes
        self.told.end("swarm_risk", flight.time_s)
        kg, bees = round(flight.kg, 3), round(flight.bees)
        self.told.tell("swarm", flight.time_s, end, kg_lost=kg, bees_left=bees, swarm=kind)

    def _note(self, row: dict[str, float], day: Day) -> None:
        colony = self.colony
        dead = row["born_kg"] - (row["foragers_lost"] + row["sprayed"]) * n.BEE_KG
        self.litter_kg += dead - colony.ledger["d_bees"]
        carried = self.litter_kg * min(day.fly_h / 3, 0.7) * colony.alive
        self.litter_kg -= carried
        food = row["honey_eaten"] + row["pollen_eaten"]
        row["respired"] = food - colony.ledger["d_brood"] - row["born_kg"] - row["drawn"]
        row["carried_kg"] = carried
        row |= {
            "eggs": float(colony.egg.sum()),
            "open": float(colony.open.sum()),
            "capped": float(colony.capped.sum()),
            "drone_brood": float(colony.drone_brood.sum()),
            "house": float(colony.house.sum()),
            "foragers": colony.forager,
            "winter": colony.winter,
            "adults": colony.adults,
            "drones": colony.drone,
            "stores_kg": colony.stores_kg,
            "pollen_kg": colony.pollen_kg,
            "mass_kg": sum(colony.mass_kg().values()) + self.litter_kg,
            "young": float(colony.house[4:20].sum()),
            "supers": float(colony.supers),
            "crowding": colony.crowding,
            "laying_room": colony.laying_room,
        }
        for name, value in row.items():
            self.rows.setdefault(name, []).append(value)
