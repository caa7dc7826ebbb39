"""What a hive has in stores, day by day, and what it takes of them: from its weight and its visits.

The weight at dawn, dry, less the empty hive, boxes, bees, brood and pollen, is honey. How much all
that weighs is known from `hive.empty_kg` with what visits counted, or stated allowances, and from
the last visit that judged the stores: its weight less its honey.
"""

from __future__ import annotations

from bisect import bisect, bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hivewatch.frames import FRAMES
from hivewatch.inspections import Action, Inspection, adult_count, brood_counts
from hivewatch.inspections import stores_kg as judged_kg
from hivewatch.signals.bare import before_each, stepped_kg
from hivewatch.signals.days import DAY_S, HOUR_S, Days, days_of
from hivewatch.signals.departures import departures_of
from hivewatch.signals.steps import Step
from hivewatch.signals.window import Floats, HiveWindow, Ints

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/detect/test_stores.py.
BEE_KG = 0.0001  # [kg] published: worker mass, constants in Becher et al. (2014)
CELL_KG = 0.0001  # [kg] own choice: a cell of brood, egg to pupa, in the mean
POLLEN_KG = 1.0  # [kg] own choice: two combs; half of it in winter
SWARM_KG, SWARM_NEAR_S = 4.5, 3600  # [kg], [s] common practice, no source: no swarm weighs more
BEES_SHARE = 0.74  # published: of a swarm; 0.1 g a bee, 36 mg honey with it (Winston, via Becher)
HATCHED_D = 30.0  # [d] own choice: about a brood cycle
BEES, WINTER_BEES = 20_000.0, 11_000.0  # [bees] own choice: where nobody has counted
BROOD_CELLS = 15_000.0  # [cells] own choice: where nobody has counted, while bees fly
DAMP_KG = 0.5  # [kg] own choice: what wood and dead bees take up over a winter
SEEN_DAYS = 45  # [d] own choice: older inspections say less than empty_kg
REST_KG = 0.7  # [kg] own choice: error of the bees, brood and pollen, where they were counted
JUDGED_KG, JUDGED_SHARE = 0.3, 0.12  # [kg], share: own choice, error of judging honey by eye
MOVED_SHARE, MOVED_MOST_KG = 0.01, 2.0  # share, [kg] own choice: of boxes put on or taken off
AGE_KG = 0.02  # [kg/d] own choice: bees and brood become more or fewer after a visit
SEEN_LONG_DAYS = 150  # [d] own choice: a winter; the same where nothing else tells the stores
BOX_KG = (4.8, 11.0)  # [kg] own choice: a super with its frames and combs
NEAR_S = 3 * 3600  # [s] own choice: people write down about when they came
FEED_KG = 5.0  # [kg] own choice: with less, one feeds rather than gives room
NO_HIVE_KG = -3.0  # [kg] own choice: less is no hive on its scale
ALL_SHARE = 0.9  # own choice: of what was put on; who takes as much takes all of it
EMPTY_BOX_KG = 6.0  # [kg] own choice: of a box that is taken off where several are on
FOOD_MONTHS = (8, 9, 10, 11, 12, 1, 2, 3)  # common practice, no source: fed then, not supered
NIGHT_SHARE = 0.7  # own choice: of a night's loss; the rest is water of the day's nectar
NIGHTS, LOSS_DAYS = 7, 7  # [d] nights, and days, that tell the rate: the present one
COLD_DAYS, COLD_NIGHTS = 28, 10  # [d] own choice: the same without flight; the least of them known
COLD_KG = 0.033, 0.050  # [kg/d] popular: two scale hives in winter, 1 to 1.5 kg a month
LEAST_KG = 0.02  # [kg/d] own choice: nobody lives on less
DRY_DAYS = 3  # [d] own choice: a lid is dry once in so many dawns
FLIGHT_H = 1.0  # [h/d] own choice: less is winter
COOL_H, COOL_DAYS = (
    4.0,
    14,
)  # [h/d] own choice: less is no weather to bring much; [d] that tell the rate


@dataclass(frozen=True, slots=True)
class Larder:
    """Stores of n days, NaN where nothing tells them.

    Parameters
    ----------
    stores_kg : Floats
        Honey at dawn. [kg]
    rate_kg : Floats
        What is taken of it a day: the larger of the net loss and what is eaten. [kg/d]
    net_kg : Floats
        The net loss, negative while it gains. [kg/d]
    error_kg : Floats
        What boxes put on and taken off since somebody judged the stores may hide of them. [kg]
    """

    stores_kg: Floats
    rate_kg: Floats
    net_kg: Floats
    error_kg: Floats

    @property
    def days_left(self) -> Floats:
        """Give the days that the stores last. [d]."""
        return np.maximum(self.stores_kg, 0.0) / self.rate_kg


