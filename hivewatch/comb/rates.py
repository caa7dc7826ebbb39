"""A day's rates from the biology, and the step of one day over hives and members."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hivewatch.comb.colony import (
    FORAGER_DAYS,
    HOUSE_DAYS,
    Cohorts,
    Colony,
    Ledger,
    Rates,
    join_hives,
    move_on,
    take_hives,
)
from hivewatch.comb.priors import DRIFTING, ONSET_AGE, Traits, bounded, drift
from hivewatch.comb.stages import WORKER

CHUNK_HIVES = 4
"""Hives moved on at once; the numbers do not depend on it. Own choice: a day takes 123 us alone, 70
us a hive by fours, and 220 by thirty-two, whose arrays the processor's cache does not hold."""

# Part of winter bees that die in a day: 0.004, Martin 2001 in Becher et al. 2014.
WINTER_DEATH = 0.004

# Part of foragers that die in a day without flight: 0.01, the adult base of Schmickl & Crailsheim
# 2007 (Ecol. Modelling 204:219-245, p. 230).
HOME_DEATH = 0.01

# Part of those who have foraged for `FORAGER_DAYS` and longer that die in a day besides: worn out
# after 10 to 21 days of flying weather (common practice, no source), and gone before winter, whose
# days without flight would keep them for months. Own choice: half of them within two weeks.
OLD_DEATH = 0.05

# In spring, when laying rises, winter bees take up foraging as it gets warm enough to fly, and in
# the north are gone by mid-May: worn out within some two weeks of flying weather. Own choice; they
# live up to six months (common practice, no source).
WINTER_RECRUIT = 1 / 12

# A winter bee that rears brood in spring ages as a summer bee does: with the usual open brood for
# each bee she lives 36 days (21 in the house, 15 in the field: common practice, no source). Not in
# autumn: bees that have nursed then are no winter bees (see `AUTUMN_LOAD`). Own choice.
WINTER_NURSE_DEATH = 1 / 36

AUTUMN_LOAD = 0.6
"""Open brood for each house bee, as a part of the usual, with which the season alone says how many
of the bees emerging become winter bees: with half of it the odds are four times as high, at the
most `AUTUMN_ODDS` times. That bees live long who have no brood to feed is published (Maurizio 1950,
Fluri et al. 1982, Amdam & Omholt 2002; from memory); the numbers are own choices. So a colony whose
queen ends early has its winter bees early."""

AUTUMN_ODDS = 8.0

SPRING_GROWTH = 0.005  # [1/d] growth of laying by season from which it is spring; own choice

# Steepest part of house bees that go out in a day once past the onset age, and the width of the
# step; it is centred so early that half of the bees have begun at the onset age. Own choices.
RECRUIT_STEEPEST = 0.35
RECRUIT_WIDTH_DAYS = 1.5
RECRUIT_EARLIER_DAYS = 2.0

# A flow of 2 kg a day brings the onset forward by 4 days, twice the usual open brood for each
# house bee holds it back by 2. Own choices; the signs are those of the drivers in Becher et al.
# 2014.
FLOW_PULL_DAYS = 4.0
FLOW_PULL_KG = 2.0
NURSING_HOLD_DAYS = 2.0
USUAL_OPEN_A_HOUSE_BEE = 6 / 21  # steady laying: six days of larvae, 21 of house bees

FORAGER_SHARE = 0.3
SHARE_HOLD_DAYS = 60.0
SHARE_MOST_DAYS = 6.0
"""Foragers hold house bees back: where they are a twentieth more than `FORAGER_SHARE` of house bees
and foragers the onset is three days later, where less earlier, by `SHARE_MOST_DAYS` at the most.
Published: Khoury et al. 2011 (social inhibition), whose rate of first foraging, 0.25 less 0.75 of
the foragers' share, gives 21 days at 0.27 and lets nobody forage beyond a third. Own choice: so
much gentler, as colonies of a summer's end have more."""

_YOUTH = np.exp(-np.arange(HOUSE_DAYS, dtype=np.float32) / RECRUIT_WIDTH_DAYS)[:, None, None]
_STAGE_DAYS = [old - young for young, old in WORKER.windows]
_HAZARD = np.array([WORKER.egg_loss, WORKER.open_loss, WORKER.capped_loss], np.float32)[
    :, None, None
]


@dataclass(frozen=True)
class Day:
    """What is known of a day, broadcasting to (hives, members).

    Parameters
    ----------
    flying : Cohorts
        Part of a full flying day; more than 1 where foragers work harder than usual.
    flow_kg : Cohorts
        Income of nectar. [kg/d]
    winter_share : Cohorts
        Part of the bees emerging today that become winter bees.
    season_growth : Cohorts
        By how much the season changes laying from yesterday, as a factor.
    """

    flying: Cohorts
    flow_kg: Cohorts
    winter_share: Cohorts
    season_growth: Cohorts


