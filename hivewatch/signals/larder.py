"""What a hive has in stores, day by day, and what it takes of them: from its weight and its visits.

The weight at dawn, dry, less the empty hive, boxes, bees, brood and pollen, is honey. How much all
that weighs is known from `hive.empty_kg` with what visits counted, or stated allowances, and from
the last visit that judged the stores: its weight less its honey.
"""

from __future__ import annotations

from bisect import bisect, bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hivewatch.frames import FRAMES
from hivewatch.inspections import Action, Inspection
from hivewatch.inspections import stores_kg as judged_kg
from hivewatch.signals import tare
from hivewatch.signals.appetite import RESTING_MG, WINTER_MG, eaten_kg
from hivewatch.signals.bare import before_each, stepped_kg
from hivewatch.signals.carried import unless_same
from hivewatch.signals.days import HOUR_S, READ, Days, days_of
from hivewatch.signals.departures import departures_of
from hivewatch.signals.steps import Step
from hivewatch.signals.window import Floats, HiveWindow

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/detect/test_stores.py.
MOVED_SHARE, MOVED_MOST_KG = 0.01, 2.0  # share, [kg] own choice: of boxes put on or taken off
SEEN_LONG_DAYS = tare.SEEN_LONG_DAYS  # [d] so long a visit tells of the stores
BOX_KG = (4.8, 11.0)  # [kg] own choice: a super with its frames and combs
NEAR_S = 3 * 3600  # [s] own choice: people write down about when they came
FED_MOST_KG = 7.5  # [kg] own choice: more at once is feed and a box
FEED_KG = 5.0  # [kg] own choice: with less, one feeds rather than gives room
NO_HIVE_KG = -3.0  # [kg] own choice: less is no hive on its scale
ALL_SHARE = 0.9  # own choice: of what was put on; who takes as much takes all of it
EMPTY_BOX_KG = 6.0  # [kg] own choice: of a box that is taken off where several are on
FOOD_MONTHS = (8, 9, 10, 11, 12, 1, 2, 3)  # common practice, no source: fed then, not supered;
# half a year later in the south
NEED_SHARE = 0.65  # of the published need in summer; scales show less, tests/published
LARVAE_SHARE = 2 / 3  # of eggs and open brood: common practice, no source, 6 days of 9
BEE_LIVES_D = 35.0  # [d] common practice, no source: about five weeks in summer
SCALE_SHARE = 0.6  # own choice: of what the scale tells; the rest is the need of such a colony
NIGHT_SHARE = 0.7  # own choice: of a night's loss; the rest is water of the day's nectar
NIGHTS, LOSS_DAYS = 7, 10  # [d] own choice: nights, and days, that tell the present rate
COLD_DAYS, COLD_NIGHTS = 28, 10  # [d] own choice: the same of a cluster; the least of them known
BREEDS_CELLS = 2000.0  # own choice: with fewer cells it is a cluster
COLD_KG = 0.033  # [kg/d] popular: the less of two scale hives in winter
DOUBT = 3.0  # own choice: a scale that shows so many times the need weighs water
LEAST_KG = 0.02  # [kg/d] own choice: nobody lives on less
DRY_DAYS = 3  # [d] own choice: a lid is dry once in so many dawns
FLIGHT_H = 1.0  # [h/d] own choice: less is winter
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
        What boxes put on and taken off since somebody judged the stores may hide of them. [kg]
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
    days, left_s = _weighed(days_of(window)), departures_of(window)
    seen = [one for one in sorted(inspections, key=lambda one: one.at_s) if one.at_s > 0]
    figures = [getattr(days, name).tobytes() for name in OF_DAYS]
    given = window.hive, window.yard, days.day, days.steps, figures, left_s, seen
    return unless_same(window, "larder", given, lambda: _work_out(window, days, seen))


def _weighed(days: Days) -> Days:
    """Give the days with the figures that a larder goes by, and nothing of a day under way."""
    unknown = np.full(len(days), np.nan)
    figures: dict[str, Any] = {name: unknown for name in READ if name not in OF_DAYS}
    figures["flying_h"] = np.append(days.flying_h[:-1], unknown[-1:])
    return replace(days, **figures)


