"""Where the brood nest fell from its own warmth within days: what a queen's loss is to a probe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.queen_counts import Sign
from hivewatch.signals.carried import DAY_S
from hivewatch.signals.levels import middle_before
from hivewatch.signals.nest_bound import (
    FULL_CEL,
    brood_nest_cel,
    is_autumn,
    light_hours,
    probe_share,
)
from hivewatch.signals.warmth import Warmth, warmth_of
from hivewatch.signals.window import Floats, HiveWindow

FALL_K = 2.0  # [K] own choice: so far below its own weeks before ...
LOW_DAYS, AT_ONCE_DAYS = 2, 3  # [d] own choice: ... on so many days, by whether a day before ...
GRADUAL_K = 0.7  # [K] own choice: ... was on the way; or, where a lid off chilled the nest ...
CHILL_K, CHILL_DAYS = 4.5, 8  # [K], [d] own choice: ... by so much at once, on so many
CUT_K = 2.5  # [K] own choice: a first low day that spreads so far was cut short by a lid off
OFF_CENTRE_K = 1.5  # [K] own choice: more for a probe off the centre
USUAL_FROM, USUAL_TO, USUAL_LEAST = 21, 6, 5  # [d] own choice: the days before that are usual
BROOD_CEL = 33.3  # [Cel] published range of brood from 33 Cel: a nest that is usually so has some
BACK_K = 1.0  # [K] own choice: two days within this of the usual, and there is brood again
SHORT_DAY_H = 11.5  # [h] own choice: no colony must have brood yet
SURE, LATE_SURE = 0.85, 0.7  # confidence
FAILS_AFTER_D = 18  # [d] published: capped brood comes out 9 to 21 days after the last egg
LATE_DAY_H = 13.5  # [h] own choice: shorter, and shortening, and brood may go of itself (Montreal)
# Then it goes by a kelvin a week, or is back in three days (Montreal); brood that nobody replaces
# comes out within days. Own choices: so far below the week before, on so many days.
LATE_FALL_K, LATE_DAYS = 3.5, 4  # [K], [d]
LATE_FROM, LATE_TO, LATE_LEAST = 11, 5, 3  # [d] the days before, and of them known


@dataclass(frozen=True, slots=True)
class Fall:
    """Brood-nest warmth that went, as a sign, and when it was back. [s]."""

    sign: Sign
    back_s: int | None


def falls_of(window: HiveWindow) -> list[Fall]:
    """Find where the nest fell from its own usual warmth within days, in the season of brood."""
    warmth, nest_cel = warmth_of(window), brood_nest_cel(window)
    is_late = is_autumn(window, LATE_DAY_H)
    normals = _usual_cel(window, is_late)
    is_low = _is_low(window, normals, is_late)
    days = np.flatnonzero(~np.isnan(nest_cel))
    first = int(days.searchsorted(np.argmax(is_low))) if is_low.any() else len(days)
    falls: list[Fall] = []
    low: list[int] = []
    known: list[int] = days[:first].tolist()[-1:]
    asked = LOW_DAYS
    usual: float | None = None  # of the fall that lasts
    for day in days[first:].tolist():
        if usual is not None:
            if known and min(nest_cel[known[-1]], nest_cel[day]) >= usual - BACK_K:
                back_s = int(warmth.told_s[day])
                falls[-1] = replace(falls[-1], back_s=back_s)
                usual, low = None, []
            known.append(day)
            continue
        normal = None if np.isnan(normals[day]) else float(normals[day])
        low = [*low, day] if is_low[day] else []
        if len(low) == 1 and normal is not None:
            asked = _days_asked(nest_cel, [*known[-1:], day], normal)
            asked = max(asked, LATE_DAYS) if is_late[day] else asked
        elif len(low) == LOW_DAYS and asked == AT_ONCE_DAYS:
            goes_on = nest_cel[low[0]] - nest_cel[day] >= GRADUAL_K  # a chill is deepest at first
            asked = LOW_DAYS if goes_on and warmth.spread_k[low[0]] < CUT_K else asked
        if len(low) >= asked and normal is not None:
            sure = LATE_SURE if is_late[low[0]] else SURE
            falls.append(Fall(_fallen(warmth, nest_cel, low, normal, sure), None))
            usual = normal
        known.append(day)
    return falls


def _usual_cel(window: HiveWindow, is_late: NDArray[np.bool_]) -> Floats:
    """Give what the brood nest was in the days before, as the probe now shows it.

    What a probe off the centre shows is reckoned to the centre, where no nest is above `FULL_CEL`;
    once the nest has grown to the probe, only what it showed by itself is its usual.
    """
    level_cel, is_off = warmth_of(window).level_cel, probe_share(window) < 1
    usual = middle_before(level_cel, USUAL_FROM, USUAL_TO, USUAL_LEAST)
    if is_off.any():
        reckoned = middle_before(brood_nest_cel(window), USUAL_FROM, USUAL_TO, USUAL_LEAST)
        usual[is_off] = np.minimum(reckoned, FULL_CEL)[is_off]
    if is_late.any():
        usual[is_late] = middle_before(level_cel, LATE_FROM, LATE_TO, LATE_LEAST)[is_late]
    return usual


def _is_low(window: HiveWindow, usual_cel: Floats, is_late: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Say on which days of the season the nest is so far below the usual that the brood goes."""
    is_off = probe_share(window) < 1
    asked_k = np.where(is_off, FALL_K + OFF_CENTRE_K, FALL_K)
    asked_k[is_late] = np.where(is_off, np.inf, LATE_FALL_K)[is_late]  # a nest shrinks off a probe
    in_season = light_hours(window) >= SHORT_DAY_H
    with np.errstate(invalid="ignore"):
        is_low = (usual_cel >= BROOD_CEL) & (usual_cel - brood_nest_cel(window) >= asked_k)
    return np.asarray(in_season & is_low)


def _days_asked(nest_cel: Floats, days: Sequence[int], usual: float) -> int:
    """Say how many days a nest must stay low, by how it came to the first of them."""
    if len(days) > 1 and usual - nest_cel[days[0]] >= GRADUAL_K:
        return LOW_DAYS
    return CHILL_DAYS if usual - nest_cel[days[-1]] >= CHILL_K else AT_ONCE_DAYS


def _fallen(
    warmth: Warmth, nest_cel: Floats, low: Sequence[int], usual: float, sure: float
) -> Sign:
    """Put a fall into a sign."""
    at_s, told_s = int(warmth.start_s[low[0]]), int(warmth.told_s[low[-1]])
    words = f"the brood nest fell from {usual:.1f} to {nest_cel[low[-1]]:.1f} Cel within days"
    return Sign("stopped", at_s, told_s, at_s - FAILS_AFTER_D * DAY_S, words, sure)
