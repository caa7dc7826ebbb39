"""Bring a later visit into the ensemble: members move towards what was counted."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from hivewatch.comb.colony import Cohorts, Colony
from hivewatch.comb.count import COUNTING_ERROR
from hivewatch.comb.priors import (
    BROOD_LOSS,
    FORAGER_DEATH,
    HOUSE_DEATH,
    ONSET_AGE,
    Traits,
    stream,
)
from hivewatch.comb.stages import WORKER, Floats
from hivewatch.comb.start import EGGS_SEEN, LAYING_MAX, DaysOf, Visit, draw_brood, in_field, start
from hivewatch.signals.season import has_winter_bees

SURPRISE_Z = 3.5
"""Count minus expectation, in its own spread, beyond which something happened that the model does
not know. For eggs and open brood that is a queen who changed her laying: the class is taken from
the visit. For capped brood and adults (a swarm left, combs taken, hives united) the colony starts
afresh from the visit. Own choice: one honest count in two thousand."""

EGG_ERROR = 0.25
"""One standard deviation of a count of eggs as a fraction: the upper end of what an eye is off (see
`count.COUNTING_ERROR`). Own choice: eggs are the class that people overlook."""

INFLATION = 1.1  # of the spread at each visit, for what the model leaves out. Own choice

SAME_EYE = 0.25
"""Part of the variance of a visit's counts that is one and the same: who takes a comb for fuller
than it is, takes all of them so that day. Own choice: half of a count's own error."""

_ADULTS = 3  # place after eggs, open and capped brood


@dataclass(frozen=True)
class Seen:
    """What a visit counted beside what the members hold.

    Parameters
    ----------
    places : list[int]
        0, 1, 2 for eggs, open, capped brood, 3 for adults: those to be moved towards.
    log_seen, log_members, spread : Floats
        Log of the counts, of the members' own (counts, members), and the spread of each count.
    changed : list[int]
        Brood classes that came, went, or are out of expectation.
    is_broken : bool
        Capped brood or adults are out of all expectation.
    """

    places: list[int]
    log_seen: Floats
    log_members: Floats
    spread: Floats
    changed: list[int]
    is_broken: bool


def compare(colony: Colony, visit: Visit, away: float = 0.0) -> Seen:
    """Put the counts of a visit beside the members', `away` of whose foragers are in the field."""
    cells = visit.count.cells if visit.reading is not None and visit.count else (None, None, None)
    places, logs, members, spreads, changed = [], [], [], [], []
    is_broken = False
    for place, counted in enumerate((*cells, visit.adults)):
        if counted is None:
            continue
        if place == _ADULTS:
            mine = colony.adults[0] - away * colony.foragers.sum(axis=0)[0]
        else:
            mine = colony.brood_class(place)[0] * (EGGS_SEEN if place == 0 else 1.0)
        was_empty = bool(np.median(mine) < 1.0)
        if counted == 0 and was_empty:
            continue
        log_mine = np.log(np.maximum(np.asarray(mine, np.float64), 1.0))
        log_seen = math.log(max(counted, 1.0))
        spread = math.sqrt(_counting_error(visit, place) ** 2 + 1.0 / max(counted, 1.0))
        off = abs(log_seen - float(np.median(log_mine)))
        is_odd = off > SURPRISE_Z * math.hypot(spread, float(log_mine.std()))
        if (counted == 0) != was_empty or is_odd:
            if place == _ADULTS or (is_odd and counted and not was_empty and place == _ADULTS - 1):
                is_broken = True
            else:
                changed.append(place)
            continue
        places.append(place)
        logs.append(log_seen)
        members.append(log_mine)
        spreads.append(spread)
    return Seen(places, np.array(logs), np.array(members), np.array(spreads), changed, is_broken)


def _counting_error(visit: Visit, place: int) -> float:
    """Give one standard deviation of a count, as a fraction."""
    if visit.count is not None and visit.count.counting_error is not None:
        return visit.count.error
    return EGG_ERROR if place == 0 else COUNTING_ERROR


def first_colony(
    visit: Visit, seed: int, days_of: DaysOf, latitude: float, members: int
) -> tuple[Colony, Traits]:
    """Draw colonies that fit a first visit, its count of bees held against its brood.

    In summer brood says itself how many bees there should be: all are its elder sisters. The count
    is then one opinion more, and tells also how long bees live. Where the two cannot both be true
    (a swarm left), in winter and in spring, the count stands alone.
    """
    brood_alone = replace(visit, adults=None)
    if visit.adults and brood_alone.can_start and not has_winter_bees(visit.day, latitude):
        colony, traits = start(brood_alone, seed, days_of, latitude, members)
        seen = compare(colony, replace(visit, count=None), in_field(visit, days_of))
        if seen.places:
            generator = stream(seed, visit.day, "visit")
            return assimilate(colony, traits, seen, generator, np.empty((0, members)))[:2]
    return start(visit, seed, days_of, latitude, members)


