"""A colony by daily cohorts: brood, house bees, foragers, winter bees, queen, stores."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from simulators.queen import Queen
from simulators.scenario import Floats, HivePlan

# Development: egg 3, open 6, capped 12 days (common practice, no source).
EGG_DAYS, OPEN_DAYS, CAPPED_DAYS = 3, 6, 12
HOUSE_DAYS = 50
DRONE_DAYS, DRONE_CAPPED_FROM = 24, 10  # Jay 1963; Fukuda & Ohtani 1977

# Of 100 eggs in the nest's centre 94 hatch and 85 emerge (Fukuda & Sakagami 1968).
EGG_LIVES, OPEN_LIVES, CAPPED_LIVES = 0.98, 0.985, 0.999

HOUSE_LOSS = 0.004  # [1/d] Martin 2001
WINTER_LOSS = 0.0035  # [1/d] own choice: half are alive after six months
FORAGER_LOSS_PER_H = 0.0065  # [1/h of full flight] own choice: 10 to 21 days of flying weather
NURSE_CELLS = 2.65  # brood cells a nurse keeps: Becher 2010, after Free & Racey 1968

BEE_KG, DRONE_KG = 1.05e-4, 2.2e-4  # worker 0.10 to 0.125 g (published range)
EGG_KG, OPEN_KG, CAPPED_KG = 1.5e-7, 5.0e-5, 1.3e-4  # own choice, mean of the stage
DRONE_BROOD_KG = 1.6e-4
GORGE_KG = 3.6e-5  # honey a swarming bee takes: Winston 1987

LARVA_HONEY_KG, LARVA_POLLEN_KG = 1.09e-5, 2.36e-5  # a day: HoPoMo 2007
ADULT_POLLEN_KG = 1.5e-6  # a day: Pernal & Currie 2000
BROOD_HEAT_KG = 1.414e-5  # a cell and day at 15 degrees outside: after Rortais et al. 2005
TRIP_HONEY_KG = 1.2e-6  # own choice: ten minutes on the wing
TRIPS_PER_H = 1.15  # own choice: a forager's trips in an hour of full flight
NECTAR_LOAD_KG, POLLEN_LOAD_KG = 3.2e-5, 1.5e-5  # crop 50 ul (Winston), pollen 15 mg (Seeley)

HONEY_SUGAR = 0.82
CELLS_A_FRAME = 6_100  # Langstroth deep, both sides: 61,000 cells in ten frames
SUPER_CELLS = 34_000
CELL_HONEY_KG = 4.2e-4  # a full cell of honey holds about 0.4 to 0.5 g
BEES_A_FRAME = 2_430  # Burgett & Burikam 1985, from memory
SUPER_BEES = 12_000
SUPER_KG = 6.2


@dataclass(frozen=True)
class Day:
    """What the outside gives a colony on one day."""

    number: int
    season: float  # 0 to 1, how much a queen would lay
    rising: bool
    air_c: float
    noon_c: float
    fly_h: float  # hours of full flight
    nectar_kg: float  # a strong colony's catch in eight hours of flight
    sugar: float  # sugar share of the nectar
    pollen: float  # 0 to 1
    water_stays: float  # share of the excess water of last evening left this evening
    fresh_stays: float  # the same of today's nectar


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
    onset_d: float = 21.0  # age at which a house bee goes foraging
    mood: float = 0.0
    last_income_kg: float = 0.0
    weather_h: float = 4.0
    alive: bool = True
    heated: bool = True
    ledger: dict[str, float] = field(default_factory=dict)

    # what can be read off -----------------------------------------------------------------

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
        """Bees fit to nurse, counted as whole nurses."""
        return float(self.house[2:].sum()) + 0.75 * self.winter + 0.2 * self.forager

    @property
    def stores_kg(self) -> float:
        """Honey and nectar."""
        return self.honey_sugar_kg / HONEY_SUGAR + self.wet_kg

    @property
    def cells(self) -> float:
        """Cells in all combs; drone comb and edges left out."""
        return 0.95 * (self.boxes * self.plan.frames * CELLS_A_FRAME + self.supers * SUPER_CELLS)

    @property
    def brood_box_cells(self) -> float:
        """Cells of the brood boxes."""
        return 0.95 * self.boxes * self.plan.frames * CELLS_A_FRAME

    @property
    def honey_cells(self) -> float:
        """Cells taken by stores."""
        return self.stores_kg / CELL_HONEY_KG + self.pollen_kg / 2.0e-4

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
        return max(self.brood_box_cells * 0.92 - sunk - self.brood, 0.0)

    @property
    def crowding(self) -> float:
        """Adults beside what the combs hold."""
        room = self.boxes * self.plan.frames * BEES_A_FRAME + self.supers * SUPER_BEES
        return self.adults / room

    def mass_kg(self) -> dict[str, float]:
        """Mass by part; boxes are the keeper's affair."""
        return {
            "bees": self.adults * BEE_KG + self.drone * DRONE_KG,
            "brood": self.brood_kg(),
            "honey": self.honey_sugar_kg / HONEY_SUGAR,
            "water": self.wet_kg,
            "pollen": self.pollen_kg,
        }

    def brood_kg(self) -> float:
        """Mass of all brood."""
        ripe = np.linspace(0.1, 1.9, OPEN_DAYS)
        return float(
            self.egg.sum() * EGG_KG
            + (self.open * ripe).sum() * OPEN_KG
            + self.capped.sum() * CAPPED_KG
            + (self.drone_brood * np.linspace(0.05, 1.4, DRONE_DAYS)).sum() * DRONE_BROOD_KG
        )

    # one day -----------------------------------------------------------------------------

    def live(self, day: Day) -> dict[str, float]:
        """Live one day; return what was laid, brought, eaten and lost."""
        before = self.mass_kg()
        self.weather_h += 0.3 * (day.fly_h - self.weather_h)
        laid = self._lay(day) if self.alive else 0.0
        emerged, drones = self._grow(laid, day)
        house_dead, lost, started = self._age(day, emerged)
        income = self._forage(day)
        eaten = self._eat(day, income["trips"])
        self.drone += drones
        self.drone *= 0.93 if day.season > 0.25 and self.stores_kg > 2 else 0.6
        if self.alive and self.adults < 250:
            self._die()
        after = self.mass_kg()
        self.ledger = {f"d_{part}": after[part] - before[part] for part in after}
        return {
            "laid": laid,
            "emerged": emerged,
            "house_dead": house_dead,
            "foragers_lost": lost,
            "started_foraging": started,
            **income,
            **eaten,
        }

    def _lay(self, day: Day) -> float:
        self.mood = 0.8 * self.mood + float(self.chance.normal(0, 0.045))
        urge = self.queen.eggs_a_day(self.plan.queen_best) * day.season
        urge *= 1 + 0.08 * np.tanh(self.last_income_kg)
        over = max(self.brood - NURSE_CELLS * self.nurses, 0.0)
        urge = min(urge, max(NURSE_CELLS / 21 * 0.95 * self.nurses - 0.03 * over, 0.0))
        urge = min(urge, 0.5 * self.laying_room + 40)
        urge *= np.clip((self.stores_kg - 0.4) / 1.6, 0, 1)
        urge *= 0.35 + 0.65 * np.clip(self.pollen_kg / 0.25, 0, 1)
        return float(max(urge * np.exp(self.mood), 0.0))

    def _grow(self, laid: float, day: Day) -> tuple[float, float]:
        warm = 1.0 if self.adults > 0.25 * self.brood else 0.9  # too few to cover: brood chills
        fed = 1.0 if self.stores_kg > 0.3 else 0.6
        emerged = float(self.capped[-1]) * CAPPED_LIVES * warm
        drones = float(self.drone_brood[-1]) * 0.97
        worker_share = self.queen.worker_share
        self.capped = np.concatenate(([self.open[-1]], self.capped[:-1])) * CAPPED_LIVES * warm
        self.open = np.concatenate(([self.egg[-1]], self.open[:-1])) * OPEN_LIVES * warm * fed
        self.egg = np.concatenate(([laid * worker_share], self.egg[:-1])) * EGG_LIVES
        self.egg[0] = laid * worker_share
        drone_eggs = laid * (1 - worker_share)
        if day.season > 0.6 and day.rising and self.adults > 12_000:
            drone_eggs += 0.03 * laid
        self.drone_brood = np.concatenate(([drone_eggs], self.drone_brood[:-1])) * 0.977
        return emerged, drones

    def _age(self, day: Day, emerged: float) -> tuple[float, float, float]:
        nursing = self.brood / max(self.nurses, 1.0)
        share = self.forager / max(self.adults, 1.0)
        flow = np.tanh(self.last_income_kg / 1.5)
        onset = 21.5 - 5.0 * flow + 4.0 * np.clip(nursing - 1.6, -1, 1)
        onset += 14.0 * (share - 0.30)
        self.onset_d += 0.25 * (float(np.clip(onset, 10, 34)) - self.onset_d)

        winter_share = 0.0 if day.rising else float(np.clip((0.62 - day.season) / 0.4, 0, 1))
        alive = self.house * (1 - HOUSE_LOSS)
        alive[35:] *= 0.97
        dead = float(self.house.sum() - alive.sum())
        age = np.arange(HOUSE_DAYS)
        leave = alive * 0.45 / (1 + np.exp(-(age - self.onset_d) / 1.8)) * min(day.fly_h / 2, 1)
        started = float(leave.sum())
        alive = alive - leave
        moved = np.concatenate(([emerged * (1 - winter_share)], alive[:-1]))
        moved[-1] += alive[-1]
        self.house = moved

        work = 0.018 * np.clip(nursing, 0, 2) if day.rising else 0.004 * np.clip(nursing, 0, 1)
        winter_dead = self.winter * (WINTER_LOSS + work)
        called = self.winter * (0.03 * min(day.fly_h / 3, 1) if day.rising else 0.004)
        self.winter += emerged * winter_share - winter_dead - called
        lost = self.forager * self._forager_loss(day)
        self.forager += started + called - lost
        starving = self.adults * (0.22 if self.stores_kg < 0.06 else 0.0)
        if starving:
            self._thin(1 - 0.22)
        return dead + winter_dead + starving, lost, started + called

    def _forager_loss(self, day: Day) -> float:
        hours = day.fly_h * self._effort(day)
        return float(1 - np.exp(-FORAGER_LOSS_PER_H * self.plan.loss * hours - 0.005))

    def _effort(self, day: Day) -> float:
        give = max(day.nectar_kg / 2.5, 0.7 * day.pollen)
        return float(np.clip(0.30 + 0.7 * give, 0, 1))

    def _forage(self, day: Day) -> dict[str, float]:
        trips = self.forager * TRIPS_PER_H * day.fly_h * self._effort(day)
        want = float(np.clip(1.9 - self.pollen_kg, 0.05, 1.0)) * min(self.brood / 9_000, 1)
        pollen_trips = trips * 0.5 * want * min(day.pollen * 1.3, 1)
        pollen = pollen_trips * POLLEN_LOAD_KG
        hands = self.forager / (0.5 * self.forager + 7_000)
        catch = day.nectar_kg * self.plan.flow * hands * day.fly_h / 7
        most = (trips - pollen_trips) * NECTAR_LOAD_KG
        room = self.free_cells * CELL_HONEY_KG * 0.35
        nectar = max(min(catch, most, room), 0.0)
        sugar = nectar * day.sugar
        wet = nectar - sugar / HONEY_SUGAR
        self.honey_sugar_kg += sugar
        self.wet_kg = self.wet_kg * day.water_stays + wet * day.fresh_stays
        self.pollen_kg += pollen
        self.last_income_kg += 0.5 * (nectar - self.last_income_kg)
        return {"nectar": nectar, "sugar": sugar, "wet": wet, "pollen": pollen, "trips": trips}

    def _eat(self, day: Day, trips: float) -> dict[str, float]:
        cool = np.clip((34.5 - day.air_c) / 19.5, 0, 1.6)
        rest = 2.9e-6 + 2.6e-6 * np.clip((day.air_c - 8) / 10, 0, 1)
        rest += 1.0e-7 * np.clip(2 - day.air_c, 0, 20)
        honey = self.adults * rest + trips * TRIP_HONEY_KG + self.drone * 1.2e-5
        honey += self.brood * BROOD_HEAT_KG * 0.45 * cool
        honey += float(self.open.sum()) * LARVA_HONEY_KG
        honey = min(honey, 0.98 * self.honey_sugar_kg / HONEY_SUGAR)
        pollen = float(self.open.sum()) * LARVA_POLLEN_KG
        pollen += float(self.house[:15].sum()) * ADULT_POLLEN_KG
        pollen = min(pollen, 0.9 * self.pollen_kg)
        self.honey_sugar_kg -= honey * HONEY_SUGAR
        self.pollen_kg -= pollen
        return {"honey_eaten": honey, "pollen_eaten": pollen}

    # what may befall it ------------------------------------------------------------------

    def _thin(self, keep: float) -> None:
        self.house = self.house * keep
        self.forager *= keep
        self.winter *= keep

    def leave(self, share: float, *, old_queen: bool) -> tuple[float, float]:
        """Let a swarm go: bees of all ages but fewer foragers; return bees and kg."""
        before = self.adults
        self.house = self.house * (1 - share)
        self.winter *= 1 - share
        self.forager *= 1 - 0.75 * share
        bees = before - self.adults
        honey = min(bees * GORGE_KG, 0.5 * self.honey_sugar_kg / HONEY_SUGAR)
        self.honey_sugar_kg -= honey * HONEY_SUGAR
        drones = 0.1 * self.drone
        self.drone -= drones
        if old_queen:
            self.queen.swarmed()
        return bees, bees * BEE_KG + honey + drones * DRONE_KG

    def _die(self) -> None:
        self.alive = False
        self._thin(0.0)
        self.drone = 0.0
        self.egg[:] = 0
        self.open[:] = 0
        self.capped[:] = 0
        self.drone_brood[:] = 0
        self.queen.state = "none"