def larder_of(window: HiveWindow, inspections: Sequence[Inspection]) -> Larder:
    """Work out a hive's stores.

    Parameters
    ----------
    window : HiveWindow
        The hive; needs `weight`.
    inspections : Sequence[Inspection]
        What was seen and done; each counts from its own day on.

    Returns
    -------
    Larder
        A day rests on readings up to its dawn, and on inspections before it.

    References
    ----------
    Winter losses: two scale hives, quarrylifeaward.cz (2018), 33 to 50 g a day (popular).
    """
    days = days_of(window)
    dry_kg, is_cold = _dry(days)
    seen = [one for one in sorted(inspections, key=lambda one: one.at_s) if one.at_s > 0]
    gross_kg = dry_kg + stepped_kg(days, days.dawn_s) + _swarmed_kg(window, days, days.dawn_s)
    rest_kg = _rest(window, days, is_cold, seen)
    net_kg = gross_kg - _boxes(days, gross_kg - rest_kg, seen)
    rest_kg = _with_visits(window, days, net_kg, rest_kg, seen)
    bare_kg = days.dawn_kg - stepped_kg(days, days.dawn_s)
    loss_kg = _usual_loss(bare_kg, LOSS_DAYS, 3)
    stores_kg = net_kg - rest_kg
    stores_kg[np.isnan(days.dawn_kg) | (stores_kg < NO_HIVE_KG)] = np.nan
    error_kg = _moved_kg(window, days, seen)
    return Larder(stores_kg, _rate(days, bare_kg, loss_kg, is_cold), loss_kg, error_kg)


def _dry(days: Days) -> tuple[Floats, Flags]:
    """Give the weight at dawn without steps and without what lies on the lid; and when it is cold.

    Rain dries off within days. Snow may lie for weeks, but without flight nothing comes in, so
    that what was weighed before, less what a winter cluster eats, is the most there can be.
    """
    bare_kg = days.dawn_kg - stepped_kg(days, days.dawn_s)
    flown = before_each(np.nan_to_num(days.flying_h, nan=FLIGHT_H), 7, 1, 0.7)
    is_cold = np.nan_to_num(flown, nan=FLIGHT_H) < FLIGHT_H
    back = np.arange(COLD_DAYS)
    table = _back(bare_kg, COLD_DAYS) - COLD_KG[0] * back[::-1]
    lately = _back(bare_kg, DRY_DAYS)
    return np.where(is_cold, _least(table), _least(lately)), is_cold


def _back(figures: Floats, days: int) -> Floats:
    """Give each day's last figures, its own the last one; shape (n, days)."""
    padded = np.concatenate((np.full(days - 1, np.nan), figures))
    return np.lib.stride_tricks.sliding_window_view(padded, days)


def _least(table: Floats) -> Floats:
    """Give the least known figure of each row."""
    return np.asarray(np.fmin.reduce(table, axis=1), np.float64)


def _rate(days: Days, bare_kg: Floats, loss_kg: Floats, is_cold: Flags) -> Floats:
    """Give what is taken of the stores a day [kg]."""
    night_h = np.append((days.dawn_s[1:] - days.dusk_s[:-1]) / HOUR_S, np.nan)
    eaten_kg = NIGHT_SHARE * 24 * before_each(days.night_kg / night_h, NIGHTS, 3)
    warm = np.fmax(np.fmax(eaten_kg, loss_kg), LEAST_KG)
    cold_kg = _usual_loss(bare_kg, COLD_DAYS, COLD_NIGHTS)
    cold = np.nan_to_num(cold_kg, nan=sum(COLD_KG) / 2).clip(LEAST_KG, 2 * COLD_KG[1])
    few_h = before_each(np.nan_to_num(days.flying_h, nan=COOL_H), LOSS_DAYS, 1, 0.7) < COOL_H
    cool = np.fmax(_usual_loss(bare_kg, COOL_DAYS, 7), LEAST_KG)  # little comes in: all that goes
    warm = np.where(few_h & ~np.isnan(cool), cool, warm)
    return np.where(is_cold, cold, np.where(np.isnan(eaten_kg), np.nan, warm))


def _usual_loss(bare_kg: Floats, days: int, least: int) -> Floats:
    """Give the middle of the last days' losses: neither thaw nor what dries after a flow counts."""
    lost_kg = np.append(-np.diff(bare_kg), np.nan)  # from that dawn to the next
    return before_each(lost_kg, days, least)


def _swarmed_kg(window: HiveWindow, days: Days, at_s: Ints | Floats) -> Floats:
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