def _work_out(window: HiveWindow, days: Days, seen: Sequence[Inspection]) -> Larder:
    """Put together what the hive weighs, and what of it is no honey."""
    dry_kg, is_cold = _dry(days)
    gross_kg = dry_kg + stepped_kg(days, days.dawn_s) + tare.swarmed_kg(window, days, days.dawn_s)
    colony = tare.colony_of(window, days, is_cold, seen)
    moved_kg = _moved_kg(days)
    none = np.zeros(len(days))
    rest_kg = tare.rest_of(window, days, colony, is_cold, gross_kg, none, ())
    net_kg = gross_kg - _boxes(window, days, gross_kg - rest_kg, seen)
    rest_kg = tare.rest_of(window, days, colony, is_cold, net_kg, moved_kg, seen)
    bare_kg = days.dawn_kg - stepped_kg(days, days.dawn_s)
    loss_kg = _usual_loss(bare_kg, LOSS_DAYS, 3)
    stores_kg = net_kg - rest_kg
    stores_kg[np.isnan(days.dawn_kg) | (stores_kg < NO_HIVE_KG)] = np.nan
    error_kg = np.minimum(moved_kg - _at_last_visit(window, days, moved_kg, seen), MOVED_MOST_KG)
    rate_kg = _rate(days, bare_kg, loss_kg, colony, is_cold)
    return Larder(stores_kg, rate_kg, loss_kg, error_kg)


def _need_kg(colony: tare.Colony, active: Floats) -> Floats:
    """Give what such a colony needs a day, `active` from 0, as in winter, to 1 [kg]."""
    bee_mg = WINTER_MG + (NEED_SHARE * RESTING_MG - WINTER_MG) * active
    larvae, cells = LARVAE_SHARE * colony.young, colony.young + colony.capped
    return eaten_kg(colony.bees, NEED_SHARE * larvae, NEED_SHARE * cells, bee_mg)


def _dry(days: Days) -> tuple[Floats, Flags]:
    """Give the weight at dawn without steps and without what lies on the lid; and when it is cold.

    Rain dries off within days. Snow may lie for weeks, but without flight nothing comes in, so
    that what was weighed before, less what a winter cluster eats, is the most there can be.
    """
    bare_kg = days.dawn_kg - stepped_kg(days, days.dawn_s)
    flown = before_each(np.nan_to_num(days.flying_h, nan=FLIGHT_H), 7, 1, 0.7)
    is_cold = np.nan_to_num(flown, nan=FLIGHT_H) < FLIGHT_H
    back = np.arange(COLD_DAYS)
    table = _back(bare_kg, COLD_DAYS) - COLD_KG * back[::-1]
    lately = _back(bare_kg, DRY_DAYS)
    return np.where(is_cold, _least(table), _least(lately)), is_cold


def _back(figures: Floats, days: int) -> Floats:
    """Give each day's last figures, its own the last one; shape (n, days)."""
    padded = np.concatenate((np.full(days - 1, np.nan), figures))
    return np.lib.stride_tricks.sliding_window_view(padded, days)


def _least(table: Floats) -> Floats:
    """Give the least known figure of each row."""
    return np.asarray(np.fmin.reduce(table, axis=1), np.float64)


def _rate(
    days: Days, bare_kg: Floats, loss_kg: Floats, colony: tare.Colony, is_cold: Flags
) -> Floats:
    """Give what is taken of the stores a day: between what the scale tells and the need [kg].

    The nights tell what is eaten; so does a loss by the day, less the bees that died in the field.
    Where nothing comes in, all that goes does.
    """
    flown_h = before_each(np.nan_to_num(days.flying_h, nan=COOL_H), LOSS_DAYS, 1, 0.7)
    active = np.clip(flown_h / COOL_H, 0.0, 1.0)
    need_kg = _need_kg(colony, np.where(is_cold, 0.0, active))
    died_kg = tare.BEE_KG * colony.bees / BEE_LIVES_D * active
    night_h = np.append((days.dawn_s[1:] - days.dusk_s[:-1]) / HOUR_S, np.nan)
    nights_kg = NIGHT_SHARE * 24 * before_each(days.night_kg / night_h, NIGHTS, 3)
    warm = np.fmax(nights_kg, loss_kg - died_kg)
    cool = _usual_loss(bare_kg, COOL_DAYS, 7) - died_kg  # little comes in
    warm = np.where((flown_h < COOL_H) & ~np.isnan(cool), cool, warm)
    breeds = colony.young + colony.capped > BREEDS_CELLS
    cold = np.where(breeds, cool, _usual_loss(bare_kg, COLD_DAYS, COLD_NIGHTS))
    told_kg = np.where(is_cold, np.where(np.isnan(cold), need_kg, cold), warm)
    told_kg = np.clip(told_kg, need_kg / DOUBT, need_kg * DOUBT)
    rate_kg = np.fmax(told_kg**SCALE_SHARE * need_kg ** (1 - SCALE_SHARE), LEAST_KG)
    return np.where(is_cold | ~np.isnan(nights_kg), rate_kg, np.nan)


