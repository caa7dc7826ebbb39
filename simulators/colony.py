"""A colony by daily cohorts: brood, house bees, foragers, winter bees, queen, stores."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from simulators import nature as n
from simulators import stores
from simulators.day import Day, Trouble
from simulators.plans import Floats, HivePlan
from simulators.queen import Queen

# growth of a brood cell's load over its days, beside the mean of its stage; own choice
LARVA_SIZE = np.linspace(0.1, 1.9, n.OPEN_DAYS)
DRONE_SIZE = np.linspace(0.05, 1.4, n.DRONE_DAYS)
AGES = np.arange(n.HOUSE_DAYS)


@dataclass
class Colony:
    """The living state of one hive at the end of a day."""

    plan: HivePlan
    chance: np.random.Generator
    egg: Floats
    open: Floats
    capped: Floats
    drone_brood: Floats
    house: Floats
    forager: float
    winter: float
    drone: float
    honey_sugar_kg: float
    wet_kg: float  # water in the stores beyond that of ripe honey
    pollen_kg: float
    queen: Queen
    boxes: int
    supers: int
    wax_kg: float = 0.0  # comb drawn since the start
    to_draw_kg: float = 0.0  # comb still to be drawn on foundation
    onset_d: float = 21.0  # age at which a house bee goes foraging
    mood: float = 0.0
    last_income_kg: float = 0.0
    alive: bool = True
    trouble: Trouble = field(default_factory=Trouble)
    ledger: dict[str, float] = field(default_factory=dict)

    @property
    def adults(self) -> float:
        """Workers of the colony, in and out of the hive."""
        return float(self.house.sum()) + self.forager + self.winter

    @property
    def brood(self) -> float:
        """Worker brood cells."""
        return float(self.egg.sum() + self.open.sum() + self.capped.sum())

    @property
    def nurses(self) -> float:
        """Bees fit to nurse, counted as whole nurses; a forager counts 0.2 (Becher 2014)."""
        return float(self.house[2:].sum()) + 0.75 * self.winter + 0.2 * self.forager

    @property
    def stores_kg(self) -> float:
        """Honey and nectar."""
        return self.honey_sugar_kg / n.HONEY_SUGAR + self.wet_kg

    @property
    def cells(self) -> float:
        """Drawn cells in all combs; drone comb and edges left out."""
        supers = self.supers - self.to_draw_kg / n.SUPER_WAX_KG
        return self.brood_box_cells + 0.95 * max(supers, 0.0) * n.SUPER_CELLS

    @property
    def brood_box_cells(self) -> float:
        """Cells of the brood boxes."""
        return 0.95 * self.boxes * self.plan.frames * n.CELLS_A_FRAME

    @property
    def honey_cells(self) -> float:
        """Cells taken by stores."""
        return self.stores_kg / n.CELL_HONEY_KG + self.pollen_kg / n.CELL_POLLEN_KG

    @property
    def free_cells(self) -> float:
        """Empty cells anywhere."""
        used = self.brood + 2.0 * float(self.drone_brood.sum()) + self.honey_cells
        return max(self.cells - used, 0.0)

    @property
    def laying_room(self) -> float:
        """Empty cells where the queen may lay: stores fill supers first, then the nest."""
        above = self.cells - self.brood_box_cells
        sunk = max(self.honey_cells - 0.9 * above, 0.0)
        open_cells = max(self.brood_box_cells * 0.92 - sunk, 0.25 * self.brood_box_cells)
        return max(open_cells - self.brood, 0.0)

    @property
    def crowding(self) -> float:
        """Adults beside what the combs hold; supers count a third, the nest stays crowded."""
        room = self.boxes * self.plan.frames * n.BEES_A_FRAME + 0.35 * self.supers * n.SUPER_BEES
        return self.adults / room

    def mass_kg(self) -> dict[str, float]:
        """Mass by part; boxes are the keeper's affair."""
        return {
            "bees": self.adults * n.BEE_KG + self.drone * n.DRONE_KG,
            "brood": self.brood_kg(),
            "honey": self.honey_sugar_kg / n.HONEY_SUGAR,
            "water": self.wet_kg,
            "pollen": self.pollen_kg,
            "wax": self.wax_kg,
        }

    def brood_kg(self) -> float:
        """Mass of all brood; larvae and drones gain as they grow."""
        return float(
            self.egg.sum() * n.EGG_KG
            + (self.open * LARVA_SIZE).sum() * n.OPEN_KG
            + self.capped.sum() * n.CAPPED_KG
            + (self.drone_brood * DRONE_SIZE).sum() * n.DRONE_BROOD_KG
        )

    def live(self, day: Day) -> dict[str, float]:
        """Live one day; return what was laid, brought, eaten and lost."""
        before = self.mass_kg()
        laid = self._lay(day) if self.alive else 0.0
        emerged, drones = self._grow(laid, day)
        died = self._age(day, emerged)
        income = stores.forage(self, day)
        robbed = min(self.trouble.robbed_kg, 0.9 * self.honey_sugar_kg / n.HONEY_SUGAR)
        self.honey_sugar_kg -= robbed * n.HONEY_SUGAR
        eaten = stores.eat(self, day, income["trips"])
        self.drone += drones
        self.drone *= 0.95 if day.season > 0.3 and self.stores_kg > 2 else 0.7
        if self.alive and (self.adults < 250 or (self.adults < 1_500 and day.air_c < 4)):
            self.die()
        after = self.mass_kg()
        self.ledger = {f"d_{part}": after[part] - before[part] for part in after}
        born = emerged * n.BEE_KG + drones * n.DRONE_KG
        return {"laid": laid, "emerged": emerged, "born_kg": born, "robbed": robbed} | (
            died | income | eaten
        )

    def _lay(self, day: Day) -> float:
        self.mood = 0.8 * self.mood + float(self.chance.normal(0, 0.045))
        urge = self.queen.eggs_a_day(self.plan.queen_best) * day.season
        urge *= 1 + 0.06 * np.tanh(self.last_income_kg / 3)
        over = max(self.brood - n.NURSE_CELLS * self.nurses, 0.0)
        urge = min(urge, max(n.NURSE_CELLS / 21 * 0.95 * self.nurses - 0.03 * over, 0.0))
        urge = min(urge, 0.5 * self.laying_room + 0.9 * float(self.capped[-1]) + 40)
        urge *= np.clip((self.stores_kg - 0.4) / 1.6, 0, 1)
        plenty = 1.5 * self.last_income_kg + self.stores_kg / 9
        urge *= 0.6 + 0.4 * np.clip(plenty, 0, 1)  # a dearth slows the queen
        urge *= 0.5 + 0.5 * np.clip(self.pollen_kg / 0.25, 0, 1)
        return float(max(urge * np.exp(self.mood), 0.0))

    def _grow(self, laid: float, day: Day) -> tuple[float, float]:
        warm = 1.0 if self.adults > 0.25 * self.brood else 0.9  # too few to cover: brood chills
        warm *= self.trouble.chill
        fed = 1.0 if self.stores_kg > 0.3 else 0.6
        emerged = float(self.capped[-1])
        drones = float(self.drone_brood[-1]) * 0.97
        workers = laid * self.queen.worker_share
        self.capped = np.concatenate(([self.open[-1]], self.capped[:-1])) * n.CAPPED_LIVES * warm
        self.open = np.concatenate(([self.egg[-1]], self.open[:-1])) * n.OPEN_LIVES * warm * fed
        self.egg = np.concatenate(([workers], self.egg[:-1])) * n.EGG_LIVES * warm
        drone_eggs = laid - workers
        if day.season > 0.6 and day.rising and self.adults > 12_000:
            drone_eggs += 0.03 * laid
        self.drone_brood = np.concatenate(([drone_eggs], self.drone_brood[:-1])) * n.DRONE_LIVES
        return emerged, drones

    def _age(self, day: Day, emerged: float) -> dict[str, float]:
        self._mature()
        sick = self.trouble.sickness
        nursing = self.brood / max(self.nurses, 1.0)
        winter_share = 0.0 if day.rising else float(np.clip((0.62 - day.season) / 0.4, 0, 1))
        alive = self.house * (1 - n.HOUSE_LOSS) ** sick
        alive[35:] *= 0.97
        dead = float(self.house.sum() - alive.sum())
        leave = alive * 0.7 / (1 + np.exp(-(AGES - self.onset_d) / 1.8)) * min(day.fly_h / 2, 1)
        started = float(leave.sum())
        alive = alive - leave
        moved = np.concatenate(([emerged * (1 - winter_share)], alive[:-1]))
        moved[-1] += alive[-1]
        self.house = moved

        work = 0.018 * np.clip(nursing, 0, 2) if day.rising else 0.004 * np.clip(nursing, 0, 1)
        winter_dead = self.winter * min((n.WINTER_LOSS + work) * sick, 1.0)
        called = self.winter * (0.03 * min(day.fly_h / 3, 1) if day.rising else 0.004)
        called = min(called, self.winter - winter_dead)
        self.winter += emerged * winter_share - winter_dead - called
        hours = day.fly_h * stores.effort(day) * (not self.trouble.is_shut_in)
        hours = 8 * (1 - float(np.exp(-hours / 8)))  # the more hours, the fewer trips in each
        rate = n.FORAGER_LOSS_PER_H * self.plan.loss * hours
        waning = 0.0 if day.rising else n.FORAGER_LOSS_AUTUMN * (1 - day.season)
        at_home = min((n.FORAGER_LOSS_PER_DAY + waning) * sick, 1.0) * self.forager
        lost = (self.forager - at_home) * float(1 - np.exp(-rate))
        sprayed = (self.forager - lost) * self.trouble.sprayed
        self.forager += started + called - lost - sprayed - at_home
        starving = 0.0
        if self.stores_kg < 0.06:
            starving = self.adults * 0.3
            self.thin(0.7)
        return {
            "house_dead": dead + winter_dead + at_home + starving,
            "foragers_lost": max(lost, 0.0),
            "sprayed": sprayed,
            "started_foraging": started + called,
        }

    def _mature(self) -> None:
        """Move the age of first foraging: few foragers, or a flow, draw house bees out early.

        Below a share of 0.27 the form is that of Khoury, Myerscough & Barron 2011 (recruitment
        0.25 - 0.75 share); above it our own, gentler, since theirs lets nobody forage beyond 1/3.
        Much brood holds nurses back: own choice.
        """
        nursing = self.brood / max(self.nurses, 1.0)
        share = (self.forager + 0.35 * self.winter) / max(self.adults, 1.0)
        onset = 1 / (0.25 - 0.75 * min(share, 0.27)) + 45.0 * max(share - 0.27, 0.0)
        onset -= 5.0 * float(np.tanh(self.last_income_kg / 1.5))
        onset += 4.0 * float(np.clip(nursing - 1.2, -0.3, 1))
        self.onset_d += 0.25 * (float(np.clip(onset, 7, 36)) - self.onset_d)

    def thin(self, keep: float) -> None:
        """Lose the same share of all grown bees."""
        self.house = self.house * keep
        self.forager *= keep
        self.winter *= keep

    def die(self) -> None:
        """End; what is left of bees and brood is dead."""
        self.alive = False
        self.thin(0.0)
        self.drone = 0.0
        for brood in (self.egg, self.open, self.capped, self.drone_brood):
            brood[:] = 0
        self.queen.state = "none"
