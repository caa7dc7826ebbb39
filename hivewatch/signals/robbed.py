"""On which days did more go by day than bees eat and water dries: judged at dusk, all being home.

At dusk nobody is away, so that the scale alone tells what the day took, and needs no counter to say
how many bees are out. Who comes and goes tells the rest: robbers fly beside the hive's own bees.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import fields
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.bare import before_each
from hivewatch.signals.days import HOUR_S, Days
from hivewatch.signals.levels import known_or
from hivewatch.signals.window import Floats

Flags = NDArray[np.bool_]

# All thresholds: own choice; tests/unit/signals/test_robbed.py.
USUAL_DAYS = 10  # days before that tell what a usual day takes
NIGHTS = 7  # nights before that tell what an hour without income takes
EATEN_MOST_KG = 0.12  # [kg/h] bound of that: 3 kg a day, in the ripening of a great flow
WET_DAYS = 3  # days before whose rain and dew may dry on this day
RIPENS = 0.1  # of what the day before brought; half of nectar is water, most goes by night
FEW = 0.7  # times the usual traffic; what a day with less has brought is rain
STEP_KG = 0.5  # [kg] a day with a step so large is no day to judge: a swarm, a box, feed
FED_DAYS, FED_SHARE, FED_MOST_KG = 3, 0.2, 2.0  # [d], of a step, [kg]: dries or is licked out after
MARGIN_BUSY_KG = 0.5  # [kg] lost beside food and water, where the entrance is busier than usual
MARGIN_KG = 0.8  # [kg] the same with usual traffic
MARGIN_ALONE_KG = 1.1  # [kg] the same where nobody counts
BUSY, QUIET = 1.3, 0.9  # times the usual traffic; with less than the second nobody robs
BELOW_KG = 0.4  # [kg] worse than nine in ten of the days before
LEAST_BEES = 2000.0  # [bees] out by day: with fewer nobody flies
BEE_KG = 0.0001  # [kg] published: worker mass, constants in Becher et al. (2014)
RATIO = (0.7, 1.1)  # bounds of a counter's own in / out; published: 0.90 for one counter type
FLYING_H = 2.0  # [h] of flying weather without which nobody robs
LIGHT_H = 11.0  # [h] of daylight, where nobody measures warmth
BACK_DAYS = USUAL_DAYS + WET_DAYS + 1  # days before on which a day rests, its eve's night with them
LASTS_DAYS = 10  # days after such a day that go with it


def robbed_days(days: Days, first: int = 0) -> Flags:
    """Say on which days so much went that bees must have carried it off.

    Parameters
    ----------
    days : Days
        A hive's days. Needs the weight; bees counted and warmth measured make it surer.
    first : int
        The first day that is asked for; of those before nothing is said.

    Returns
    -------
    Flags
        Shape (n,); a day rests on itself and on days before, and is known at its dusk.
    """
    if not (-days.day_kg[first:] > MARGIN_BUSY_KG).any():
        return np.zeros(len(days), np.bool_)
    if first > BACK_DAYS:
        since = robbed_days(_since(days, first - BACK_DAYS))[BACK_DAYS:]
        return np.concatenate((np.zeros(first, np.bool_), since))
    eaten_kg = eaten_kg_per_h(days) * (days.dusk_s - days.dawn_s) / HOUR_S
    usual_out = before_each(days.bees_out, USUAL_DAYS, 3)
    busy = days.bees_out / np.maximum(usual_out, LEAST_BEES)
    is_counted = ~np.isnan(busy)
    margin_kg = np.where(busy >= BUSY, MARGIN_BUSY_KG, MARGIN_KG)
    margin_kg = np.where(is_counted, margin_kg, MARGIN_ALONE_KG)
    poor_kg = before_each(days.day_kg, USUAL_DAYS, 3, 0.1)
    is_stepped, dries_kg = _steps(days)
    dries_kg += wet_kg(days)
    return (
        (-days.day_kg > margin_kg + eaten_kg + dries_kg + _stayed_away_kg(days))
        & (days.day_kg < np.minimum(poor_kg, 0.0) - BELOW_KG)
        & ~is_stepped
        & ~(busy < QUIET)
        & np.where(is_counted, days.bees_out >= LEAST_BEES, can_fly(days))
    )


def _since(days: Days, first: int) -> Days:
    """Give the days from one on, and the steps that were over from its midnight on."""
    of = {one.name: getattr(days, one.name)[first:] for one in fields(days)}
    low = bisect_left(days.steps, days.start_s[first], key=attrgetter("after_s"))
    return Days(**of | {"steps": days.steps[low:]})


def goes_with_robbed(days: Days) -> Flags:
    """Say which days are such ones, or follow one so soon that they belong to it."""
    robbed = robbed_days(days)
    lately = before_each(robbed.astype(np.float64), LASTS_DAYS, 1, 1.0)
    return robbed | (known_or(lately) > 0)


def can_fly(days: Days) -> Flags:
    """Say on which days bees could fly; by the length of the day where nobody measures warmth."""
    light_h = (days.set_s - days.rise_s) / HOUR_S
    return np.where(np.isnan(days.flying_h), light_h >= LIGHT_H, days.flying_h >= FLYING_H)


def wet_kg(days: Days) -> Floats:
    """Give what rain, dew and nectar of the days before may lose by drying on this one [kg].

    Nobody brings anything at night, and few bees bring little; where nobody counts them, all that
    came may have been rain. Of a day before that brought much, nectar still ripens by day.
    """
    usual = before_each(days.bees_out, USUAL_DAYS, 3)
    few = (days.bees_out < FEW * usual) | np.isnan(days.bees_out)
    each_kg = np.where(few, np.fmax(days.day_kg, 0.0), 0.0) + np.fmax(-days.night_kg, 0.0)
    each_kg = np.concatenate((np.zeros(WET_DAYS), known_or(each_kg)))
    wet = sum(each_kg[day : day + len(days)] for day in range(WET_DAYS))
    return np.asarray(wet + np.append(0.0, RIPENS * np.fmax(known_or(days.day_kg[:-1]), 0.0)))


def eaten_kg_per_h(days: Days) -> Floats:
    """Give what a hive eats in an hour, as the nights before each day tell [kg/h]."""
    night_h = np.append((days.dawn_s[1:] - days.dusk_s[:-1]) / HOUR_S, np.nan)
    eaten = before_each(days.night_kg / night_h, NIGHTS, 2)
    return np.asarray(known_or(eaten, 0.02).clip(0.0, EATEN_MOST_KG))


def home_ratio(days: Days) -> Floats:
    """Give how many of the bees that went its counter sees come home, by the days before."""
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(days.bees_out >= LEAST_BEES, days.bees_in / days.bees_out, np.nan)
    return np.asarray(known_or(before_each(ratio, USUAL_DAYS, 3), 0.95).clip(*RATIO))


def _stayed_away_kg(days: Days) -> Floats:
    """Give what the bees weigh that left and were not seen to come home; 0 where nobody counts."""
    away = np.maximum(days.bees_out * home_ratio(days) - days.bees_in, 0.0)
    return np.asarray(known_or(BEE_KG * away))


def _steps(days: Days) -> tuple[Flags, Floats]:
    """Say which days had a step, and what those of the days before may still take [kg]."""
    is_stepped, dries_kg = np.zeros(len(days), np.bool_), np.zeros(len(days))
    large = [step for step in days.steps if abs(step.size_kg) >= STEP_KG]
    middle_s = [(step.before_s + step.after_s) / 2 for step in large]
    at = days.start_s.searchsorted(middle_s, side="right") - 1
    for step, day in zip(large, at.tolist(), strict=True):
        if 0 <= day < len(days):
            is_stepped[day] = True
            dries_kg[day + 1 : day + 1 + FED_DAYS] += min(
                FED_SHARE * abs(step.size_kg), FED_MOST_KG
            )
    return is_stepped, dries_kg