def _usual_loss(bare_kg: Floats, days: int, least: int) -> Floats:
    """Give the middle of the last days' losses: neither thaw nor what dries after a flow counts."""
    lost_kg = np.append(-np.diff(bare_kg), np.nan)  # from that dawn to the next
    return before_each(lost_kg, days, least)


def _boxes(window: HiveWindow, days: Days, rough_kg: Floats, seen: Sequence[Inspection]) -> Floats:
    """Give the weight of the boxes that have been put on since the first reading, by day [kg].

    `rough_kg` are the stores as if no box had been put on. What nobody wrote down is feed where
    there was little left, and else a box when it weighs as one.
    """
    times, total = [], []
    on_kg, is_south = 0.0, window.yard.latitude < 0
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
            on_kg += 0.0 if _is_fed_then(step, is_south=is_south) else _box_kg(step, left_kg)
        on_kg = max(on_kg, 0.0)
        times.append(step.after_s)
        total.append(on_kg)
    at = np.searchsorted(np.array(times, np.int64), days.dawn_s, side="right")
    return np.array([0.0, *total])[at]


def _box_kg(step: Step, left_kg: float) -> float:
    """Give what of a step that nobody wrote down is a box: with little left, the rest is feed."""
    if left_kg < FEED_KG:
        return EMPTY_BOX_KG if step.size_kg > FED_MOST_KG else 0.0
    return step.size_kg


def _moved_kg(days: Days) -> Floats:
    """Give the error that boxes put on and taken off up to each day leave [kg]."""
    moved = [abs(step.size_kg) * (abs(step.size_kg) >= BOX_KG[0]) for step in days.steps]
    after_s = np.array([step.after_s for step in days.steps], np.int64)
    total = MOVED_SHARE * np.append(0.0, np.cumsum(moved))
    return np.asarray(total[np.searchsorted(after_s, days.dawn_s, side="right")], np.float64)


def _at_last_visit(
    window: HiveWindow, days: Days, figures: Floats, seen: Sequence[Inspection]
) -> Floats:
    """Give the figure of the dawn before the last visit that judged the stores; 0 before any."""
    frame = FRAMES.get(window.hive.frame or "")
    told = [one.at_s for one in seen if frame and judged_kg(one, frame) is not None]
    before = np.searchsorted(days.dawn_s, np.array(told, np.int64))
    known = np.append(0.0, np.append(0.0, figures)[before])
    return np.asarray(known[np.searchsorted(np.array(told, np.int64), days.dawn_s, side="right")])


def _done(step: Step, seen: Sequence[Inspection], seen_s: Sequence[int]) -> list[Action]:
    """Give what was done at a step, as somebody wrote it down; `seen` is by time."""
    low, high = bisect_left(seen_s, step.before_s - NEAR_S), bisect(seen_s, step.after_s + NEAR_S)
    return [action for one in seen[low:high] for action in one.actions]


def _is_fed_then(step: Step, *, is_south: bool) -> bool:
    """Say whether a step fell into the months in which bees are fed rather than given room."""
    month = int(np.datetime64(step.after_s, "s").astype("datetime64[M]").astype(np.int64)) % 12
    return (month + 6 * is_south) % 12 + 1 in FOOD_MONTHS
