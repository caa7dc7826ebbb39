"""One hive's season day by day: colony, keeper and happenings meet here."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import numpy as np

from simulators import colony as colonies
from simulators import keeper as keepers
from simulators.colony import BEE_KG, DRONE_KG, Colony, Day
from simulators.forage import Country
from simulators.keeper import Opening, Step
from simulators.scenario import (
    STEP_S,
    STEPS_A_DAY,
    Floats,
    Happening,
    HivePlan,
    Scenario,
    YardPlan,
    instant,
    local_s,
    rng,
)
from simulators.weather import Weather

SWARM_CROWDING, SWARM_BROOD = 0.85, 17_000  # brood: Fefferman & Starks 2006
SWARM_SHARE = 0.6  # Winston 1987; published 0.5 to 0.75

COLUMNS = (
    "laid", "emerged", "house_dead", "foragers_lost", "started_foraging", "nectar", "sugar",
    "wet", "pollen", "trips", "honey_eaten", "pollen_eaten", "respired", "dead_kg", "eggs",
    "open", "capped", "drone_brood", "house", "foragers", "winter", "adults", "drones",
    "stores_kg", "wet_kg", "pollen_kg", "brood_kg", "mass_kg", "young", "supers",
)  # fmt: skip


@dataclass
class Life:
    """What happened in one hive."""

    plan: HivePlan
    columns: dict[str, Floats]
    start_kg: float
    steps: list[Step] = field(default_factory=list)
    openings: list[Opening] = field(default_factory=list)
    exits: list[tuple[int, float, float]] = field(default_factory=list)  # time, bees, minutes
    off_scale: list[tuple[int, int, str]] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)
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
        self.colony = colonies.start(plan, country.days[0], self.chance)
        self.book = keepers.open_book(plan.id, yard, scenario)
        self.rows: dict[str, list[float]] = {name: [] for name in COLUMNS}
        start = plan.empty_kg + plan.supers * colonies.SUPER_KG
        self.life = Life(plan, {}, start + sum(self.colony.mass_kg().values()))
        self.casts_left = 0
        self.toppled_s = 0

    def run(self, rounds: dict[int, int]) -> Life:
        """Live the season."""
        happenings: dict[int, list[Happening]] = {}
        for event in self.plan.happenings:
            happenings.setdefault(self.scenario.day_of(event.on), []).append(event)
        order = int(self.plan.id.rsplit("-", 1)[-1]) if self.plan.id[-1].isdigit() else 1
        for day in self.country.days:
            if day.number in rounds:
                self._visit(day, rounds[day.number] + 900 * order)
            for event in happenings.get(day.number, []):
                self._befall(event, day)
            self._queen(day)
            row = self.colony.live(day)
            self._swarm(day)
            self._note(row)
        self.life.columns = {name: np.array(values) for name, values in self.rows.items()}
        return self.life

    def tell(self, kind: str, start_s: float, end_s: float | None = None, **more: float) -> None:
        """Write an event into the truth."""
        event: dict[str, Any] = {"kind": kind, "subject": f"hive:{self.plan.id}"}
        event |= {"start": instant(start_s), "end": instant(end_s) if end_s else None}
        self.life.events.append(event | {k: round(v, 3) for k, v in more.items()})

    def _at(self, day: Day, clock: str) -> int:
        date = self.scenario.start + timedelta(days=day.number)
        return local_s(date, clock, self.yard.timezone)

    def _visit(self, day: Day, begin_s: int) -> None:
        if any(what == "taken" for _, _, what in self.life.off_scale):
            return
        if self.toppled_s:
            self._right(begin_s)
        seen = keepers.visit(self.colony, day, begin_s, self.book)
        self.life.openings.append(seen.opening)
        self.life.steps += seen.steps
        for step in seen.steps:  # fed water dries only from the visit on
            at = int((step.time_s - self.weather.time_s[0]) // STEP_S)
            self.colony.wet_kg += step.wet_kg * float(np.exp(self.country.dried[at]))
        kg = sum(step.kg for step in seen.steps)
        end = begin_s + 60 * seen.opening.minutes
        self.tell("handling", begin_s, end, kg=kg)
        for step in seen.steps:
            self.life.events[-1].setdefault("actions", []).append(step.what)
        if seen.inspection:
            self.life.inspections.append(seen.inspection)
            self.life.recorded_s.append(seen.recorded_s)

    def _right(self, when_s: int) -> None:
        self.life.off_scale.append((self.toppled_s, when_s, "toppled"))
        self.tell("toppled", self.toppled_s, when_s)
        self.toppled_s = 0

    def _befall(self, event: Happening, day: Day) -> None:
        when = self._at(day, event.at)
        if event.what == "toppled":
            self.toppled_s = when
            before = self.colony.brood_kg()
            self.colony.open *= 0.5
            self.colony.capped *= 0.75
            lost = before - self.colony.brood_kg()
            self.life.steps.append(Step(when, -lost, "brood lost"))
        elif event.what == "taken":
            self.life.off_scale.append((when, 2**40, "taken"))
            self.tell("taken", when)
        elif event.what == "queen lost":
            young = float(self.colony.egg.sum() + self.colony.open[:2].sum())
            self.colony.queen.lost(open_brood=young > 50)
            self.tell("queen_lost", when)
        elif event.what == "mates badly":
            self.colony.queen.mates_badly = True
        elif event.what == "swarm":
            self.colony.queen.cells, self.colony.queen.cell_d = 12, 8.0
            self.colony.queen.slim = 0.2

    def _queen(self, day: Day) -> None:
        change = self.colony.queen.pass_day(day.noon_c, day.fly_h, self.chance)
        if change:
            self.tell(change.replace(" ", "_"), self._at(day, "12:00"))
        if change == "virgin emerged" and self.casts_left == 0:
            return

    def _swarm(self, day: Day) -> None:
        colony, queen = self.colony, self.colony.queen
        if queen.state == "laying" and not queen.cells:
            crowded = colony.crowding > SWARM_CROWDING and colony.brood > SWARM_BROOD
            old = 0.06 if queen.age_d < 400 else 0.12
            chance = old * self.plan.swarm_urge * (day.rising or day.season > 0.9)
            if crowded and day.season > 0.75 and self.chance.random() < chance:
                queen.cells, queen.cell_d = int(self.chance.integers(6, 18)), 1.0
                self.tell("swarm_preparation", self._at(day, "12:00"))
        elif queen.state == "laying" and queen.cells:
            queen.cell_d += 1
            if queen.cell_d > 5:
                queen.slim = max(queen.slim * 0.55, 0.0)
            if queen.cell_d >= 8.0 and day.fly_h > 2.5:
                self._fly_off(day, SWARM_SHARE, prime=True)

    def _fly_off(self, day: Day, share: float, *, prime: bool) -> None:
        steps = slice(day.number * STEPS_A_DAY, (day.number + 1) * STEPS_A_DAY)
        hour = self.weather.solar_h[steps]
        fit = self.weather.flying[steps] * np.exp(-(((hour - 13.0) / 1.4) ** 2))
        fit = fit / max(fit.sum(), 1e-9)
        step = int(self.chance.choice(STEPS_A_DAY, p=fit / fit.sum()))
        when = int(self.weather.time_s[steps][step]) + int(self.chance.integers(300))
        share = float(np.clip(self.chance.normal(share, 0.05), 0.3, 0.78))
        bees, kg = self.colony.leave(share, old_queen=prime)
        minutes = float(self.chance.uniform(8, 14))
        self.life.exits.append((when, bees, minutes))
        self.life.steps.append(Step(when + int(30 * minutes), -kg, "swarm"))
        self.tell("swarm", when, when + 60 * minutes, kg=kg, bees=bees, prime=float(prime))

    def _note(self, row: dict[str, float]) -> None:
        colony: Colony = self.colony
        grown = colony.ledger["d_brood"]
        drones = 0.0
        born = row["emerged"] * BEE_KG
        row["respired"] = row["honey_eaten"] + row["pollen_eaten"] - grown - born
        row["dead_kg"] = born - row["foragers_lost"] * BEE_KG - colony.ledger["d_bees"] + drones
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
            "wet_kg": colony.wet_kg,
            "pollen_kg": colony.pollen_kg,
            "brood_kg": colony.brood_kg(),
            "mass_kg": sum(colony.mass_kg().values()),
            "young": float(colony.house[4:20].sum()),
            "supers": float(colony.supers),
        }
        for name in COLUMNS:
            self.rows[name].append(row[name])


__all__ = ["DRONE_KG", "Hive", "Life"]
