"""What a queen lays, by her worth, the bees and the season; and when a young one begins."""

from __future__ import annotations

import math
from datetime import date

import numpy as np

from hivewatch.comb.calendar import EGGS_AFTER, EMERGENCY_EGGS_DAYS
from hivewatch.comb.count import COUNTING_ERROR
from hivewatch.comb.priors import bounded
from hivewatch.comb.stages import WORKER, Floats
from hivewatch.comb.start import LAYING_MAX
from hivewatch.signals.season import LEVEL_PART, is_falling, levels_by_season

WORTH = (math.log(2000.0), 0.3)
"""Log of what a queen lays at the height of the season among bees without number, and its spread
between queens. Published: 2,000 a day (Khoury et al. 2011); at their best 1,600 (Becher et al.
2014) to 2,047 (McLellan et al. 1978). The spread is own choice: an old queen lays two thirds
(DeGrandi-Hoffman et al. 1989)."""

BEES_FOR_HALF = 10_000.0
"""Bees with which a queen lays half of what she could. Published: 27,000 adults (Khoury et al.
2011), or 5,000 house bees (Khoury et al. 2013), some 8,000 adults. Own choice between them."""

BACK_DAYS = 21.0
"""In which laying comes back to what queen, bees and season let expect. Own choice: a brood cycle,
in which combs that were blocked are emptied and empty ones are filled."""

ABOUT = 0.4
"""How far laying may be from what is expected at a first visit, log scale. Own choice: half as much
again as it wanders by itself (`LAYING_DRIFT` over `BACK_DAYS`), as nothing is known yet of blocked
combs, of a queen about to swarm, or of one new to laying."""

REQUEENS = (0.75, 0.25)
"""Part of colonies found without eggs in the season in which laying goes on: where only eggs were
missing, and where all brood was. Own choice: most have a queen or raise one (common practice, no
source), and of those that have been long without brood some have failed already."""

PAUSES = 0.5
"""Part of these whose queen is there already, paused or young, and may lay any day. Own choice: a
visit cannot tell her from one that was lost."""

STOPPED_PART = 0.2  # of what is expected: laying below it is as good as stopped. Own choice

FALL = (math.log(0.7), 0.3)
"""Log of the power of the curve of laying by season with which it falls after midsummer, and its
spread. Published curves differ there: 106 days after its peak that of McLellan et al. 1978 is at
16 %, that of Schmickl & Crailsheim 2007 at 4 % (both as restated by later models); the power 0.57
makes the first of the second. The spread reaches both, and somewhat further. Both rise alike or
faster."""

Season = tuple[Floats | float, Floats | float]
"""By how many days it runs late, and the power with which laying falls."""

USUAL_SEASON: Season = (0.0, math.exp(FALL[0]))


def expected_laying(
    worth: Floats, adults: Floats, day: date, latitude: float, season: Season = USUAL_SEASON
) -> Floats:
    """Give the log of what queen, bees and season let expect, shape (members,).

    That laying rises with the bees there are, and levels off, is the form of Khoury et al. 2011.

    Parameters
    ----------
    worth : Floats
        As `WORTH`, of each member.
    adults : Floats
        Bees.
    day, latitude, season
        For the season, and what each member supposes of it.
    """
    bees = np.maximum(np.asarray(adults, np.float64), 1.0)
    later_d, fall = season
    part = np.where(is_falling(day, latitude, later_d), fall, LEVEL_PART)
    level = part * np.log(levels_by_season(day, latitude, later_d))
    return np.asarray(worth + np.log(bees / (bees + BEES_FOR_HALF)) + level)


def worth_by_laying(
    drawn: Floats,
    laying: Floats,
    adults: Floats,
    day: date,
    latitude: float,
    season: Season = USUAL_SEASON,
) -> Floats:
    """Let what was counted say what the queen is worth: two normal opinions, joined by precision.

    Parameters
    ----------
    drawn : Floats
        From the prior.
    laying : Floats
        Eggs a day now; where there are none, the prior stands.
    """
    middle, spread = WORTH
    part = spread**2 / (spread**2 + ABOUT**2 + COUNTING_ERROR**2)
    usual = expected_laying(np.full_like(drawn, middle), adults, day, latitude, season)
    gap = np.log(np.maximum(laying, 1.0)) - usual
    known = middle + part * gap + math.sqrt(1.0 - part) * (drawn - middle)
    return np.where(laying >= 1.0, known, drawn)


def come_back(laying: Floats, expected: Floats) -> Floats:
    """Move laying a day's part towards what is expected; a queen that does not lay stays so."""
    log = np.log(np.maximum(np.asarray(laying, np.float64), 1.0))
    moved = laying * np.exp(bounded(expected - log, -2.0, 2.0) / BACK_DAYS)
    return np.where(laying >= 1.0, np.minimum(moved, LAYING_MAX), laying)


def wait_for_eggs(empty_days: int, generator: np.random.Generator, members: int) -> Floats:
    """Draw in how many days laying goes on, after so many without eggs; infinite for never.

    Either a queen raised from the last eggs takes her time (`calendar.EMERGENCY_EGGS_DAYS`), or one
    is there already.
    """
    draws = generator.uniform(size=(3, members))
    first = EMERGENCY_EGGS_DAYS[0]
    raised = first + EGGS_AFTER[1] * draws[0] - empty_days
    there = first * draws[0]
    wait = np.ceil(np.maximum(1.0, np.where(draws[2] < PAUSES, there, raised)))
    soon, late = REQUEENS
    gone = (empty_days - WORKER.hatch_day) / (WORKER.emerge_day - WORKER.hatch_day)
    chance = soon + (late - soon) * min(1.0, max(0.0, gone))
    return np.where(draws[1] < chance, wait, np.inf)
