"""What came over a colony: split, united, requeened, its queen caged; a swarm or foragers gone."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from hivewatch.comb.calendar import EGGS_AFTER, SWARM_EMERGES
from hivewatch.comb.colony import Colony
from hivewatch.comb.priors import Traits
from hivewatch.comb.stages import Floats
from hivewatch.comb.start import LAYING_MAX

SPLIT_TAKES = (0.25, 0.55)
"""Part of brood and of the bees on it that a split takes away: from a nucleus of three combs of ten
to half the colony (common practice, no source). Foragers fly home to the old stand; the old queen
is taken to stay there, until a visit finds no eggs. Own choice."""

UNITED_ADDS = (0.2, 1.0)
"""Bees and brood that come to a hive, as a part of its own: the weaker is joined to the stronger
(common practice, no source)."""

NEW_LAYS_DAYS = (3.0, 10.0)  # after she was brought in; common practice, no source

CAGED_DAYS = (21.0, 25.0)
"""For how long a queen is caged: until no brood is left (common practice, no source). She lays
from the day after."""


MOST_LEAVE = 0.85  # own choice, above the mean part of 0.75 of Rangel & Seeley 2012

SLIMS = ((0, 3, 0.0, 0.4), (3, 7, 0.5, 1.0))
"""Ages in days of brood on the day a swarm leaves, and what part of it the queen still laid: she
stops some three days before (Schmickl & Crailsheim 2007, from Winston 1987 p. 187) and slows down
in the days before that (common practice, no source)."""

NEW_QUEEN_LAYS = (0.8, 0.25)  # of the old one's best; log spread. Own choice


@dataclass(frozen=True)
class Change:
    """A colony, what its members suppose, and when laying goes on: as in `course.Course`."""

    colony: Colony
    traits: Traits
    again: Floats
    again_laying: Floats


def change(
    what: str, before: Change, day: int, level: Floats, generator: np.random.Generator
) -> Change:
    """Give the colony after something was done to it; what is not known here changes nothing.

    Parameters
    ----------
    what : str
        One of `start.CHANGES`.
    before : Change
        One hive.
    day : int
        Ordinal of the day.
    level : Floats
        Eggs a day that queen, bees and season let expect, shape (members,).
    generator : np.random.Generator
        For the draws.
    """
    drawn = generator.uniform(size=level.size)
    if what == "split":
        return replace(before, colony=_split(before.colony, _between(SPLIT_TAKES, drawn)))
    if what == "united":
        return replace(before, colony=_united(before.colony, _between(UNITED_ADDS, drawn)))
    spans = {"requeened": NEW_LAYS_DAYS, "queen caged": CAGED_DAYS}
    if what not in spans:
        return before
    laying = before.traits.laying
    lays_then = np.where(laying[0] >= 1.0, laying[0], level) if what == "queen caged" else level
    return Change(
        before.colony,
        replace(before.traits, laying=np.zeros_like(laying)),
        day + np.ceil(_between(spans[what], drawn)),
        np.maximum(lays_then, 1.0),
    )


def _between(span: tuple[float, float], drawn: Floats) -> Floats:
    return span[0] + (span[1] - span[0]) * drawn


def _split(colony: Colony, taken: Floats) -> Colony:
    stay = (1.0 - taken).astype(np.float32)
    return replace(
        colony, brood=colony.brood * stay, house=colony.house * stay, winter=colony.winter * stay
    )


def _united(colony: Colony, added: Floats) -> Colony:
    more = (1.0 + added).astype(np.float32)
    return Colony(
        colony.brood * more, colony.house * more, colony.foragers * more, colony.winter * more
    )


def swarmed(
    before: Change, day: int, bees: float, error: float, generator: np.random.Generator
) -> Change:
    """Let a swarm leave with the queen; brood stays, and a new queen lays after her time.

    Bees leave of all ages alike. An after-swarm, while no queen lays, takes a virgin queen with it:
    the one that stays has emerged already.
    """
    colony, traits = before.colony, before.traits
    members = before.again.size
    draws = generator.standard_normal((2, members))
    shares = generator.uniform(size=(4, members))
    left = bees * np.exp(error * draws[0])
    stay = 1.0 - np.minimum(left / np.maximum(colony.adults[0], 1.0), MOST_LEAVE)
    parts = [
        (part * stay).astype(np.float32) for part in (colony.house, colony.foragers, colony.winter)
    ]
    laid = traits.laying[0] >= 1.0
    best = np.quantile(colony.brood[:, 0], 0.9, axis=0)
    brood = colony.brood.copy()
    for place, (young, old, low, high) in enumerate(SLIMS):
        slims = np.where(laid, low + (high - low) * shares[place], 1.0)
        brood[young:old, 0] *= slims.astype(np.float32)
    first, last = SWARM_EMERGES
    wait = np.where(laid, first + (last - first) * shares[2], 0.0)
    wait += EGGS_AFTER[0] + (EGGS_AFTER[1] - EGGS_AFTER[0]) * shares[3]
    level = np.minimum(best * NEW_QUEEN_LAYS[0] * np.exp(NEW_QUEEN_LAYS[1] * draws[1]), LAYING_MAX)
    return Change(
        Colony(brood, *parts),
        replace(traits, laying=np.zeros_like(traits.laying)),
        day + np.ceil(wait),
        np.where(laid, level, np.maximum(before.again_laying, 1.0)),
    )


def lost(colony: Colony, bees: float) -> Colony:
    """Take foragers away; half of a member's foragers at the most."""
    flown = np.maximum(colony.foragers.sum(axis=0), 1.0)
    stay = 1.0 - np.minimum(bees / flown, 0.5)
    return replace(colony, foragers=(colony.foragers * stay).astype(np.float32))
