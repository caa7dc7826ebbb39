"""What the time of year says where nothing was measured: laying, flying weather, winter bees."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_REFERENCE_LATITUDE = 47.0  # [deg] where the published season curve was made (Graz)
_DAYS_A_DEGREE = 2.0
"""Spring comes later and autumn sooner by this for each degree towards the pole. Own choice: half
of the four days of A. D. Hopkins (1918, from memory), which were measured inland."""

LEVEL_PART = 0.5
"""Power of the curve of laying by season, where it says how much is laid and the size of the colony
is counted apart. Own choice: the published curve is of colonies that grow and shrink with the
season themselves, and how early a spring is differs between years and places."""

PEAK_DAY = 149.0  # day of the year, as at the reference latitude, of the published curve

_GROWTH_LIMITS = (0.93, 1.07)
"""Of the growth of laying. [1/d] Own choice: in spring the published curve grows by less than 7 % a
day and falls so in autumn; the other (see `comb.queen.FALL`) falls more slowly."""

_WINTER_BEES_FROM = 246.0  # day of year, 3 September, when half emerging are; own choice
_WINTER_BEES_WIDTH = 8.0  # [d] own choice


@lru_cache(maxsize=4096)
def northern_day(day: date, latitude: float) -> float:
    """Give the day of the year as it would be in the north, and at the reference latitude."""
    number = float(day.timetuple().tm_yday)
    if latitude < 0:
        number = (number + 182.0) % 365.0
    later = _DAYS_A_DEGREE * max(-10.0, min(10.0, abs(latitude) - _REFERENCE_LATITUDE))
    spring = max(0.0, min(1.0, (200.0 - number) / 60.0))
    autumn = max(0.0, min(1.0, (number - 200.0) / 30.0))
    return number - later * spring + later * autumn


def seasons_weight(latitude: float) -> float:
    """Say how much of a season there is: none in the tropics. Own choice: 20 to 35 degrees."""
    return max(0.0, min(1.0, (abs(latitude) - 20.0) / 15.0))


@lru_cache(maxsize=4096)
def laying_level(day: date, latitude: float) -> float:
    """Give laying by season as a part of its peak.

    1 - max(s1, s2) with the logistic s1 and s2 of Schmickl & Crailsheim 2007 (Ecol. Modelling
    204:219-245, p. 221; x1 = 385, x2 = 30, x3 = 36, x4 = 155, x5 = 30).
    """
    return float(_level(northern_day(day, latitude)) ** seasons_weight(latitude))


@lru_cache(maxsize=4096)
def laying_level_at_least(day: date, latitude: float) -> float:
    """Give laying by season as `laying_level`, should its height be over as soon as at Graz.

    Nearer to the equator autumn comes later, but drought may end a summer's brood no later: own
    choice, the sooner of the two.
    """
    as_there = math.copysign(max(abs(latitude), _REFERENCE_LATITUDE), latitude)
    level = min(float(_level(northern_day(day, one))) for one in (latitude, as_there))
    return float(level ** seasons_weight(latitude))


def _level(number: Floats | float) -> Floats:
    spring = 1.0 - 1.0 / (1.0 + 385.0 * np.exp(-2.0 * number / 30.0))
    autumn = 1.0 / (1.0 + 36.0 * np.exp(-2.0 * (number - 155.0) / 30.0))
    return np.asarray(1.0 - np.maximum(spring, autumn))


@lru_cache(maxsize=4096)
def laying_growth(day: date, yesterday: date, latitude: float) -> float:
    """Give the factor by which the season moves laying from yesterday to `day`."""
    factor = laying_level(day, latitude) / laying_level(yesterday, latitude)
    return max(_GROWTH_LIMITS[0], min(_GROWTH_LIMITS[1], factor))


def levels_by_season(day: date, latitude: float, later_d: Floats | float) -> Floats:
    """Give laying by season as `laying_level`, for seasons that run late by some days."""
    return np.asarray(_level(northern_day(day, latitude) - later_d) ** seasons_weight(latitude))


def is_falling(day: date, latitude: float, later_d: Floats | float) -> NDArray[np.bool_]:
    """Say whether laying is past its peak in such seasons."""
    return np.asarray(northern_day(day, latitude) - later_d > PEAK_DAY)


def growths_by_season(days: Sequence[date], latitude: float, later_d: Floats) -> Floats:
    """Give the factors by which such seasons move laying from yesterday to each of some days."""
    yesterdays = (date.fromordinal(day.toordinal() - 1) for day in days)
    today = _level(_northern_days(days, latitude) - later_d)
    before = _level(_northern_days(yesterdays, latitude) - later_d)
    factor = (today / before) ** seasons_weight(latitude)
    least, most = _GROWTH_LIMITS
    return np.asarray(np.minimum(np.maximum(factor, least), most))


def winter_shares(days: Sequence[date], latitude: float, later_d: Floats) -> Floats:
    """Say what part of the bees emerging on some days become winter bees, in such seasons.

    Bees of late summer and autumn live until spring: common practice, no source; dates own choice.
    """
    number = _northern_days(days, latitude)
    past = (number - later_d - _WINTER_BEES_FROM) / _WINTER_BEES_WIDTH
    shares = seasons_weight(latitude) / (1.0 + np.exp(-past))
    return np.where(number < 60.0, seasons_weight(latitude), shares)  # noqa: PLR2004  1 March


def _northern_days(days: Iterable[date], latitude: float) -> Floats:
    """Give the days of the year as `northern_day`, a row each."""
    return np.array([[northern_day(day, latitude)] for day in days])


def has_winter_bees(day: date, latitude: float) -> bool:
    """Say whether a colony still, or already, holds winter bees: October to mid-May."""
    number = northern_day(day, latitude)
    return seasons_weight(latitude) > 0 and not 135.0 <= number <= 270.0  # noqa: PLR2004


def is_laying_season(day: date, latitude: float) -> bool:
    """Say whether a hive without eggs lacks a queen who should lay: April to September.

    Own choice: from April on every sound colony has brood; winter bees live among it until mid-May.
    """
    number = northern_day(day, latitude)
    return seasons_weight(latitude) == 0 or 90.0 <= number <= 270.0  # noqa: PLR2004


@lru_cache(maxsize=4096)
def usual_flying(day: date, latitude: float) -> float:
    """Say what part of a full flying day a day of this season has on average. Own choice.

    Four days of five in July, hardly any in January at the reference latitude; more the nearer to
    the equator.
    """
    number = northern_day(day, latitude)
    swing = 0.40 * min(1.0, abs(latitude) / _REFERENCE_LATITUDE)
    return 0.80 - swing * (1.0 - math.cos(2.0 * math.pi * (number - 200.0) / 365.0))
