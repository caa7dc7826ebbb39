"""Between a nest with brood and one without: the bound, and how much of the nest the probe shows.

With brood the nest is near 35 Cel, whatever the weather; without it the cluster is cooler, and the
bound lies half way, lower in cold air.
"""

from __future__ import annotations

from datetime import date

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.carried import worked
from hivewatch.signals.days import HOUR_S, days_of
from hivewatch.signals.levels import middle_before
from hivewatch.signals.warmth import warmth_of
from hivewatch.signals.window import Floats, HiveWindow

# Half way between a nest with brood, 34.5 Cel (published: brood nest 34.5 +- 1.5 Cel, MLU Halle
# after Kronenberg and Heller 1982), and a cluster without, 20 to 22 Cel in winter (popular; from
# memory Fahrenholz et al. 1989, 21.3 Cel) and 27 Cel in mild air (own choice): 27.5 Cel in frost,
# 30.5 Cel at 15 Cel outside. tests/unit/signals/test_brood.py
HALF_WAY_CEL, HALF_WAY_SLOPE = 27.5, 0.2
COLDEST_CEL, WARMEST_CEL = -10.0, 25.0  # [Cel] the bound does not move further
# Where nobody measures the air: the year's middle and half its swing at the latitude, in round
# figures (own choice): 10 +- 10 Cel at 52 degrees, 18 +- 8 Cel at 38 degrees, a month late.
YEAR_CEL, YEAR_FALL_CEL, YEAR_SWING_K, AFTER_SUN_D = 27.0, 0.0063, 0.2, 30
EPOCH = date(1970, 1, 1).toordinal()
FULL_CEL = 35.0  # [Cel] common practice, no source: the nest with brood
SHARE_DAYS = 10  # own choice: days in a row that tell what reaches the probe
SHARE_AIR_CEL = 24.0  # [Cel] own choice: in warmer air a share says little
SHARE_LIGHT_H = 13.0  # [h] own choice: days of the light half of the year, when there is brood
CENTRE_SHARE = 0.85  # own choice: a probe in the brood nest, or a colony that is building up
FULL_SHARE = 0.93  # own choice: one such day shows that the probe is in the brood nest
FAR_SHARE = 0.45  # own choice: a probe on the crown board shows a third, whatever is below it
AUTUMN_DAY_H = 12.5  # [h] own choice: days this short, and shortening
TEMPERATE_DEG = 25.0  # [deg] own choice: nearer to the equator there is no autumn


def brood_nest_cel(window: HiveWindow) -> Floats:
    """Give what each day's level says of the brood nest, wherever the probe is. [Cel]."""
    warmth, share = warmth_of(window), probe_share(window)
    air = warmth.ambient_cel
    with np.errstate(invalid="ignore"):
        nest = np.where(share < FAR_SHARE, np.nan, air + (warmth.level_cel - air) / share)
    return np.where(np.isnan(air) & (share == 1), warmth.level_cel, nest)


def bound_cel(window: HiveWindow) -> Floats:
    """Give the bound between brood and none on each day: half way, by the air. [Cel]."""
    air = warmth_of(window).ambient_cel
    air = np.where(np.isnan(air), usual_air_cel(window), air)
    return HALF_WAY_CEL + HALF_WAY_SLOPE * np.clip(air, COLDEST_CEL, WARMEST_CEL)


def usual_air_cel(window: HiveWindow) -> Floats:
    """Give the air of the season at the yard's latitude, in round figures. [Cel]."""
    latitude = window.yard.latitude
    number = np.array([one.toordinal() for one in days_of(window).day])
    day = (number - EPOCH).astype("datetime64[D]")
    late_d = (day - day.astype("datetime64[Y]")).astype(np.int64) + 1 - 172 - AFTER_SUN_D
    season = np.cos(2 * np.pi * late_d / 365.25) * np.sign(latitude)
    swing_k = YEAR_SWING_K * abs(latitude)
    return np.asarray(YEAR_CEL - YEAR_FALL_CEL * latitude**2 + swing_k * season)


def probe_share(window: HiveWindow) -> Floats:
    """Give the share of the brood nest's warmth that reaches the probe, as known by each day.

    It is the most that ten days of the light half of the year have shown, for then there is brood,
    or one day that showed all of it;
    1 for a probe in the brood nest, and as long as nothing is known.
    """
    return worked(window, "probe_share", lambda here, _: _probe_share(here))


def _probe_share(window: HiveWindow) -> Floats:
    """Work the share out."""
    warmth = warmth_of(window)
    with np.errstate(invalid="ignore"):
        shown = (warmth.level_cel - warmth.ambient_cel) / (FULL_CEL - warmth.ambient_cel)
        shown[~(warmth.ambient_cel < SHARE_AIR_CEL)] = np.nan
        tells = (light_hours(window) >= SHARE_LIGHT_H) | (shown >= FULL_SHARE)
    told = np.flatnonzero(tells & ~np.isnan(shown))
    shown = shown[told]
    of_days = middle_before(np.append(shown, np.nan), SHARE_DAYS, 0, SHARE_DAYS)[1:]  # itself, too
    of_days[np.isnan(of_days)] = 0.0
    best = np.maximum.accumulate(np.where(shown >= FULL_SHARE, 1.0, of_days))
    best = np.append(0.0, best)[told.searchsorted(np.arange(len(warmth)), side="right")]
    return np.where((best > 0) & (best < CENTRE_SHARE), best, 1.0)


def light_hours(window: HiveWindow) -> Floats:
    """Give the hours from sunrise to sunset of each day."""
    days = days_of(window)
    return np.asarray((days.set_s - days.rise_s) / HOUR_S)


def is_autumn(window: HiveWindow, day_h: float = AUTUMN_DAY_H) -> NDArray[np.bool_]:
    """Say on which days the light is shorter than that and shortening: brood ends of itself."""
    light_h = light_hours(window)
    if len(light_h) < 2 or abs(window.yard.latitude) < TEMPERATE_DEG:  # noqa: PLR2004
        return np.zeros(len(light_h), np.bool_)
    return (light_h < day_h) & (np.gradient(light_h) < 0)
