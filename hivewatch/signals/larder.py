"""What a hive has in stores, day by day, and what it takes of them: from its weight and its visits.

The weight at dawn, dry, less the empty hive, boxes, bees, brood and pollen, is honey. How much all
that weighs is known from `hive.empty_kg`, from what visits counted, and from visits that judged the
stores: the weight then, less the honey.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hivewatch.inspections import Inspection
from hivewatch.signals import tare
from hivewatch.signals.appetite import need_kg
from hivewatch.signals.bare import before_each, stepped_kg
from hivewatch.signals.boxes import boxes_of
from hivewatch.signals.carried import unless_same
from hivewatch.signals.cell_warmth import by_warmth
from hivewatch.signals.colony import BEE_KG, Colony, colony_of
from hivewatch.signals.days import HOUR_S, READ, Days, days_of
from hivewatch.signals.departures import departures_of
from hivewatch.signals.levels import known_or
from hivewatch.signals.window import Floats, HiveWindow

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/detect/test_stores.py.
SEEN_LONG_DAYS = tare.SEEN_LONG_DAYS  # [d] so long a visit tells of the stores
NO_HIVE_KG = -3.0  # [kg] own choice: less is no hive on its scale
BEE_LIVES_D = 35.0  # [d] common practice, no source: about five weeks in summer
SCALE_SHARE = 0.5  # own choice: of what the scale tells; the rest is the need of such a colony
COLD_SHARE = 0.8  # own choice: the same of a cluster, which neither flies nor breeds
NIGHT_SHARE = 0.7  # own choice: of a night's loss; the rest is water of the day's nectar
NIGHTS, LOSS_DAYS = 7, 10  # [d] own choice: nights, and days, that tell the present rate
COLD_DAYS, COLD_NIGHTS = 28, 10  # [d] own choice: the same of a cluster; the least of them known
BREEDS_CELLS = 2000.0  # own choice: with fewer cells it is a cluster
COLD_KG = 0.033  # [kg/d] popular: the less of two scale hives in winter
DOUBT = 3.0  # own choice: a scale that shows so many times the need weighs water
LEAST_KG = 0.02  # [kg/d] own choice: nobody lives on less
DRY_DAYS = 3  # [d] own choice: a lid is dry once in so many dawns
FLIGHT_H = 1.0  # [h/d] own choice: less is winter
LEAST_ERROR_KG, FAR = 0.1, 3.0  # [kg]; own choice: deviations below nothing that still tell apart
COOL_H, COOL_DAYS = 4.0, 14  # [h/d] own choice: less brings little; [d] that then tell the rate
OF_DAYS = ("rise_s", "set_s", "dawn_s", "dusk_s", "dawn_kg", "dusk_kg", "flying_h")


@dataclass(frozen=True, slots=True)
class Larder:
    """Stores of n days, NaN where nothing tells them.

    Parameters
    ----------
    stores_kg : Floats
        Honey at dawn. [kg]
    rate_kg : Floats
        What is eaten of it a day, as if nothing came in. [kg/d]
    net_kg : Floats
        The net loss, negative while it gains. [kg/d]
    error_kg : Floats
        How far off the stores may be, one standard deviation. [kg]
    """

    stores_kg: Floats
    rate_kg: Floats
    net_kg: Floats
    error_kg: Floats

    @property
    def days_left(self) -> Floats:
        """Give the days that the stores last; without end where nobody eats. [d]."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.maximum(self.stores_kg, 0.0) / self.rate_kg


def likely_kg(kg: float, error_kg: float) -> float:
    """Give what is as likely exceeded as not, if stores are off as a normal error is [kg].

    There is never less than nothing, so that of the normal distribution what lies above it counts.
    """
    error_kg, normal = max(error_kg, LEAST_ERROR_KG), NormalDist()
    apart = max(kg / error_kg, -FAR)
    return error_kg * (apart - normal.inv_cdf(normal.cdf(apart) / 2))


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
    days, left_s = _weighed(window, days_of(window)), departures_of(window)
    seen = [one for one in sorted(inspections, key=lambda one: one.at_s) if one.at_s > 0]
    figures = [getattr(days, name).tobytes() for name in OF_DAYS]
    given = window.hive, window.yard, days.day, days.steps, figures, left_s, seen
    return unless_same(window, "larder", given, lambda: _work_out(window, days, seen))


def _weighed(window: HiveWindow, days: Days) -> Days:
    """Give the days with the figures that a larder goes by, and nothing of a day under way."""
    cell_kg = by_warmth(window)
    days = replace(
        days, dawn_kg=days.dawn_kg - cell_kg["dawn"], night_kg=days.night_kg - cell_kg["night"]
    )
    unknown = np.full(len(days), np.nan)
    figures: dict[str, Any] = {name: unknown for name in READ if name not in OF_DAYS}
    figures["flying_h"] = np.append(days.flying_h[:-1], unknown[-1:])
    return replace(days, **figures)


