"""What is not known of a colony: published priors, and how each wanders from day to day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from hivewatch.comb.colony import Cohorts


@dataclass(frozen=True)
class Prior:
    """A log-normal prior: its median, its spread on the log scale, and its daily drift there."""

    median: float
    spread: float
    drift: float
    low: float
    high: float


# Part of foragers that die on a full flying day of twelve hours. Common practice (no source) gives
# them 10 to 21 days of flying weather, 15.5 in the middle, and such a day is some nine tenths of a
# full one. Published rates are higher: 0.154 a day in the model of Khoury et al. 2013, 0.25 from
# 0.036 an hour (Visscher & Dukas 1997), 0.36 (Prado et al. 2020); with the last two no colony
# reaches the 50,000 to 70,000 bees that beekeepers know, and with a median above 1/13.8 a good
# queen's does not. The spread, own choice, reaches 0.154 in one colony of thirty.
FORAGER_DEATH = Prior(1 / 14, 0.42, 0.06, 0.02, 0.5)

# Age at first foraging. Median 21 d, limits 7 to 50 d: Robinson 1992 and Winston 1987, quoted by
# Becher et al. 2014. Spread: own choice, five days either way between colonies, so that their
# counts can say how long their bees live.
ONSET_AGE = Prior(21.0, 0.22, 0.02, 7.0, 50.0)

# Part of house bees that die in a day: 0.004 (Martin 2001, healthy winter, quoted by Becher et al.
# 2014); the spread reaches the 0.01 of Schmickl & Crailsheim 2007 (adult base).
HOUSE_DEATH = Prior(0.004, 0.5, 0.02, 0.001, 0.05)

# Multiple of the published brood losses (see stages.py). 1 is the published mean, on which two
# sources agree (0.851 of the eggs become bees in Fukuda & Sakagami 1968, 0.849 by the mortalities
# of Schmickl & Crailsheim 2007). The spread, own choice, reaches a good patch, which loses less
# than half of that, in one colony of twenty-five.
BROOD_LOSS = Prior(1.0, 0.4, 0.02, 0.05, 3.0)

LAYING_DRIFT = 0.08
"""Daily drift of laying on the log scale. Own choice; tests/property/test_comb_outlook.py."""

DRIFTING = ("laying", "forager_death", "onset_age", "house_death", "brood_loss")


def bounded(values: Cohorts, low: float, high: float) -> Cohorts:
    """Hold values between two bounds as np.clip does, without its cost for short arrays."""
    return np.asarray(np.minimum(np.maximum(values, low), high))


@dataclass(frozen=True)
class Traits:
    """What each member supposes of its hive, shape (hives, members) each."""

    laying: Cohorts
    forager_death: Cohorts
    onset_age: Cohorts
    house_death: Cohorts
    brood_loss: Cohorts


def join_traits(traits: Sequence[Traits]) -> Traits:
    """Put hives side by side."""
    return Traits(*(np.concatenate([getattr(one, name) for one in traits]) for name in DRIFTING))


def take_traits(traits: Traits, hives: slice) -> Traits:
    """Give some of the hives, as views."""
    return Traits(*(getattr(traits, name)[hives] for name in DRIFTING))


_STREAMS = (
    "drift",
    "start",
    "visit",
    "laying again",
    "own",
    "flights",
    "swarm",
    "dawn",
    "requeen",
    "done",
    "told",
    "nest",
)


def stream(seed: int, day: date, purpose: str) -> np.random.Generator:
    """Give the random numbers of a hive's day, independent for each purpose.

    They depend on the hive's seed and the day alone, so that a restart, another order or other
    hives beside it change nothing.
    """
    key = np.array([seed, (_STREAMS.index(purpose) << 32) + day.toordinal()], np.uint64)
    return np.random.Generator(np.random.Philox(key=key))


def draw_noise(seeds: Sequence[int], day: date, members: int) -> Cohorts:
    """Draw the day's standard normal noise, shape (5, hives, members)."""
    noise = np.empty((len(DRIFTING), len(seeds), members), np.float32)
    for place, seed in enumerate(seeds):
        drawn = stream(seed, day, "drift").standard_normal(
            (len(DRIFTING), members), dtype=np.float32
        )
        noise[:, place] = drawn
    return noise


def draw_traits(laying: Cohorts, noise: Cohorts) -> Traits:
    """Draw what members suppose, from the priors; the first row of `noise` is not used."""
    priors = (FORAGER_DEATH, ONSET_AGE, HOUSE_DEATH, BROOD_LOSS)
    drawn = [
        bounded(prior.median * np.exp(prior.spread * z), prior.low, prior.high)
        for prior, z in zip(priors, noise[1:], strict=True)
    ]
    return Traits(laying, *drawn)


def drift(traits: Traits, season_growth: Cohorts, noise: Cohorts) -> Traits:
    """Let what members suppose wander by a day; the season moves laying by a factor."""
    wandered = []
    for name, prior, z in zip(
        DRIFTING[1:], (FORAGER_DEATH, ONSET_AGE, HOUSE_DEATH, BROOD_LOSS), noise[1:], strict=True
    ):
        # pulled back so that the spread stays the prior's
        keep = np.float32(np.sqrt(1 - (prior.drift / prior.spread) ** 2))
        log = np.log(getattr(traits, name) / prior.median) * keep + prior.drift * z
        wandered.append(bounded(prior.median * np.exp(log), prior.low, prior.high))
    laying = traits.laying * season_growth * np.exp(LAYING_DRIFT * noise[0])
    return Traits(laying, *wandered)
