"""Bring a later visit into the ensemble: members move towards what was counted."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from hivewatch.comb.colony import Cohorts, Colony
from hivewatch.comb.count import COUNTING_ERROR
from hivewatch.comb.priors import BROOD_LOSS, FORAGER_DEATH, HOUSE_DEATH, ONSET_AGE, Traits
from hivewatch.comb.stages import WORKER, Floats
from hivewatch.comb.start import LAYING_MAX, Visit

SURPRISE_Z = 3.5
"""Count minus expectation, in its own spread, beyond which something happened that the model does
not know (a swarm left, combs were taken, hives were united) and the colony starts afresh from the
visit. Own choice: one honest count in two thousand."""

INFLATION = 1.05  # of the spread at each visit, for what the model leaves out. Own choice


@dataclass(frozen=True)
class Seen:
    """The counts of one visit on the log scale, with the members' own and the spread of each."""

    log_seen: Floats
    log_members: Floats
    spread: Floats


def compare(colony: Colony, visit: Visit) -> Seen | None:
    """Put counts beside the members'; None when a class is empty in one and not in the other."""
    logs, members, spreads = [], [], []
    cells = visit.count.cells if visit.reading is not None and visit.count else (None, None, None)
    error = visit.count.error if visit.count else COUNTING_ERROR
    for place, counted in enumerate(cells):
        if counted is None:
            continue
        mine = np.asarray(colony.brood_class(place)[0], np.float64)
        empty = bool(np.median(mine) < 1.0)
        if (counted == 0) != empty:
            return None
        if counted:
            logs.append(math.log(counted))
            members.append(np.log(np.maximum(mine, 1.0)))
            spreads.append(math.sqrt(error**2 + 1.0 / counted))
    if visit.adults:
        logs.append(math.log(visit.adults))
        members.append(np.log(np.maximum(np.asarray(colony.adults[0], np.float64), 1.0)))
        spreads.append(math.sqrt(error**2 + 1.0 / visit.adults))
    return Seen(np.array(logs), np.array(members), np.array(spreads))


def is_surprise(seen: Seen) -> bool:
    """Say whether a count is out of all expectation."""
    if not seen.log_seen.size:
        return False
    middle = np.median(seen.log_members, axis=1)
    spread = np.sqrt(seen.spread**2 + seen.log_members.var(axis=1))
    return bool(np.any(np.abs(seen.log_seen - middle) > SURPRISE_Z * spread))


def assimilate(
    colony: Colony, traits: Traits, seen: Seen, generator: np.random.Generator
) -> tuple[Colony, Traits]:
    """Move the members towards the counts: an ensemble Kalman filter on the log scale.

    The state is the log of each brood class, of house bees, of foragers and winter bees together,
    of laying and of the four traits; each member is compared with its own draw of what might have
    been counted. Cohorts are then scaled, so that nothing turns negative and ages stay as they
    were.

    Parameters
    ----------
    colony, traits : Colony, Traits
        One hive.
    seen : Seen
        From `compare`.
    generator : np.random.Generator
        For the draws.

    Returns
    -------
    tuple[Colony, Traits]
        Moved.

    References
    ----------
    G. Burgers, P. J. van Leeuwen, G. Evensen, Monthly Weather Review 126, 1719 (1998): perturbed
    observations.
    """
    if not seen.log_seen.size:
        return colony, traits
    state = _log_state(colony, traits)
    mean = state.mean(axis=1, keepdims=True)
    state = mean + INFLATION * (state - mean)
    there = seen.log_members - seen.log_members.mean(axis=1, keepdims=True)
    there *= INFLATION
    members = state.shape[1]
    cross = (state - mean) @ there.T / (members - 1)
    own = there @ there.T / (members - 1) + np.diag(seen.spread**2)
    draws = seen.spread[:, None] * generator.standard_normal(seen.log_members.shape)
    draws -= draws.mean(axis=1, keepdims=True)
    predicted = seen.log_members.mean(axis=1, keepdims=True) + there
    gap = seen.log_seen[:, None] + draws - predicted
    moved = state + cross @ np.linalg.solve(own, gap)
    return _put_back(colony, moved)


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
        brood[young:old] *= _scale(colony.brood_class(place), moved[place])
    house = colony.house * _scale(colony.house.sum(axis=0), moved[3])
    flown = _scale(_flown(colony), moved[4])
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


def _scale(sums: Cohorts, log_wanted: Floats) -> Cohorts:
    return np.asarray(np.where(sums < 1.0, 1.0, np.exp(log_wanted) / np.maximum(sums, 1.0)))
