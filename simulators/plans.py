"""Plans: yards, hives, keeper, blooms and happenings of a season, and its time."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STEP_S = 300  # [s] the model's own grid
STEPS_A_DAY = 86_400 // STEP_S


class ScenarioError(Exception):
    """A scenario that cannot be played; the text says where and why."""


@dataclass(frozen=True)
class Bloom:
    """What flowers, from when to when (month-day), and what a strong hive brings of it a day."""

    what: str
    start: str
    end: str
    nectar_kg: float = 0.0
    sugar: float = 0.4
    pollen: float = 0.5


@dataclass(frozen=True)
class Spell:
    """Weather that comes whatever the year: rain, heat or cold, by so many degrees."""

    what: str
    start: str
    end: str
    kelvin: float = 6.0


@dataclass(frozen=True)
class Happening:
    """Something that befalls a hive or one of its devices on a month-day, at a local hour."""

    what: str
    on: str
    at: str = "12:00"
    until: str = ""
    device: str = ""
    size: float = 0.0
    to: str = ""


@dataclass(frozen=True)
class Keeper:
    """How the keeper works."""

    first_visit: str = ""
    visit_every_days: int = 10
    last_visit: str = ""
    notes: float = 0.9  # share of visits written down
    late_notes: float = 0.15  # share of those written down days later
    count_error: float = 0.12  # relative error of one count, one standard deviation
    supers: bool = True
    harvest: str = ""
    feeds: bool = True
    requeens: bool = False
    splits: str = ""  # month-day from which strong hives are divided
    treats: str = ""  # month-day of the treatment
    winter_stores_kg: float = 0.0  # feeds up to this in autumn
    foundation: float = 0.25  # share of supers with comb still to be drawn
    cuts_cells: float = 0.0  # chance to find and break queen cells at a visit


@dataclass(frozen=True)
class Sensors:
    """The devices a hive carries and how good they are."""

    every_min: float = 10.0
    scale: bool = True
    probe: bool = True
    counter: bool = True
    scale_noise_kg: float = 0.008
    scale_step_kg: float = 0.01
    scale_jitter: float = 0.01  # share of weighings that fall short by some hundred grams
    scale_drift_g_per_k: float = 1.5
    scale_creep_g: float = 20.0
    nest_noise_k: float = 0.03
    counter_bias: float = 0.04
    spikes_a_month: float = 0.2
    ambient: bool = True  # the scale also feels the air
    probe_place: str = "nest"  # nest, edge (beside the bees) or lid (above the crown board)


@dataclass(frozen=True)
class HivePlan:
    """One hive at the start of the season, and what befalls it."""

    id: str
    bees: float
    stores_kg: float
    queen_years: float
    queen_best: float  # eggs a day in her best week
    boxes: int
    frame: str
    frames: int
    empty_kg: float
    swarm_urge: float
    supers: int = 0
    shares_scale_with: str = ""
    flow: float = 1.0
    loss: float = 1.0  # forager losses beside ordinary ones
    sensors: Sensors = field(default_factory=Sensors)
    happenings: tuple[Happening, ...] = ()


@dataclass(frozen=True)
class YardPlan:
    """One yard: place, climate, blooms, hives."""

    id: str
    name: str
    latitude: float
    longitude: float
    timezone: str
    climate: str
    year: str
    blooms: tuple[Bloom, ...]
    spells: tuple[Spell, ...]
    hives: tuple[HivePlan, ...]


@dataclass(frozen=True)
class Scenario:
    """A season to play."""

    name: str
    title: str
    seed: int
    start: date
    days: int
    keeper: Keeper
    yards: tuple[YardPlan, ...]

    def resolve(self, month_day: str) -> date:
        """Give the first such month-day on or after the season's start."""
        found = in_year(month_day, self.start.year)
        return found if found >= self.start else in_year(month_day, self.start.year + 1)

    def day_of(self, month_day: str) -> int:
        """Give the season's day number of a month-day."""
        return (self.resolve(month_day) - self.start).days

    def spans(self, first: str, last: str) -> list[tuple[int, int]]:
        """Give every span from one month-day to another as day numbers, near the season."""
        found = []
        for year in range(self.start.year - 1, self.start.year + 3):
            begin, end = in_year(first, year), in_year(last, year)
            if end < begin:
                end = in_year(last, year + 1)
            found.append(((begin - self.start).days, (end - self.start).days))
        return found


def in_year(month_day: str, year: int) -> date:
    """Give the date of a month-day in a year."""
    month, day = (int(part) for part in month_day.split("-"))
    return date(year, month, day)


def rng(seed: int, *labels: str | int) -> np.random.Generator:
    """Give the generator of one named part, so that parts do not disturb each other."""
    words = [zlib.crc32(str(label).encode()) for label in labels]
    return np.random.default_rng([seed & 0xFFFFFFFF, *words])


def standard_offset_s(timezone: str, year: int) -> int:
    """Give the zone's winter-time offset from UTC; the model's days run on it."""
    zone = ZoneInfo(timezone)
    offsets = [datetime(year, month, 1, tzinfo=zone).utcoffset() or timedelta() for month in (1, 7)]
    return int(min(offsets).total_seconds())


def local_s(day: date, clock: str, timezone: str) -> int:
    """Give the Unix time of a wall-clock time in a yard."""
    hour, minute = (int(part) for part in clock.split(":"))
    return int(datetime.combine(day, time(hour, minute), ZoneInfo(timezone)).timestamp())


def instant(time_s: float) -> str:
    """Write a Unix time as RFC 3339 in UTC."""
    return datetime.fromtimestamp(round(time_s), tz=UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
