"""How many bees and how much brood a hive holds, day by day: kept like a book between counts.

What lies in the combs is bees three weeks later; bees die at the pace of the season. Laying goes
the way of the year, as much above or below it as brood was counted last. What a visit counts moves
the book by as much as the book was in doubt, and a swarm takes its bees out of it. What the hive
loses by night, when nothing comes in, is what bees and brood eat: it says how great the colony is.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hivewatch.frames import FRAMES
from hivewatch.inspections import Inspection, adult_count, brood_counts
from hivewatch.signals.appetite import need_kg
from hivewatch.signals.bare import before_each
from hivewatch.signals.days import DAY_S, HOUR_S, Days
from hivewatch.signals.departures import departures_of
from hivewatch.signals.window import Floats, HiveWindow

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/signals/test_colony.py, test_tare.py.
BEE_KG = 0.000111  # [kg] published: 9,000 bees a kilogram, Martin (1998), via Becher et al. (2014)
YOUNG_KG, CAPPED_KG = 0.00005, 0.00013  # [kg] from memory: a larva grows to 0.16 g, a bee has 0.11
YOUNG_D, BROOD_D = 9, 21  # [d] common practice, no source: until a cell is capped, until it hatches
LIVES = 0.93  # published: of 100 eggs 85 emerge (Fukuda & Sakagami 1968); of brood of all ages more
BEES = 11_000.0, 30_000.0  # [bees] of an ordinary colony, in winter and at its height
BROOD_CELLS = 28_000.0  # [cells] of it, at its height: 1,500 eggs a day, common practice
BEES_DAYS = 60, 150, 200, 290  # [d] of the northern year: it grows from, to; shrinks from, to
BROOD_DAYS = 40, 140, 170, 270  # [d] the same of its brood
GROWN_D, BROOD_GROWN_D, BROOD_AHEAD_D = 60.0, 45.0, 15.0  # [d] of growth after the cold, at least
SUMMER_BEES = 60, 135, 245, 310  # [d] bees live shortly from, to; those of autumn live until spring
LIFE_D, WINTER_LIFE_D = 35.0, 180.0  # [d] common practice, no source: five weeks, six months
WINTER_D = 21  # [d] own choice: so long without flight is winter
TROPIC, TROPIC_SHARE = 15.0, 0.6  # [deg] nearer to the equator it is always as great, in between
LEAST_BEES, LEAST_CELLS = 1000.0, 500.0  # own choice: fewer are none, when held against the usual
HOME_SHARE = 0.92  # own choice: of the bees; a third of the foragers is out while one counts
# As powers of e. Own choice: colonies that nobody counted, what a day adds, and counts by eye
BEES_DOUBT, BROOD_DOUBT = 0.45, 0.6
BEES_DRIFT, BROOD_DRIFT = 0.025, 0.06
BEES_COUNT, BROOD_COUNT = 0.2, 0.25
NIGHTS, NIGHT_QUANTILE = 10, 0.3  # nights that are asked together; with nectar they lose more
NIGHT_ERROR = 0.6  # own choice, as a power of e: of the colony that such nights tell
NIGHT_MOST = 1.1  # own choice, the same: three times as much is no colony but water
FLYING_H = 4.0  # [h/d] own choice: with less it is cold, and a cluster eats as it likes
# [d] so slowly it goes back to the usual: a colony stays great, or small, for most of a year
USUAL_D, LAYING_USUAL_D = 300.0, 45.0
SWARM_KG, SWARM_NEAR_S = 4.5, 3600  # [kg], [s] common practice, no source: no swarm weighs more
CAST_KG, CASTS_D = 1.0, 25  # [kg], [d] own choice: no first swarm is as small, a cast may be
BEES_SHARE = 0.74  # published: of a swarm; 0.1 g a bee, 36 mg honey with it (Winston, via Becher)
NO_EGGS_D = 14  # [d] common practice, no source: a young queen hatches, mates, and lays
HALF_YEAR_D, YEAR_D = 183, 365


class Colony(NamedTuple):
    """Bees and cells of brood of n days, as far as anybody knows; shape (n,)."""

    bees: Floats
    young: Floats  # eggs and open brood
    capped: Floats
    error_kg: Floats  # one standard deviation of `kg`
    height: Floats  # of the year, by an ordinary colony's brood: 0 in winter, to 1

    def kg(self) -> Floats:
        """Give what they weigh [kg]."""
        return np.asarray(BEE_KG * self.bees + YOUNG_KG * self.young + CAPPED_KG * self.capped)


class _Count(NamedTuple):
    """What a visit counted; None where it did not."""

    at_s: float
    bees: float | None
    young: float | None
    capped: float | None


class _Course(NamedTuple):
    """An ordinary colony by days."""

    bees: list[float]
    laid: list[float]  # [cells/d]
    dying: list[float]  # [1/d]


def colony_of(window: HiveWindow, days: Days, is_cold: Flags, seen: Sequence[Inspection]) -> Colony:
    """Give the colony of each day.

    Parameters
    ----------
    is_cold : Flags
        Days of a time without flight.
    seen : Sequence[Inspection]
        Visits by time; each counts from its own day on.

    Returns
    -------
    Colony
        At dawn, without the bees that left with a swarm.

    References
    ----------
    That the weight's course within a day tells what adults and brood consume: W. G. Meikle,
    B. G. Rector, G. Mercadier, N. Holst (2008), Apidologie 39:694.
    """
    counts, swarms = _counts(window, seen), list(_swarms(window, days))
    course = _course(window, days, is_cold)
    book = _Book(course)
    by_night_kg = _eaten_by_night(days).tolist()
    rows = []
    for i, dawn_s in enumerate(days.dawn_s.tolist()):
        if i:
            book.turn(i, has_eggs=not any(0 <= dawn_s - s < NO_EGGS_D * DAY_S for s, _ in swarms))
        last_s = float(days.dawn_s[i - 1]) if i else -math.inf
        for _, bees in (one for one in swarms if last_s < one[0] <= dawn_s):
            book.bees = max(book.bees - bees, LEAST_BEES)
        for one in (one for one in counts if last_s < one.at_s <= dawn_s):
            book.count(i, one)
        if days.day[i].toordinal() % NIGHTS == 0 and not math.isnan(by_night_kg[i]):
            book.weigh(by_night_kg[i])
        rows.append((book.bees, book.young, book.capped, book.error_kg()))
    height = np.array(course.laid) * BROOD_D / BROOD_CELLS
    table = np.array(rows, np.float64).reshape(-1, 4).T
    return Colony(table[0], table[1], table[2], table[3], height)


class _Book:
    """Bees and brood, kept from one day to the next."""

    def __init__(self, course: _Course) -> None:
        self.course = course
        self.bees = course.bees[0]
        self.cells = deque([course.laid[0]] * BROOD_D)  # by age, eggs of today first
        self.young, self.capped = YOUNG_D * course.laid[0], (BROOD_D - YOUNG_D) * course.laid[0]
        self.laying = 0.0  # beside the usual, as a power of e
        self.bees_var, self.brood_var = BEES_DOUBT**2, BROOD_DOUBT**2

    def turn(self, day: int, *, has_eggs: bool) -> None:
        """Go on by a day."""
        course = self.course
        self.laying *= 1 - 1 / LAYING_USUAL_D
        new = course.laid[day] * math.exp(self.laying) if has_eggs else 0.0
        grown, hatched = self.cells[YOUNG_D - 1], self.cells.pop()
        self.cells.appendleft(new)
        self.young += new - grown
        self.capped += grown - hatched
        bees = self.bees * (1 - course.dying[day]) + LIVES * hatched
        bees *= 1 - math.log(max(bees, LEAST_BEES) / course.bees[day]) / USUAL_D
        self.bees = max(bees, LEAST_CELLS)
        self.bees_var = min(self.bees_var + BEES_DRIFT**2, BEES_DOUBT**2)
        self.brood_var = min(self.brood_var + BROOD_DRIFT**2, BROOD_DOUBT**2)

    def count(self, day: int, seen: _Count) -> None:
        """Take in what a visit counted, by as much as the book is in doubt."""
        share = self.brood_var / (self.brood_var + BROOD_COUNT**2)
        cells, known = list(self.cells), False
        for ages, there, told in (
            (slice(0, YOUNG_D), self.young, seen.young),
            (slice(YOUNG_D, BROOD_D), self.capped, seen.capped),
        ):
            if told is not None:
                factor = ((told + LEAST_CELLS) / (there + LEAST_CELLS)) ** share
                more = LEAST_CELLS * (factor - 1) / len(cells[ages])
                cells[ages] = [max(one * factor + more, 0.0) for one in cells[ages]]
                known = True
        if known:
            self.cells = deque(cells)
            self.young, self.capped = sum(cells[:YOUNG_D]), sum(cells[YOUNG_D:])
            self.brood_var *= 1 - share
        if seen.young is not None:
            usual = YOUNG_D * self.course.laid[max(day - 1, 0)]
            self.laying = math.log((self.young + LEAST_CELLS) / (usual + LEAST_CELLS))
        if seen.bees is not None:
            share = self.bees_var / (self.bees_var + BEES_COUNT**2)
            self.bees *= (max(seen.bees / HOME_SHARE, LEAST_BEES) / self.bees) ** share
            self.bees_var *= 1 - share

    def weigh(self, eaten_kg: float) -> None:
        """Take in what was eaten by night, as a day's honey [kg]."""
        told = math.log(eaten_kg / need_kg(self.bees, self.young, self.capped, 1.0))
        told = min(max(told, -NIGHT_MOST), NIGHT_MOST)
        share = self.bees_var / (self.bees_var + NIGHT_ERROR**2)
        self.bees *= math.exp(share * told)
        self.bees_var *= 1 - share
        share = self.brood_var / (self.brood_var + NIGHT_ERROR**2)
        factor = math.exp(share * told)
        self.cells = deque(one * factor for one in self.cells)
        self.young, self.capped = self.young * factor, self.capped * factor
        self.laying += share * told
        self.brood_var *= 1 - share

    def error_kg(self) -> float:
        """Give how far off the weight of all may be [kg]."""
        bees_kg = BEE_KG * self.bees * math.sqrt(self.bees_var)
        brood_kg = (YOUNG_KG * self.young + CAPPED_KG * self.capped) * math.sqrt(self.brood_var)
        return math.hypot(bees_kg, brood_kg)