def start(plan: HivePlan, day: Day, chance: np.random.Generator) -> Colony:
    """Set a colony up as it would stand on the season's first day."""
    season = day.season
    best = plan.queen_best * season
    rate = 0.03 if day.rising else -0.02
    back = np.exp(-rate * np.arange(1, 22)) * min(best, plan.bees * 0.06)
    if day.rising and season < 0.85:
        winter = plan.bees * float(np.clip(1.05 - season, 0.1, 0.9))
        house = np.exp(-0.03 * np.arange(HOUSE_DAYS)) * (np.arange(HOUSE_DAYS) < 24)
        forager = 0.1 * plan.bees
    elif season > 0.45:
        winter = 0.0
        house = np.exp(-0.004 * np.arange(HOUSE_DAYS)) * (np.arange(HOUSE_DAYS) < 23)
        forager = 0.33 * plan.bees
    else:
        winter = plan.bees * float(np.clip(1.1 - 1.6 * season, 0.3, 1))
        house = 1.0 * (np.arange(HOUSE_DAYS) < 25)
        forager = 0.08 * plan.bees * season
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
        pollen_kg=1.3 if season > 0.1 else 0.5,
        queen=Queen(age_d=plan.queen_years * 365.0),
        boxes=plan.boxes,
        supers=plan.supers,
    )