def _boxes(days: Days, rough_kg: Floats, seen: Sequence[Inspection]) -> Floats:
    """Give the weight of the boxes that have been put on since the first reading, by day [kg].

    `rough_kg` are the stores as if no box had been put on. What nobody wrote down is feed where
    there was little left, and else a box when it weighs as one.
    """
    times, total = [], []
    on_kg = 0.0
    seen_s = [one.at_s for one in seen]
    for step in days.steps:
        done = _done(step, seen, seen_s) if seen_s else []
        for action in done:
            if action.what == "harvested":
                on_kg = 0.0
            elif action.what == "super added":
                fed_kg = sum(one.kg or 0.0 for one in done if one.what == "fed")
                on_kg += action.kg or max(step.size_kg - fed_kg, 0.0)
        if step.size_kg < -BOX_KG[0] and "harvested" not in {one.what for one in done}:
            on_kg = 0.0 if -step.size_kg > ALL_SHARE * on_kg else on_kg - EMPTY_BOX_KG
        elif not done and BOX_KG[0] < step.size_kg < BOX_KG[1]:
            day = int(np.searchsorted(days.dawn_s, step.before_s)) - 1
            left_kg = rough_kg[day] - on_kg if day >= 0 else np.nan
            on_kg += 0.0 if left_kg < FEED_KG or _is_fed_then(step) else step.size_kg
        on_kg = max(on_kg, 0.0)
        times.append(step.after_s)
        total.append(on_kg)
    at = np.searchsorted(np.array(times, np.int64), days.dawn_s, side="right")
    return np.array([0.0, *total])[at]


def _moved_kg(window: HiveWindow, days: Days, seen: Sequence[Inspection]) -> Floats:
    """Give the error that boxes leave, of their weights since the last visit that judged [kg]."""
    moved = [abs(step.size_kg) * (abs(step.size_kg) >= BOX_KG[0]) for step in days.steps]
    after_s = np.array([step.after_s for step in days.steps], np.int64)
    total = np.append(0.0, np.cumsum(moved))
    frame = FRAMES.get(window.hive.frame or "")
    told = [one.at_s for one in seen if frame and judged_kg(one, frame) is not None]
    since_s = np.array([0, *told], np.int64)
    last_s = since_s[np.searchsorted(since_s, days.dawn_s, side="right") - 1]
    at, before = (np.searchsorted(after_s, one, side="right") for one in (days.dawn_s, last_s))
    moved_kg = np.asarray(total[at] - total[before], np.float64)
    return np.asarray(np.minimum(MOVED_SHARE * moved_kg, MOVED_MOST_KG), np.float64)


def _done(step: Step, seen: Sequence[Inspection], seen_s: Sequence[int]) -> list[Action]:
    """Give what was done at a step, as somebody wrote it down; `seen` is by time."""
    low, high = bisect_left(seen_s, step.before_s - NEAR_S), bisect(seen_s, step.after_s + NEAR_S)
    return [action for one in seen[low:high] for action in one.actions]


def _is_fed_then(step: Step) -> bool:
    """Say whether a step fell into the months in which bees are fed rather than given room."""
    months = np.datetime64(step.after_s, "s").astype("datetime64[M]").astype(np.int64)
    return int(months % 12) + 1 in FOOD_MONTHS


def _rest(window: HiveWindow, days: Days, is_cold: Flags, seen: Sequence[Inspection]) -> Floats:
    """Give what is no honey, from the empty hive on: wood, wax, bees, brood and pollen [kg]."""
    empty_kg, frame = window.hive.empty_kg, FRAMES.get(window.hive.frame or "")
    if empty_kg is None:
        return np.full(len(days), np.nan)
    bees = np.where(is_cold, WINTER_BEES, BEES)
    cells = np.where(is_cold, 0.0, BROOD_CELLS)
    for one in seen:
        if frame is None:
            break
        later = (days.dawn_s > one.at_s) & (days.dawn_s < one.at_s + SEEN_DAYS * DAY_S)
        adults, brood = adult_count(one, frame), brood_counts(one, frame)
        if adults is not None:
            bees[later] = adults + _swarmed_kg(window, days, np.array([one.at_s]))[0] / BEE_KG
        if None not in brood:
            cells[later] = sum(count or 0 for count in brood)
    pollen = np.where(is_cold, POLLEN_KG / 2 + DAMP_KG, POLLEN_KG)
    return np.asarray(empty_kg + BEE_KG * bees + CELL_KG * cells + pollen, np.float64)


def _with_visits(
    window: HiveWindow, days: Days, net_kg: Floats, rest_kg: Floats, seen: Sequence[Inspection]
) -> Floats:
    """Weigh that against the last visit that judged the stores: its weight less its honey [kg].

    Each counts by the inverse square of its error; a visit's grows with its age and with what
    there was to judge.
    """
    both = rest_kg.copy()
    frame = FRAMES.get(window.hive.frame or "")
    for one in seen:
        if frame is None:
            break
        kg = judged_kg(one, frame)
        first = int(np.searchsorted(days.dawn_s, one.at_s))
        last = int(np.searchsorted(days.dawn_s, one.at_s + SEEN_LONG_DAYS * DAY_S))
        if kg is None or not 0 < first < len(days) or np.isnan(net_kg[first - 1]):
            continue
        mine = slice(first, last)
        age_d = (days.dawn_s[mine] - one.at_s) / DAY_S
        error_kg = JUDGED_KG + JUDGED_SHARE * kg + AGE_KG * age_d
        share = np.where(np.isnan(rest_kg[mine]), 1.0, REST_KG**2 / (REST_KG**2 + error_kg**2))
        rest = np.nan_to_num(rest_kg[mine])
        both[mine] = share * (net_kg[first - 1] - kg) + (1 - share) * rest
    return both