def bring_in(
    colony: Colony,
    traits: Traits,
    own: Floats,
    visit: Visit,
    seed: int,
    days_of: DaysOf,
    latitude: float,
) -> tuple[Colony, Traits, Floats, bool]:
    """Bring in a visit; say whether the colony had to start afresh from it."""
    generator = stream(seed, visit.day, "visit")
    seen = compare(colony, visit, in_field(visit, days_of))
    members = colony.winter.shape[1]
    if seen.is_broken and visit.can_start:
        fresh, supposed = start(visit, seed, days_of, latitude, members)
        if visit.reading is None:  # only adults were counted: brood is better known from before
            fresh = replace(fresh, brood=colony.brood)
            supposed = replace(supposed, laying=traits.laying)
        return fresh, supposed, own, True
    reading = visit.reading
    if seen.changed and reading is not None:
        drawn = draw_brood(reading, generator, members)[:, None].astype(np.float32)
        brood = colony.brood.copy()
        for place in seen.changed:
            young, old = WORKER.windows[place]
            brood[young:old] = drawn[young:old]
        colony = replace(colony, brood=brood)
        if 0 in seen.changed:
            traits = replace(traits, laying=np.minimum(drawn[:3].mean(axis=0), LAYING_MAX))
    return *assimilate(colony, traits, seen, generator, own), False


def assimilate(
    colony: Colony, traits: Traits, seen: Seen, generator: np.random.Generator, own: Floats
) -> tuple[Colony, Traits, Floats]:
    """Move the members towards the counts: an ensemble Kalman filter on the log scale.

    The state is the log of each brood class, of house bees, of foragers and winter bees together,
    of laying and of the four traits, and what the sensors make of this hive; each member is
    compared with its own draw of what might have been counted. Cohorts are then scaled, so that
    nothing turns negative and ages stay as they were.

    Parameters
    ----------
    colony, traits : Colony, Traits
        One hive.
    seen : Seen
        From `compare`.
    generator : np.random.Generator
        For the draws.
    own : Floats
        What is the hive's own, on the log scale, shape (rows, members): a count of bees also says
        what its counter makes of them.

    Returns
    -------
    tuple[Colony, Traits, Floats]
        Moved.

    References
    ----------
    G. Burgers, P. J. van Leeuwen, G. Evensen, Monthly Weather Review 126, 1719 (1998): perturbed
    observations.
    """
    if not seen.log_seen.size:
        return colony, traits, own
    state = _log_state(colony, traits)
    moved = _moved(np.concatenate([state, own]), seen, generator, INFLATION)
    return *_put_back(colony, moved[: len(state)]), moved[len(state) :]


def _moved(
    state: Floats, seen: Seen, generator: np.random.Generator, inflation: float = 1.0
) -> Floats:
    """Move the rows of a state by what was seen beside what the members hold."""
    mean = state.mean(axis=1, keepdims=True)
    state = mean + inflation * (state - mean)
    there = seen.log_members - seen.log_members.mean(axis=1, keepdims=True)
    there *= inflation
    members = state.shape[1]
    cross = (state - mean) @ there.T / (members - 1)
    alike = SAME_EYE * np.outer(seen.spread, seen.spread)
    own = there @ there.T / (members - 1) + alike + np.diag((1.0 - SAME_EYE) * seen.spread**2)
    apart = math.sqrt(1.0 - SAME_EYE) * generator.standard_normal(seen.log_members.shape)
    eye = math.sqrt(SAME_EYE) * generator.standard_normal(members)
    draws = seen.spread[:, None] * (apart + eye)
    draws -= draws.mean(axis=1, keepdims=True)
    predicted = seen.log_members.mean(axis=1, keepdims=True) + there
    gap = seen.log_seen[:, None] + draws - predicted
    return np.asarray(state + cross @ np.linalg.solve(own, gap))


def _log_state(colony: Colony, traits: Traits) -> Floats:
    rows = [np.asarray(colony.brood_class(place)[0], np.float64) for place in range(3)]
    rows += [
        np.asarray(part, np.float64) for part in (colony.house.sum(axis=0)[0], _flown(colony)[0])
    ]
    rows += [
        np.asarray(part[0], np.float64)
        for part in (
            traits.laying,
            traits.forager_death,
            traits.onset_age,
            traits.house_death,
            traits.brood_loss,
        )
    ]
    floor = np.array([1.0] * 6 + [1e-6] * 4)[:, None]
    return np.asarray(np.log(np.maximum(np.array(rows), floor)))


def _flown(colony: Colony) -> Cohorts:
    """Old bees: foragers and winter bees; apart, a few winter bees would swing the filter."""
    return np.asarray(colony.foragers.sum(axis=0) + colony.winter)


def _put_back(colony: Colony, moved: Floats) -> tuple[Colony, Traits]:
    """Scale cohorts to the moved sums; a class below one cell stays as it is."""
    brood = colony.brood.copy()
    for place, (young, old) in enumerate(WORKER.windows):
        brood[young:old] *= scale_to(colony.brood_class(place), moved[place])
    house = colony.house * scale_to(colony.house.sum(axis=0), moved[3])
    flown = scale_to(_flown(colony), moved[4])
    foragers, winter = colony.foragers * flown, colony.winter * flown
    laying = np.where(moved[5] <= 0, 0.0, np.minimum(np.exp(moved[5]), LAYING_MAX))
    priors = (FORAGER_DEATH, ONSET_AGE, HOUSE_DEATH, BROOD_LOSS)
    values = [
        np.clip(np.exp(row), prior.low, prior.high)
        for row, prior in zip(moved[6:], priors, strict=True)
    ]
    traits = Traits(*(np.asarray(row[None], np.float32) for row in (laying, *values)))
    parts = [np.asarray(part, np.float32) for part in (brood, house, foragers, winter)]
    return Colony(*parts), traits


def scale_to(sums: Cohorts, log_wanted: Floats) -> Cohorts:
    """Give by what cohorts are scaled to meet a sum; below one bee or cell they stay."""
    return np.asarray(np.where(sums < 1.0, 1.0, np.exp(log_wanted) / np.maximum(sums, 1.0)))
