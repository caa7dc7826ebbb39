"""From one visit to many possible colonies: brood as counted, adults aged by the laying before."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from hivewatch.comb.colony import Cohorts, Colony, empty_colony
from hivewatch.comb.count import COUNTING_ERROR, CombCount
from hivewatch.comb.priors import DRIFTING, LAYING_DRIFT, Traits, draw_traits, stream
from hivewatch.comb.rates import Day, advance_one_day
from hivewatch.comb.reading import Z_80, CombReading, Range, read_comb
from hivewatch.comb.stages import WORKER, Floats
from hivewatch.signals.season import has_winter_bees, laying_level

MEMBERS = 200  # own choice; intervals wander by a twentieth of their width between seeds

HISTORY_DAYS = 90
"""Days of laying played before the visit to give adults their ages. Own choice: 21 of brood, then
more than two lives of summer bees."""

BEE_LIFE_DAYS = 36.0
"""Adult life in summer: 21 days in the house and 15 of flying (common practice, no source)."""

ADULTS_FROM_BROOD_SPREAD = 0.15  # log scale; own choice, tests/property/test_comb_outlook.py
EGGS_SEEN = 0.93  # part of the eggs that a person who counts finds; own choice: they are overlooked
WANDER_SPREAD = 0.15  # of a day's laying about its class, log scale; own choice
LEVEL_BEFORE_SPREAD = 0.3  # of the laying before the three weeks that brood shows; own choice
LAYING_MAX = 2300.0  # [1/d] own choice: above the best published queens

FIELD_PART = 1 / 3
"""Part of the foragers that are in the field at any one time of a flying day, and so are not on
the combs. Published: 11.1 hours of foraging in 2.8 foraging days (Prado et al. 2020: 9 % of risk an
hour and 36 % a day), which are four of the twelve hours of a full flying day. That strength is only
known before the morning's flight is in Imdorf & Gerig's course of the method."""

FIELD_HOURS = (9.0, 18.0)  # [h] local time of day in which foragers are out. Own choice


CHANGES = ("split", "united", "requeened", "queen caged")


@dataclass(frozen=True)
class Visit:
    """What one visit counted: brood, adults, either or both.

    Parameters
    ----------
    day : date
        Local day of the visit.
    count : CombCount or None
        Brood.
    adults : float or None
        Bees on the combs.
    hour : float or None
        Local time of day; None where nobody says. [h]
    done : tuple of str
        What was done there that changes the colony, of `CHANGES`; after the count.
    """

    day: date
    count: CombCount | None
    adults: float | None = None
    hour: float | None = None
    done: tuple[str, ...] = ()

    @cached_property
    def reading(self) -> CombReading | None:
        """The comb read; None without a count, or with one that cannot be true."""
        if self.count is None:
            return None
        reading = read_comb(self.count)
        return None if reading.question else reading

    @property
    def says_something(self) -> bool:
        """Whether anything usable was counted, or done."""
        return self.is_count or bool(self.done)

    @property
    def is_count(self) -> bool:
        """Whether anything usable was counted."""
        return self.adults is not None or self.reading is not None

    @property
    def can_start(self) -> bool:
        """Whether a colony can be drawn from it: no brood and no count of bees say nothing."""
        reading = self.reading
        return self.adults is not None or (reading is not None and float(reading.curve.max()) > 0)


DaysOf = Callable[[Sequence[date]], list[Day]]


def in_field(visit: Visit, days_of: DaysOf) -> float:
    """Say what part of the foragers was out while somebody counted."""
    first, last = FIELD_HOURS
    if visit.hour is None or not first <= visit.hour <= last:
        return 0.0
    return FIELD_PART * float(np.mean(days_of([visit.day])[0].flying))


def start(
    visit: Visit, seed: int, days_of: DaysOf, latitude: float, members: int = MEMBERS
) -> tuple[Colony, Traits]:
    """Draw colonies that fit one visit, shape (1 hive, members).

    Brood is the comb reading's, each class off by its own error in each member. The laying before
    is carried back by the season and played through the colony model for `HISTORY_DAYS`: that
    gives adults their ages. They are then scaled to the adults counted, in winter and spring
    filled up with winter bees. Without a count of adults they stay as the brood suggests.

    Raises
    ------
    ValueError
        If the visit found no brood and nobody counted the adults.
    """
    reading = visit.reading
    if not visit.can_start:
        raise ValueError("a visit without a count cannot start a colony")
    generator = stream(seed, visit.day, "start")
    noise = generator.standard_normal((len(DRIFTING), 1, members)).astype(np.float32)
    traits = draw_traits(np.zeros((1, members), np.float32), noise)
    adults = None
    if visit.adults is not None:
        off = COUNTING_ERROR * generator.standard_normal(members)
        adults = visit.adults * np.exp(off)
    if reading is None or (visit.adults is not None and _is_half_looked_for(visit)):
        level = _usual_level(visit, latitude) * np.exp(0.4 * generator.standard_normal(members))
        brood = np.repeat(level[None], WORKER.emerge_day, axis=0) * _alive(traits)
        brood *= _before_a_stop(visit, generator, members)
    else:
        brood = draw_brood(reading, generator, members)
    laid = brood / _alive(traits)
    colony = _play(laid, adults, traits, visit.day, days_of, latitude, generator)
    if adults is not None:  # on the combs, but not those in the field
        flown = colony.foragers.sum(axis=0)[0] / np.maximum(colony.adults[0], 1.0)
        adults = adults / (1.0 - in_field(visit, days_of) * flown)
    colony = _fit_adults(colony, brood, adults, visit.day, latitude, generator)
    now = np.minimum(laid[: WORKER.hatch_day].mean(axis=0), LAYING_MAX)
    traits = Traits(now[None].astype(np.float32), *(getattr(traits, name) for name in DRIFTING[1:]))
    return colony, traits


def _is_half_looked_for(visit: Visit) -> bool:
    """Say whether all classes looked for were empty, and an older one was not looked for."""
    cells = visit.count.cells if visit.count is not None else ()
    return not any(cells) and None in cells[cells.index(0) :] if 0 in cells else False


def _before_a_stop(visit: Visit, generator: np.random.Generator, members: int) -> Floats:
    """Say which ages are there beside classes found empty: those laid before a stop nobody dated.

    Own choice: one of late is likelier, as one of long ago would have been seen before.
    """
    ages = np.arange(WORKER.emerge_day)[:, None]
    if visit.reading is None or visit.count is None:
        return np.ones((WORKER.emerge_day, members))
    pairs = zip(visit.count.cells, WORKER.windows, strict=True)
    empty_to = max(old for cells, (_, old) in pairs if cells == 0)
    stop = empty_to + (WORKER.emerge_day - empty_to) * generator.uniform(size=members) ** 3
    return np.asarray(ages >= stop, np.float64)


def draw_brood(reading: CombReading, generator: np.random.Generator, members: int) -> Floats:
    """Draw living brood by age, shape (21, members), each class off by its own error."""
    share, _ = reading.count.loss(reading.stages)
    living = reading.curve * reading.stages.survival(share)
    brood = np.repeat(living[:, None], members, axis=1)
    for span, (young, old) in zip(reading.laying, reading.stages.windows, strict=True):
        days = old - young
        wander = np.exp(WANDER_SPREAD * _smooth(generator.standard_normal((days, members))))
        part = brood[young:old] * wander
        total = living[young:old].sum()
        part *= total / np.maximum(part.sum(axis=0), 1e-9)
        brood[young:old] = part * _off(span, generator, members)
    brood[: WORKER.hatch_day] /= EGGS_SEEN
    return np.maximum(brood, 0.0)


def _off(span: Range | None, generator: np.random.Generator, members: int) -> Floats:
    """Draw the factor by which a class differs from its median."""
    if span is None or span.median <= 0:
        return np.ones(members)
    if span.low <= 0:  # beside an empty class nobody knows: anything up to the top
        return generator.uniform(0, span.high / span.median, members)
    spread = np.log(span.high / span.low) / (2 * Z_80)
    return np.asarray(np.exp(spread * generator.standard_normal(members)))


def _smooth(white: Floats) -> Floats:
    """Turn white noise into one that remembers four fifths from day to day, of unit variance."""
    smooth = np.empty_like(white)
    smooth[0] = white[0]
    for day in range(1, len(white)):
        smooth[day] = 0.8 * smooth[day - 1] + 0.6 * white[day]
    return smooth


def _alive(traits: Traits) -> Floats:
    """Part alive of what was laid on each day, shape (21, members)."""
    hazard = WORKER.daily_loss()[:, None] * traits.brood_loss[0]
    before = np.cumsum(hazard, axis=0) - hazard
    return np.asarray(np.exp(-before))


def _usual_level(visit: Visit, latitude: float) -> float:
    """Say what a colony of so many adults lays in this season."""
    return (visit.adults or 0.0) / BEE_LIFE_DAYS * min(1.0, 1.2 * laying_level(visit.day, latitude))


def _play(
    laid: Floats,
    adults: Floats | None,
    traits: Traits,
    day: date,
    days_of: DaysOf,
    latitude: float,
    generator: np.random.Generator,
) -> Colony:
    """Play the laying before the visit, so that every adult has an age."""
    members = laid.shape[1]
    oldest = laid[WORKER.cap_day :].mean(axis=0)
    ago = np.arange(WORKER.emerge_day, HISTORY_DAYS)
    middle = day - timedelta(days=(WORKER.cap_day + WORKER.emerge_day) // 2)
    here = laying_level(middle, latitude)
    season = np.array(
        [
            min(3.0, laying_level(day - timedelta(days=int(d)), latitude) / max(here, 0.02))
            for d in ago
        ]
    )
    before = oldest * season[:, None]
    if float(np.median(oldest)) <= 0 and adults is not None:
        # no brood that old: the adults are from before a stop of unknown length
        stop = generator.uniform(WORKER.emerge_day, 2 * WORKER.emerge_day, members)
        before = np.where(ago[:, None] > stop, adults / BEE_LIFE_DAYS, 0.0)
    steps = np.cumsum(generator.standard_normal(before.shape), axis=0) * LAYING_DRIFT
    wander = np.clip(steps, -2 * LEVEL_BEFORE_SPREAD, 2 * LEVEL_BEFORE_SPREAD)
    before = np.minimum(before * np.exp(wander), LAYING_MAX)
    history = np.concatenate([laid, before])[::-1].astype(np.float32)
    colony = empty_colony(1, members)
    days = [day - timedelta(days=ago) for ago in range(len(history) - 1, -1, -1)]
    for eggs, today in zip(history, days_of(days), strict=True):
        supposed = Traits(eggs[None], *(getattr(traits, name) for name in DRIFTING[1:]))
        colony, _, _ = advance_one_day(colony, supposed, today)
    return colony


def _fit_adults(
    colony: Colony,
    brood: Floats,
    adults: Floats | None,
    day: date,
    latitude: float,
    generator: np.random.Generator,
) -> Colony:
    """Scale the adults to the count, or guess them from the brood; put the drawn brood in."""
    played = np.maximum(np.asarray(colony.adults[0], np.float64), 1.0)
    in_winter = has_winter_bees(day, latitude)
    if adults is not None:
        scale = np.minimum(1.0, adults / played) if in_winter else adults / played
        wanted = adults
    else:
        scale = np.exp(ADULTS_FROM_BROOD_SPREAD * generator.standard_normal(played.size))
        # somebody must keep the brood warm in spring: about a bee a cell
        wanted = brood.sum(axis=0) * np.exp(0.5 * generator.standard_normal(played.size))
    more = np.maximum(wanted - played * scale, 0.0) if in_winter else 0.0
    winter: Cohorts = colony.winter * scale + more
    return Colony(
        brood[:, None].astype(np.float32),
        (colony.house * scale).astype(np.float32),
        (colony.foragers * scale).astype(np.float32),
        winter.astype(np.float32),
    )