def _eaten_by_night(days: Days) -> Floats:
    """Give what is eaten a day by what the last nights without nectar took; NaN when cold [kg].

    A night on which the hive grew heavier is one of rain.
    """
    night_h = np.append((days.dawn_s[1:] - days.dusk_s[:-1]) / HOUR_S, np.nan)
    lost = np.where(days.night_kg > 0, 24 * days.night_kg / night_h, np.nan)
    eaten = before_each(lost, NIGHTS, NIGHTS // 2, NIGHT_QUANTILE)
    flown_h = before_each(np.nan_to_num(days.flying_h, nan=FLYING_H), NIGHTS, 1)
    return np.where(flown_h >= FLYING_H, eaten, np.nan)


def _counts(window: HiveWindow, seen: Sequence[Inspection]) -> list[_Count]:
    """Give what visits counted, by time."""
    frame = FRAMES.get(window.hive.frame or "")
    found = []
    for one in seen:
        if frame is None:
            break
        adults, brood = adult_count(one, frame), brood_counts(one, frame)
        young = None if brood.open is None else float(brood.open + (brood.eggs or 0))
        capped = None if brood.capped is None else float(brood.capped)
        found.append(_Count(one.at_s, adults, young, capped))
    return found


def _swarms(window: HiveWindow, days: Days) -> Iterator[tuple[float, float]]:
    """Give when swarms left, and how many bees with each; a cast is the second or third to go."""
    left_s = np.array(departures_of(window), np.int64)
    for step in days.steps:
        if not (-SWARM_KG <= step.size_kg < 0):
            continue
        ago_s = step.before_s - left_s
        was_before = (ago_s >= SWARM_NEAR_S) & (ago_s < CASTS_D * DAY_S)
        if (np.abs(ago_s) < SWARM_NEAR_S).any() and (step.size_kg < -CAST_KG or was_before.any()):
            yield step.after_s, -BEES_SHARE * step.size_kg / BEE_KG


def _course(window: HiveWindow, days: Days, is_cold: Flags) -> _Course:
    """Give an ordinary colony's course through these days."""
    latitude = window.yard.latitude
    shift = HALF_YEAR_D if latitude < 0 else 0
    number = np.array([(one.timetuple().tm_yday - 1 + shift) % YEAR_D + 1 for one in days.day])
    height = 0.0, 1.0, 1.0, 0.0
    grown, breeds, summer = (
        np.interp(number, marks, height) for marks in (BEES_DAYS, BROOD_DAYS, SUMMER_BEES)
    )
    if abs(latitude) < TROPIC:
        grown, breeds = (np.full(len(days), TROPIC_SHARE) for _ in range(2))
        summer = np.ones(len(days))
    is_winter = _is_long(is_cold)
    mild_d = np.cumsum(~is_cold, dtype=np.float64)
    since_d = mild_d - np.maximum.accumulate(np.where(is_winter, mild_d, -np.inf))
    grown = np.where(is_winter, 0.0, np.minimum(grown, since_d / GROWN_D))
    breeds = np.minimum(breeds, (since_d + BROOD_AHEAD_D) / BROOD_GROWN_D)
    dying = 1 / WINTER_LIFE_D + (1 / LIFE_D - 1 / WINTER_LIFE_D) * summer
    bees = BEES[0] + (BEES[1] - BEES[0]) * grown
    return _Course(bees.tolist(), (BROOD_CELLS / BROOD_D * breeds).tolist(), dying.tolist())


def _is_long(is_cold: Flags) -> Flags:
    """Say on which days it has been cold for long: bees keep their brood through a cold week."""
    day = np.arange(len(is_cold))
    mild = np.maximum.accumulate(np.where(is_cold, -1, day))
    return is_cold & (day - mild >= WINTER_D)
