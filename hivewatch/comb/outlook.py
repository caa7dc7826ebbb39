"""Three weeks back, three weeks ahead, from what visits counted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from hivewatch.comb.assimilate import bring_in
from hivewatch.comb.calendar import EMERGENCY_EGGS_DAYS
from hivewatch.comb.colony import Colony
from hivewatch.comb.priors import DRIFTING, Traits, draw_noise, stream
from hivewatch.comb.rates import Day, advance_one_day
from hivewatch.comb.reading import Range
from hivewatch.comb.season import (
    has_winter_bees,
    laying_growth,
    laying_level,
    usual_flying,
    winter_share,
)
from hivewatch.comb.stages import WORKER, Floats
from hivewatch.comb.start import BEE_LIFE_DAYS, LAYING_MAX, MEMBERS, Visit, start

AHEAD_DAYS = 21

VISIT_TOO_OLD_DAYS = 60
"""Visits longer ago are not started from. Own choice: by then no bee that was counted as brood is a
house bee, and summer adults have been replaced once."""

RESUMES = 0.3
"""Part of members whose queen lays again, where laying had stopped. Own choice: the median then
says no eggs and the 80 % range reaches up to a new queen's laying."""

CROWDED_PART = 0.85
"""Part of the seams covered with bees from which a hive is crowded. Own choice next to the common
practice (no source) of giving room when eight of ten combs are covered."""

USUAL_FLOW_KG = 0.6
"""Income on a full flying day where no scale says it. Own choice: a season's honey and the colony's
own need, some 90 kg over 150 days."""

SUPER_BEFORE_DAYS = 3  # own choice: a visit's notice


@dataclass(frozen=True)
class Hive:
    """What must be known of a hive besides its visits.

    Parameters
    ----------
    hive : str
        Its id.
    latitude : float
        Of its yard. [deg]
    seams : float or None
        Seams between the combs of all boxes that bees may use; None where the frames are not known.
    bees_a_seam : float or None
        Bees on both combs of a full seam.
    seed : int
        For its members; the same seed gives the same numbers.
    """

    hive: str
    latitude: float
    seams: float | None = None
    bees_a_seam: float | None = None
    seed: int = 0


@dataclass(frozen=True)
class Outlook:
    """The colony from 21 days back to 21 ahead; `day` 0 is `as_of`.

    `laying` has days -21 to 21, `adults`, `foragers`, `emerging` 0 to 21. `brood` is as of day 0.
    """

    hive: str
    as_of: date
    visit: Visit
    laying: dict[int, Range]
    brood: dict[str, Range]
    adults: dict[int, Range]
    foragers: dict[int, Range]
    emerging: dict[int, Range]
    seams_of_bees: float | None
    crowded_on: date | None
    super_by: date | None
    restarted_on: date | None


def look_ahead(
    hive: Hive,
    visits: Sequence[Visit],
    as_of: date,
    flying: Mapping[date, float] | None = None,
    members: int = MEMBERS,
) -> Outlook | None:
    """Say how a colony stands and what it will be.

    Starts from the first usable visit of the last `VISIT_TOO_OLD_DAYS`, moves on day by day,
    brings in each later visit, and then goes on for three weeks.

    Parameters
    ----------
    hive : Hive
        Where it stands and what room it has.
    visits : Sequence[Visit]
        In any order; those after `as_of` are not looked at.
    as_of : date
        Local day.
    flying : Mapping[date, float] or None
        Part of a full flying day, where the weather is known; the season's mean elsewhere.
    members : int
        Size of the ensemble.

    Returns
    -------
    Outlook or None
        None when nothing usable was counted.
    """
    oldest = as_of - timedelta(days=VISIT_TOO_OLD_DAYS)
    usable = sorted(
        (v for v in visits if oldest <= v.day <= as_of and v.says_something), key=lambda v: v.day
    )
    while usable and not usable[0].can_start:
        usable.pop(0)
    if not usable:
        return None
    day_of = _days(hive.latitude, flying or {})
    colony, traits = start(usable[0], hive.seed, day_of, hive.latitude, members)
    restarted: date | None = None
    last = usable[0]
    emerged = np.asarray(colony.brood[-1, 0], np.float64)
    today = usable[0].day
    for visit in usable[1:]:
        colony, traits, emerged = _run(colony, traits, today, visit.day, hive.seed, day_of, emerged)
        today = visit.day
        colony, traits, afresh = bring_in(colony, traits, visit, hive.seed, day_of, hive.latitude)
        restarted = visit.day if afresh else restarted
        last = visit
    colony, traits, emerged = _run(colony, traits, today, as_of, hive.seed, day_of, emerged)
    return _ahead(hive, colony, traits, as_of, day_of, last, restarted, emerged)


def _days(latitude: float, flying: Mapping[date, float]) -> Callable[[date], Day]:
    """Make the day of each date from what is known of it and its season."""

    def day_of(day: date) -> Day:
        flown = flying.get(day, usual_flying(day, latitude))
        growth = laying_growth(day, day - timedelta(days=1), latitude)
        flow = USUAL_FLOW_KG * flown
        values = (flown, flow, winter_share(day, latitude), growth)
        return Day(*(np.full((1, 1), value, np.float32) for value in values))

    return day_of