def _work_out(window: HiveWindow, days: Days, seen: Sequence[Inspection]) -> Larder:
    """Put together what the hive weighs, and what of it is no honey."""
    stepped = stepped_kg(days, days.dawn_s)
    bare_kg = days.dawn_kg - stepped
    is_cold = _is_cold(days)
    gross_kg = _dry_kg(bare_kg, is_cold) + stepped
    colony = colony_of(window, days, is_cold, seen)
    empty_kg = np.nan if window.hive.empty_kg is None else window.hive.empty_kg
    rough_kg = gross_kg - empty_kg - tare.live_kg(colony, is_cold)
    boxes = boxes_of(window, days, gross_kg, rough_kg, seen)
    rest = tare.rest_of(window, days, colony, is_cold, gross_kg, boxes, seen)
    loss_kg = _usual_loss(bare_kg, LOSS_DAYS, 3)
    stores_kg = gross_kg - rest.kg
    stores_kg[np.isnan(days.dawn_kg) | (stores_kg < NO_HIVE_KG)] = np.nan
    rate_kg = _rate(days, bare_kg, loss_kg, colony, is_cold)
    return Larder(stores_kg, rate_kg, loss_kg, rest.error_kg)


def _is_cold(days: Days) -> Flags:
    """Say before which dawns there was hardly a week's flight."""
    flown = before_each(known_or(days.flying_h, FLIGHT_H), 7, 1, 0.7)
    return np.asarray(known_or(flown, FLIGHT_H) < FLIGHT_H, np.bool_)


def _dry_kg(bare_kg: Floats, is_cold: Flags) -> Floats:
    """Give the weight at dawn without steps and without what lies on the lid [kg].

    Rain dries off within days. Snow may lie for weeks, but while there is no flight nothing comes
    in, so that what was weighed since, less what a winter cluster eats, is the most there can be.
    """
    back = np.arange(COLD_DAYS)[::-1]
    day = np.arange(len(is_cold))
    cold_d = day - np.maximum.accumulate(np.where(is_cold, -1, day))
    known = back <= np.maximum(cold_d, DRY_DAYS - 1)[:, None]
    dry_kg = _back(bare_kg, COLD_DAYS) - COLD_KG * is_cold[:, None] * back
    return _least(np.where(known, dry_kg, np.nan))


def _back(figures: Floats, days: int) -> Floats:
    """Give each day's last figures, its own the last one; shape (n, days)."""
    padded = np.concatenate((np.full(days - 1, np.nan), figures))
    return np.lib.stride_tricks.sliding_window_view(padded, days)


def _least(table: Floats) -> Floats:
    """Give the least known figure of each row."""
    return np.asarray(np.fmin.reduce(table, axis=1), np.float64)


def _rate(days: Days, bare_kg: Floats, loss_kg: Floats, colony: Colony, is_cold: Flags) -> Floats:
    """Give what is taken of the stores a day: between what the scale tells and the need [kg].

    The nights tell what is eaten; so does a loss by the day, less the bees that died in the field.
    Where nothing comes in, all that goes does.
    """
    flown_h = before_each(known_or(days.flying_h, COOL_H), LOSS_DAYS, 1, 0.7)
    active = np.clip(flown_h / COOL_H, 0.0, 1.0)
    bees, young, capped = colony.bees, colony.young, colony.capped
    eaten_kg = need_kg(bees, young, capped, np.where(is_cold, 0.0, active))
    died_kg = BEE_KG * bees / BEE_LIVES_D * active
    night_h = np.append((days.dawn_s[1:] - days.dusk_s[:-1]) / HOUR_S, np.nan)
    nights_kg = NIGHT_SHARE * 24 * before_each(days.night_kg / night_h, NIGHTS, 3)
    warm = np.fmax(nights_kg, loss_kg - died_kg)
    cool = _usual_loss(bare_kg, COOL_DAYS, 7) - died_kg  # little comes in
    warm = np.where((flown_h < COOL_H) & ~np.isnan(cool), cool, warm)
    breeds = young + capped > BREEDS_CELLS
    cold = np.where(breeds, cool, _usual_loss(bare_kg, COLD_DAYS, COLD_NIGHTS))
    told_kg = np.where(is_cold, np.where(np.isnan(cold), eaten_kg, cold), warm)
    told_kg = np.clip(told_kg, eaten_kg / DOUBT, eaten_kg * DOUBT)
    share = np.where(is_cold & ~breeds, COLD_SHARE, SCALE_SHARE)
    rate_kg = np.fmax(told_kg**share * eaten_kg ** (1 - share), LEAST_KG)
    return np.where(is_cold | ~np.isnan(nights_kg), rate_kg, np.nan)


def _usual_loss(bare_kg: Floats, days: int, least: int) -> Floats:
    """Give the middle of the last days' losses: neither thaw nor what dries after a flow counts."""
    lost_kg = np.append(-np.diff(bare_kg), np.nan)  # from that dawn to the next
    return before_each(lost_kg, days, least)