def rates_of(colony: Colony, traits: Traits, day: Day) -> Rates:
    """Set the day's fractions from traits, weather and the colony itself."""
    house = colony.house.sum(axis=0)
    usual = USUAL_OPEN_A_HOUSE_BEE * np.maximum(house + colony.winter, 1.0)
    load = colony.brood_class(1) / usual
    pull = FLOW_PULL_DAYS * bounded(day.flow_kg / FLOW_PULL_KG, 0.0, 1.0)
    hold = NURSING_HOLD_DAYS * bounded(load - 1.0, -1.0, 1.0)
    hold = hold + _held_back(colony.foragers.sum(axis=0), house)
    onset = bounded(traits.onset_age + hold - pull, ONSET_AGE.low, ONSET_AGE.high)
    late = np.exp((onset.astype(np.float32) - RECRUIT_EARLIER_DAYS) / RECRUIT_WIDTH_DAYS)
    flying = np.asarray(day.flying, np.float32)
    spring = bounded((day.season_growth - 1.0) / SPRING_GROWTH, 0.0, 1.0)
    return Rates(
        brood_loss=np.repeat(-np.expm1(-_HAZARD * traits.brood_loss), _STAGE_DAYS, axis=0),
        house_death=traits.house_death,
        forager_death=_forager_death(traits.forager_death, flying),
        winter_death=WINTER_DEATH + WINTER_NURSE_DEATH * spring * bounded(load, 0.0, 1.0),
        recruit=np.float32(RECRUIT_STEEPEST) / (1.0 + late * _YOUTH),  # a logistic step of age
        revert=np.zeros((1, 1), np.float32),
        winter_recruit=WINTER_RECRUIT * flying * spring,
        winter_share=_winter_share(day.winter_share, load),
    )


def _held_back(foragers: Cohorts, house: Cohorts) -> Cohorts:
    """Say by how many days the foragers there are put the onset off."""
    share = foragers / np.maximum(foragers + house, 1.0)
    off = SHARE_HOLD_DAYS * (share - FORAGER_SHARE)
    return np.asarray(bounded(off, -SHARE_MOST_DAYS, SHARE_MOST_DAYS))


def _forager_death(on_full_day: Cohorts, flying: Cohorts) -> Cohorts:
    """Give the part of foragers that die, by days of foraging."""
    log_kept = np.log1p(-on_full_day) * flying
    log_kept += np.log1p(-HOME_DEATH) * np.maximum(1.0 - flying, 0.0)
    kept = np.exp(log_kept).astype(np.float32)
    death = np.repeat(1.0 - kept[None], FORAGER_DAYS, axis=0)
    death[-1] = 1.0 - kept * (1.0 - OLD_DEATH)
    return np.asarray(death)


def _winter_share(by_season: Cohorts, load: Cohorts) -> Cohorts:
    """Say what part of the bees emerging become winter bees: by season, and what there is to feed.

    None where the season has none, all where it has all.
    """
    less = AUTUMN_LOAD / np.maximum(load, AUTUMN_LOAD / AUTUMN_ODDS)
    odds = bounded(less**2, 1.0 / AUTUMN_ODDS, AUTUMN_ODDS)
    return np.asarray(by_season * odds / (1.0 - by_season + by_season * odds))


def advance_one_day(
    colony: Colony, traits: Traits, day: Day, noise: Cohorts | None = None
) -> tuple[Colony, Traits, Ledger]:
    """Move hives on by one day; without noise nothing drifts and the step is exact.

    Parameters
    ----------
    colony : Colony
        At the end of yesterday.
    traits : Traits
        What each member supposes.
    day : Day
        Weather, flow and season.
    noise : Cohorts or None
        From `draw_noise`.

    Returns
    -------
    tuple[Colony, Traits, Ledger]
        At the end of today.
    """
    hives = colony.winter.shape[0]
    if noise is not None:
        traits = drift(traits, day.season_growth, noise)
    if hives <= CHUNK_HIVES:
        after, ledger = move_on(colony, traits.laying, rates_of(colony, traits, day))
        return after, traits, ledger
    colonies, ledgers = [], []
    for first in range(0, hives, CHUNK_HIVES):
        part = slice(first, first + CHUNK_HIVES)
        some = take_hives(colony, part)
        mine = Traits(*(getattr(traits, name)[part] for name in DRIFTING))
        here = Day(*(_part(value, part) for value in vars(day).values()))
        after, ledger = move_on(some, mine.laying, rates_of(some, mine, here))
        colonies.append(after)
        ledgers.append(ledger)
    whole = Ledger(*(np.concatenate(rows) for rows in zip(*map(_rows, ledgers), strict=True)))
    return join_hives(colonies), traits, whole


def _part(value: Cohorts, part: slice) -> Cohorts:
    return value if value.shape[0] == 1 else value[part]


def _rows(ledger: Ledger) -> tuple[Cohorts, ...]:
    return (ledger.laid, ledger.brood_lost, ledger.emerged, ledger.died, ledger.recruited)
