"""What a hive weighs besides its honey, day by day: the empty hive, bees, brood and pollen.

Bees and brood are counted at visits, roughly, and become more or fewer in between. So the course of
an ordinary colony through the year is taken, and what visits counted moves it: the latest most.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import repeat
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hivewatch.frames import FRAMES
from hivewatch.inspections import Inspection, adult_count, brood_counts
from hivewatch.inspections import stores_kg as judged_kg
from hivewatch.signals.days import DAY_S, Days
from hivewatch.signals.departures import departures_of
from hivewatch.signals.window import Floats, HiveWindow, Ints

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/signals/test_tare.py, test_stores.py.
BEE_KG = 0.000111  # [kg] published: 9,000 bees a kilogram, Martin (1998), via Becher et al. (2014)
YOUNG_KG, CAPPED_KG = 0.00005, 0.00013  # [kg] from memory: a larva grows to 0.16 g, a bee has 0.11
YOUNG_SHARE = 9 / 21  # of brood that nobody told apart: common practice, no source, 9 days of 21
POLLEN_KG = 1.0  # [kg] two combs; half of it in winter
DAMP_KG = 0.5  # [kg] what wood and dead bees take up over a winter
BEES = 11_000.0, 22_000.0  # [bees] of an ordinary colony, in winter and at its height
BROOD_CELLS = 15_000.0  # [cells] of it, at its height
BEES_DAYS = 60, 150, 200, 290  # [d] of the northern year: it grows from, to; shrinks from, to
BROOD_DAYS = 40, 140, 170, 270  # [d] the same of its brood
GROWN_D, BROOD_GROWN_D, BROOD_AHEAD_D = 60.0, 45.0, 15.0  # [d] of growth after the cold, at least
WINTER_D = 21  # [d] own choice: so long without flight is winter
TROPIC, TROPIC_SHARE = 15.0, 0.6  # [deg] nearer to the equator it is always as great, in between
LEAST_BEES, LEAST_CELLS = 1000.0, 500.0  # own choice: fewer are none, when held against the usual
COUNT_D, COUNT_SHARE = 20.0, 0.9  # [d], share: how long a count is worth something, and how much
HOME_SHARE = 0.92  # own choice: of the bees; a third of the foragers is out while one counts
REST_KG = 0.7  # [kg] error of all that, where it was counted
JUDGED_KG, JUDGED_SHARE = 0.4, 0.2  # [kg], share: error of judging honey by eye
FAR_OFF_KG = 5.0  # [kg] own choice: so much more than there can be is no hive on its scale
AGE_KG = 0.04  # [kg/d] bees and brood become more or fewer after a visit
SEEN_LONG_DAYS = 150  # [d] a winter
SWARM_KG, SWARM_NEAR_S = 4.5, 3600  # [kg], [s] common practice, no source: no swarm weighs more
BEES_SHARE = 0.74  # published: of a swarm; 0.1 g a bee, 36 mg honey with it (Winston, via Becher)
HATCHED_D = 30.0  # [d] about a brood cycle
HALF_YEAR_D, YEAR_D = 183, 365


class Colony(NamedTuple):
    """Bees and cells of brood of n days, as far as anybody knows; shape (n,)."""

    bees: Floats
    young: Floats  # eggs and open brood
    capped: Floats

    def kg(self) -> Floats:
        """Give what they weigh [kg]."""
        return np.asarray(BEE_KG * self.bees + YOUNG_KG * self.young + CAPPED_KG * self.capped)


def colony_of(window: HiveWindow, days: Days, is_cold: Flags, seen: Sequence[Inspection]) -> Colony:
    """Give the colony of each day: an ordinary one's course, moved by what visits counted.

    Parameters
    ----------
    is_cold : Flags
        Days of a time without flight.
    seen : Sequence[Inspection]
        Visits by time; each counts from its own day on.

    Returns
    -------
    Colony
        Before a swarm: the bees that left with one are counted as there (`swarmed_kg`).
    """
    grown, breeds = _season(window, days, is_cold)
    cells = BROOD_CELLS * breeds
    usual = BEES[0] + (BEES[1] - BEES[0]) * grown, YOUNG_SHARE * cells, (1 - YOUNG_SHARE) * cells
    frame = FRAMES.get(window.hive.frame or "")
    counts: list[list[tuple[int, float]]] = [[], [], []]
    for one in seen:
        if frame is None:
            break
        adults, brood = adult_count(one, frame), brood_counts(one, frame)
        if adults is not None:
            left_kg = float(swarmed_kg(window, days, np.array([one.at_s]))[0])
            counts[0].append((one.at_s, adults / HOME_SHARE + left_kg / BEE_KG))
        if brood.open is not None:
            counts[1].append((one.at_s, float(brood.open + (brood.eggs or 0))))
        if brood.capped is not None:
            counts[2].append((one.at_s, float(brood.capped)))
    least = LEAST_BEES, LEAST_CELLS, LEAST_CELLS
    return Colony(*map(_moved, repeat(days), usual, counts, least))


def _moved(days: Days, course: Floats, told: Sequence[tuple[int, float]], least: float) -> Floats:
    """Move a course by what was counted at some moments; each counts less as it grows old.

    What a colony has beyond the usual in spring it keeps; in autumn it goes the way of the rest:
    twice as much in August is twice as much in September, and nothing in November.
    """
    off, weight = np.zeros(len(days)), np.zeros(len(days))
    for at_s, count in told:
        first = int(np.searchsorted(days.dawn_s, at_s, side="right"))
        if first < len(days):
            then = course[max(first - 1, 0)]
            each = np.exp((at_s - days.dawn_s[first:]) / (COUNT_D * DAY_S))
            left = np.minimum((course[first:] + least) / (then + least), 1.0)
            off[first:] += each * left * (count - then)
            weight[first:] += each
    return np.maximum(course + off / (weight + 1 / COUNT_SHARE - 1), 0.0)


def _season(window: HiveWindow, days: Days, is_cold: Flags) -> tuple[Floats, Floats]:
    """Give how far bees, and brood, are between winter and their height, by day."""
    latitude = window.yard.latitude
    shift = HALF_YEAR_D if latitude < 0 else 0
    number = np.array([(one.timetuple().tm_yday - 1 + shift) % YEAR_D + 1 for one in days.day])
    height = 0.0, 1.0, 1.0, 0.0
    grown, breeds = (np.interp(number, marks, height) for marks in (BEES_DAYS, BROOD_DAYS))
    if abs(latitude) < TROPIC:
        grown, breeds = (np.full(len(days), TROPIC_SHARE) for _ in range(2))
    is_winter = _is_long(is_cold)
    mild_d = np.cumsum(~is_cold, dtype=np.float64)
    since_d = mild_d - np.maximum.accumulate(np.where(is_winter, mild_d, -np.inf))
    warmed = np.minimum(grown, since_d / GROWN_D)
    bred = np.minimum(breeds, (since_d + BROOD_AHEAD_D) / BROOD_GROWN_D)
    return np.where(is_winter, 0.0, warmed), bred


def _is_long(is_cold: Flags) -> Flags:
    """Say on which days it has been cold for long: bees keep their brood through a cold week."""
    day = np.arange(len(is_cold))
    mild = np.maximum.accumulate(np.where(is_cold, -1, day))
    return is_cold & (day - mild >= WINTER_D)


def rest_of(
    window: HiveWindow,
    days: Days,
    colony: Colony,
    is_cold: Flags,
    net_kg: Floats,
    moved_kg: Floats,
    seen: Sequence[Inspection],
) -> Floats:
    """Give what is no honey, weighed against what visits judged: their weight less their honey.

    Each counts by the inverse square of its error; a visit's grows with its age, with what there
    was to judge, and with what was put on and taken off since.

    Parameters
    ----------
    net_kg : Floats
        The weight less boxes that were put on, shape (n,). [kg]
    moved_kg : Floats
        What boxes put on and taken off up to each day may hide, shape (n,). [kg]

    Returns
    -------
    Floats
        Shape (n,); NaN where neither `empty_kg` nor a visit tells it. [kg]
    """
    pollen_kg = np.where(is_cold, POLLEN_KG / 2 + DAMP_KG, POLLEN_KG)
    empty_kg = window.hive.empty_kg
    rest_kg = (empty_kg or 0.0) + colony.kg() + pollen_kg
    weight = np.full(len(days), 0.0 if empty_kg is None else REST_KG**-2)
    off = np.zeros(len(days))
    frame = FRAMES.get(window.hive.frame or "")
    for one in seen:
        if frame is None:
            break
        kg = judged_kg(one, frame)
        first = int(np.searchsorted(days.dawn_s, one.at_s))
        last = int(np.searchsorted(days.dawn_s, one.at_s + SEEN_LONG_DAYS * DAY_S))
        if kg is None or not 0 < first < len(days):
            continue
        off_kg = net_kg[first - 1] - kg - rest_kg[first - 1]
        if np.isnan(off_kg) or off_kg < -FAR_OFF_KG:  # it lay beside its scale
            continue
        mine = slice(first, last)
        age_kg = AGE_KG * (days.dawn_s[mine] - one.at_s) / DAY_S
        since_kg = moved_kg[mine] - moved_kg[first - 1]
        each = 1 / ((JUDGED_KG + JUDGED_SHARE * kg) ** 2 + age_kg**2 + since_kg**2)
        off[mine] += each * off_kg
        weight[mine] += each
    unknown = np.full(len(days), np.nan)
    return np.asarray(rest_kg + np.divide(off, weight, out=unknown, where=weight > 0))


def swarmed_kg(window: HiveWindow, days: Days, at_s: Ints | Floats) -> Floats:
    """Give the weight of the bees that have swarmed and are not replaced yet, at some moments [kg].

    What a swarm takes along is bees for the most part; those that hatch make up for them in time.
    """
    missing = np.zeros(len(at_s))
    left_s = np.array(departures_of(window), np.int64)
    for step in days.steps:
        if -SWARM_KG <= step.size_kg < 0 and (np.abs(left_s - step.before_s) < SWARM_NEAR_S).any():
            since_d = (at_s - step.after_s) / DAY_S
            missing -= np.where(
                since_d >= 0,
                BEES_SHARE * step.size_kg * np.exp(-np.maximum(since_d, 0.0) / HATCHED_D),
                0.0,
            )
    return missing