def _run(
    colony: Colony,
    traits: Traits,
    since: date,
    until: date,
    seed: int,
    day_of: Callable[[date], Day],
    emerged: Floats,
) -> tuple[Colony, Traits, Floats]:
    """Move on from the end of one day to the end of another."""
    members = colony.winter.shape[1]
    for step in range((until - since).days):
        day = since + timedelta(days=step + 1)
        noise = draw_noise([seed], day, members)
        colony, traits, ledger = advance_one_day(colony, traits, day_of(day), noise)
        emerged = np.asarray(ledger.emerged[0], np.float64)
    return colony, traits, emerged


def _ahead(
    hive: Hive,
    colony: Colony,
    traits: Traits,
    as_of: date,
    day_of: Callable[[date], Day],
    last: Visit,
    restarted: date | None,
    emerged: Floats,
) -> Outlook:
    """Go on for three weeks and keep the ranges."""
    alive = _alive_by_age(traits)
    laying = {
        -age - 1: _range(colony.brood[age, 0] / alive[age]) for age in range(WORKER.emerge_day)
    }
    brood = {
        name: _range(colony.brood_class(place)[0])
        for place, name in enumerate(("eggs", "open", "capped"))
    }
    again = _resumes(traits, colony, hive, as_of)
    adults, foragers, emerging = {}, {}, {}
    now: Floats = emerged
    for ahead in range(AHEAD_DAYS + 1):
        if ahead:
            day = as_of + timedelta(days=ahead)
            traits = _lay_again(traits, again, ahead)
            colony, traits, now = _run(
                colony, traits, day - timedelta(days=1), day, hive.seed, day_of, now
            )
        laying[ahead] = _range(traits.laying[0])
        adults[ahead] = _range(colony.adults[0])
        foragers[ahead] = _range(colony.foragers.sum(axis=0)[0])
        emerging[ahead] = _range(now)
    crowded = _crowded_on(hive, adults, as_of)
    return Outlook(
        hive.hive,
        as_of,
        last,
        dict(sorted(laying.items())),
        brood,
        adults,
        foragers,
        emerging,
        adults[0].median / hive.bees_a_seam if hive.bees_a_seam else None,
        crowded,
        max(as_of, crowded - timedelta(days=SUPER_BEFORE_DAYS)) if crowded else None,
        restarted,
    )


def _alive_by_age(traits: Traits) -> Floats:
    hazard = WORKER.daily_loss()[:, None] * np.asarray(traits.brood_loss[0], np.float64)
    return np.asarray(np.exp(-(np.cumsum(hazard, axis=0) - hazard)))


def _range(values: Floats) -> Range:
    low, median, high = np.quantile(np.asarray(values, np.float64), [0.1, 0.5, 0.9])
    return Range(float(low), float(median), float(high))


def _resumes(traits: Traits, colony: Colony, hive: Hive, as_of: date) -> tuple[Floats, Floats]:
    """Draw when members whose queen does not lay begin again (-1: not), and how much they lay.

    In the season that is a new queen, after the days that she needs. In winter it is the old one:
    any day while days grow longer, not before.
    """
    members = traits.laying.shape[1]
    generator = stream(hive.seed, as_of, "laying again")
    draws = generator.uniform(size=(2, members))
    ahead = as_of + timedelta(days=AHEAD_DAYS)
    level = laying_level(ahead, hive.latitude)
    if has_winter_bees(as_of, hive.latitude):
        rising = laying_growth(ahead, ahead - timedelta(days=1), hive.latitude) > 1.0
        wait, chance = 1.0 + 2 * AHEAD_DAYS * draws[0], 1.0 if rising else 0.0
    else:
        aged = np.flatnonzero(np.median(colony.brood[:, 0], axis=1) >= 1.0)
        empty = int(aged[0]) if aged.size else WORKER.emerge_day
        first, last = EMERGENCY_EGGS_DAYS
        first = max(1, first - empty)
        wait, chance = first + (last - first) * draws[0], RESUMES
    again = (traits.laying[0] < 1.0) & (draws[1] < chance)
    usual = np.asarray(colony.adults[0], np.float64) / BEE_LIFE_DAYS * level
    laid = np.maximum(usual, colony.brood[:, 0].max(axis=0))
    return np.where(again, np.ceil(wait), -1.0), np.minimum(laid, LAYING_MAX)


def _lay_again(traits: Traits, again: tuple[Floats, Floats], ahead: int) -> Traits:
    starts = again[0] == ahead
    if not starts.any():
        return traits
    laying = np.where(starts, again[1], traits.laying[0])[None].astype(np.float32)
    return Traits(laying, *(getattr(traits, name) for name in DRIFTING[1:]))


def _crowded_on(hive: Hive, adults: dict[int, Range], as_of: date) -> date | None:
    """Find the first day on which most members cover more seams than they should."""
    if not hive.seams or not hive.bees_a_seam:
        return None
    for ahead, bees in adults.items():
        if bees.median > CROWDED_PART * hive.seams * hive.bees_a_seam:
            return as_of + timedelta(days=ahead)
    return None
