"""Does a scale drift: `scale_drift`, where it says what no colony can do.

It weighs less than the empty hive although bees live in it, or it follows the warmth of the air by
far more than a load cell may. A slow drift beside a living colony's own gain and loss is not seen:
half a kilogram a week is 70 g a day, and what the colonies of one yard lose at night, and damp wood
takes up in autumn, differs by more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.detect.sent import sender_of
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import DAY_S, worked
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.window import Floats, HiveWindow, Series, first_beyond

# Own choices where no source is named; tests/unit/detect/test_drift.py.
SNOW_KG = 1.0  # [kg] in one night is snow, whatever the warmth
BELOW_KG = 1.0  # [kg] below the empty hive
BELOW_DAYS = 3
ALIVE_CEL, ALIVE_BEES = 30.0, 1000.0  # [Cel] of the nest, [bees] a day
CELL_KG_PER_K = 0.0028  # [kg/K] published: OIML R 60, 14 g per 5 Cel for 200 kg and 3,000 steps
FOLLOWS = 20.0  # times that, so that no bees' own habits reach it
IDLE_H = 2.0  # [h] of flying weather
FOLLOW_NIGHTS = 21
APART_K = 2.0  # [K] nights that differ by less say nothing
DRY_MM = 0.2  # [mm]

Spell = tuple[int, int, dict[str, float], str]


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say whether the scale drifts.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`.

    Returns
    -------
    list[Finding]
        Of kind `scale_drift`, one at most; the subject is the device that sent it.

    References
    ----------
    OIML R 60-1 (2021), 5.6.1.3: zero may move by 0.7 v_min per 5 Cel; for E_max 200 kg and
    Y = 10,000 that is 14 g.
    """
    return drifts_of(window)


def drifts_of(window: HiveWindow) -> list[Finding]:
    """Give the drift of a hive's scale, if it drifts; found once a window."""
    return worked(window, "drifts", lambda here, kept: kept or _drifts(here, days_of(here)))


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the air of the days before, and the drift."""
    n = int(np.searchsorted(days_of(window).start_s, until_s))
    air = {name: of_day[:n].copy() for name, of_day in worked(window, "air", _air).items()}
    return {"air": air, "drifts": [one for one in drifts_of(window) if one.detected_s < until_s]}


def _drifts(window: HiveWindow, days: Days) -> list[Finding]:
    """Give the first thing that a scale says and no colony can do; it lasts until it is over."""
    weight = window.of("weight")
    if not window.has("weight"):
        return []
    first = max(int(np.searchsorted(days.start_s, window.carried.until_s)) - 1, 0)
    spells = [*_too_light(window, days, first), *_following(window, days, first)]
    if not spells:
        return []
    since, told, measures, words = min(spells, key=lambda one: one[1])
    told_s = int(days.dawn_s[told])
    found = Finding(
        kind="scale_drift",
        subject=f"device:{sender_of(window, weight, told_s - DAY_S, told_s)}",
        start_s=int(days.dawn_s[since]),
        end_s=None,
        detected_s=told_s,
        confidence=0.7,
        measures=measures,
        evidence=(words,),
    )
    return [found]  # once told, it is for somebody to look at the scale


def _too_light(window: HiveWindow, days: Days, first: int) -> Iterator[Spell]:
    """Find days on which a living hive weighs less than its empty boxes."""
    empty_kg = window.hive.empty_kg
    if empty_kg is None:
        return
    alive = (days.nest_cel >= ALIVE_CEL) | (days.bees_out >= ALIVE_BEES)
    light = (days.dawn_kg < empty_kg - BELOW_KG) & (days.dawn_kg > empty_kg / 2)
    is_wrong = light[1:] & alive[:-1]  # alive on the day before that dawn
    for i in range(max(BELOW_DAYS, first) - 1, len(is_wrong)):
        if is_wrong[i - BELOW_DAYS + 1 : i + 1].all():
            below = float(empty_kg - days.dawn_kg[i + 1])
            words = f"a living hive weighs {below:.1f} kg less than its empty boxes"
            yield i - BELOW_DAYS + 2, i + 1, {"kg_below_empty": round(below, 1)}, words
            return


def _following(window: HiveWindow, days: Days, first: int) -> Iterator[Spell]:
    """Find a scale that follows the air: on dry nights after days without flight.

    What was fetched by day dries by night, and dries more the warmer it is: no fault of the scale.
    """
    if not window.has("ambient"):
        return
    air = worked(window, "air", _air)
    cooled = np.append(air["dawn"][1:], np.nan) - air["dusk"]
    spoilt = (np.nan_to_num(days.rain_mm) > DRY_MM) | (days.flying_h > IDLE_H)
    rose = np.where(spoilt | (np.abs(days.night_kg) > SNOW_KG), np.nan, -days.night_kg)
    known = np.flatnonzero(~np.isnan(cooled + rose))
    passed = max(0, int(np.searchsorted(known, first)) - FOLLOW_NIGHTS) // 3 * 3
    for k in range(FOLLOW_NIGHTS + passed, len(known) + 1, 3):
        nights = known[k - FOLLOW_NIGHTS : k]
        slopes = _slopes(cooled[nights], rose[nights])
        if len(slopes) < 2 * FOLLOW_NIGHTS or int(nights[-1]) + 1 >= len(days):
            continue
        low, middle, high = np.quantile(slopes, [0.1, 0.5, 0.9])
        if abs(middle) > FOLLOWS * CELL_KG_PER_K and low * high > 0:
            words = f"the weight follows the air by {1000 * middle:.0f} g a degree at night"
            measures = {"g_per_k": round(float(1000 * middle), 0)}
            yield int(nights[0]), int(nights[-1]) + 1, measures, words
            return


def _air(window: HiveWindow, kept: dict[str, Floats] | None) -> dict[str, Floats]:
    """Give the warmth of the air at dawn and dusk of each day. [Cel]."""
    days, air = days_of(window), window.of("ambient")
    first = 0 if kept is None else len(kept["dawn"])
    since = {"dawn": _at(air, days.dawn_s[first:]), "dusk": _at(air, days.dusk_s[first:])}
    return {name: np.append(kept[name], one) if kept else one for name, one in since.items()}


def _at(series: Series, moments_s: Floats) -> Floats:
    """Give the reading next before each moment, within an hour; NaN where there is none."""
    at = first_beyond(series.time_s, moments_s) - 1
    if not len(series):
        return np.full(len(moments_s), np.nan)
    near = (at >= 0) & (moments_s - series.time_s[at] < 3600)  # noqa: PLR2004 - an hour
    return np.where(near, series.value[at], np.nan)


def _slopes(x: Floats, y: Floats) -> Floats:
    """Give the slopes between all pairs that lie well apart (Theil-Sen takes their median)."""
    i, j = np.triu_indices(len(x), 1)
    apart = np.abs(x[j] - x[i]) > APART_K
    return np.asarray((y[j] - y[i])[apart] / (x[j] - x[i])[apart], np.float64)
