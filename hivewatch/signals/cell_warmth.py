"""How far a scale follows the warmth of the air, from the hive's own quiet nights.

A load cell that warms or cools says another weight though nothing moved. At night nobody flies, and
the weight falls by what the bees eat and what dries of the day's nectar, in the second half of a
night nearly as in its first. What it does besides, as the air cools more or less in the second half
than it did in the first, is the cell's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from hivewatch.signals.bare import bare_dawns_kg, stepped_of
from hivewatch.signals.carried import unless_same, worked
from hivewatch.signals.days import AFTER_SET_S, BEFORE_RISE_S, days_of
from hivewatch.signals.levels import known_or, middle_of
from hivewatch.signals.window import Floats, HiveWindow, Ints, Series, first_from

# Own choices where no source is named; tests/unit/signals/test_cell_warmth.py.
CELL_KG_PER_K = 0.0028  # [kg/K] published: OIML R 60, 14 g per 5 Cel for 200 kg and 3,000 steps
BEES_KG_PER_K = 0.015  # [kg/K] so much may be the bees' own, who eat more where it cools more
NIGHTS, EVERY = 30, 5  # dry nights that tell, looked at so often
GOES_ON = 0.8  # of the first half's loss
AROUND_S = 1800  # [s] so long about a moment
# [s] so long before the end of the span in which the weight is read lies its middle
DAWN_S, DUSK_S = ((span[0] - span[1]) / 2 for span in (BEFORE_RISE_S, AFTER_SET_S[::-1]))
MOST_KG = 1.0  # [kg] in half a night is snow, or a hand
DRY_MM = 0.2  # [mm]
APART_K = 1.0  # [K] nights that differ by less say nothing


class Follows(NamedTuple):
    """What some nights say: the scale rises by `kg_per_k` with each degree. [kg/K].

    `nights` are the first and the last of them, as places among the days.
    """

    nights: tuple[int, int]
    kg_per_k: float


def follows_of(window: HiveWindow) -> list[Follows]:
    """Give what each thirty dry nights say, where they say anything.

    Parameters
    ----------
    window : HiveWindow
        The hive; needs `weight` and `ambient`.

    Returns
    -------
    list[Follows]
        By time, of the days that are not known yet, and of some before; a night counts once its
        dawn is there.

    References
    ----------
    [1] P. K. Sen, J. Am. Stat. Assoc. 63, 1379 (1968): the middle of the slopes between all pairs.
    [2] OIML R 60-1 (2021), 5.6.1.3: zero may move by 0.7 v_min per 5 Cel.
    """
    if not (window.has("ambient") and window.has("weight")):
        return []
    rose_kg, warmed_k = nights_of(window)
    known = np.flatnonzero(~np.isnan(rose_kg + warmed_k))
    over = int(np.searchsorted(days_of(window).start_s, window.carried.until_s)) - 1
    passed = max(0, int(known.searchsorted(over)) - NIGHTS) // EVERY * EVERY
    nights = known[passed:]
    rose_kg, warmed_k = rose_kg[nights], warmed_k[nights]
    given = nights.tobytes(), rose_kg.tobytes(), warmed_k.tobytes()
    return unless_same(window, "follows", given, lambda: _follows(nights, rose_kg, warmed_k))


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: what is known of the days before."""
    n = int(np.searchsorted(days_of(window).start_s, until_s))
    parts = {"air": air_of(window), "by warmth": by_warmth(window)}
    kept = {name: {one: of[:n].copy() for one, of in part.items()} for name, part in parts.items()}
    return kept | {"nights": nights_of(window)[:, :n].copy()}


def air_of(window: HiveWindow) -> dict[str, Floats]:
    """Give the air of each day when its weight at `dawn` and at `dusk` is read. [Cel]."""
    return worked(window, "air", _air)


def by_warmth(window: HiveWindow) -> dict[str, Floats]:
    """Give what of a scale's figures is its cell's, and neither bees nor honey.

    Parameters
    ----------
    window : HiveWindow
        The hive.

    Returns
    -------
    dict[str, Floats]
        By day: `dawn`, to be taken off the weight at dawn: what the cell did from dawn to dawn,
        added up, so that a slope that is known better lets no weight jump; and `night`, off the
        loss of the night after. Each goes by what was known at its own end; nothing is taken off
        where nothing is known, or no more than bees may do themselves. [kg]
    """
    return worked(window, "by warmth", _by_warmth)


def _by_warmth(window: HiveWindow, kept: dict[str, Floats] | None) -> dict[str, Floats]:
    """Go on with the days that are not known yet."""
    air = air_of(window)
    n, first = len(air["dawn"]), 0 if kept is None else len(kept["dawn"])
    per_k = np.zeros(n + 1)
    for one in follows_of(window):
        is_cell = abs(one.kg_per_k) > BEES_KG_PER_K
        per_k[one.nights[1] + 1 :] = one.kg_per_k if is_cell else 0.0
    warmed = np.append(air["dawn"][1:], np.nan) - air["dusk"]
    last = np.maximum.accumulate(np.where(np.isnan(air["dawn"]), 0, np.arange(n)))
    since = {
        "dawn": known_or(per_k[:n] * np.diff(air["dawn"][last], prepend=np.nan))[first:],
        "night": np.where(per_k[1:] == 0, 0.0, -per_k[1:] * warmed)[first:],
    }
    if kept is None:
        return since | {"dawn": np.cumsum(since["dawn"])}
    since["dawn"] = kept["dawn"][-1] + np.cumsum(since["dawn"])
    return {name: np.append(kept[name], one) for name, one in since.items()}


def _follows(nights: Ints, rose_kg: Floats, warmed_k: Floats) -> list[Follows]:
    """Go through dry nights, thirty at a time."""
    found = []
    for last in range(NIGHTS, len(nights) + 1, EVERY):
        some = slice(last - NIGHTS, last)
        slopes = _slopes(warmed_k[some], rose_kg[some])
        if len(slopes) >= NIGHTS:
            span = int(nights[some][0]), int(nights[some][-1])
            found.append(Follows(span, float(np.median(slopes))))
    return found


def _slopes(x: Floats, y: Floats) -> Floats:
    """Give the slopes between all pairs that lie well apart (Theil-Sen takes their median)."""
    i, j = np.triu_indices(len(x), 1)
    apart = np.abs(x[j] - x[i]) > APART_K
    return np.asarray((y[j] - y[i])[apart] / (x[j] - x[i])[apart], np.float64)


def nights_of(window: HiveWindow) -> Floats:
    """Give by how much the weight rose, and the air warmed, more in a night's second half.

    Shape (2, n), the night after each day; more than `GOES_ON` times in its first half. NaN where
    it was wet, something heavy moved, or not all is known. [kg, K]
    """
    return worked(window, "nights", _nights)


def _nights(window: HiveWindow, kept: Floats | None) -> Floats:
    """Go on with the nights that are not known yet."""
    days, air = days_of(window), air_of(window)
    first = 0 if kept is None else kept.shape[1]
    dusk_s, dawn_s = days.dusk_s[first:], np.append(days.dawn_s[first + 1 :], np.nan)
    middle_s = known_or((dusk_s - DUSK_S + dawn_s - DAWN_S) / 2)
    steps = stepped_of(window)
    middle_kg = _around(window.of("weight"), middle_s) - steps.so_far_kg(middle_s)
    middle_cel = _around(window.of("ambient"), middle_s)
    dusk_kg = days.dusk_kg[first:] - steps.so_far_kg(dusk_s)
    dawn_kg = np.append(bare_dawns_kg(window)[first + 1 :], np.nan)
    dawn_cel = np.append(air["dawn"][first + 1 :], np.nan)
    late_kg, early_kg = dawn_kg - middle_kg, middle_kg - dusk_kg
    late_k, early_k = dawn_cel - middle_cel, middle_cel - air["dusk"][first:]
    since = np.array([late_kg - GOES_ON * early_kg, late_k - GOES_ON * early_k])
    wet_mm = known_or(days.rain_mm[first:])
    wet_mm += known_or(np.append(days.rain_mm[first + 1 :], np.nan))
    spoilt = (wet_mm > DRY_MM) | (np.fmax(abs(late_kg), abs(early_kg)) > MOST_KG)
    since[:, spoilt] = np.nan
    return since if kept is None else np.concatenate([kept, since], axis=1)


def _around(series: Series, moments_s: Floats) -> Floats:
    """Give the median of the readings about each moment; NaN where there is none."""
    low = first_from(series.time_s, moments_s - AROUND_S)
    high = first_from(series.time_s, moments_s + AROUND_S)
    return np.array(
        [
            middle_of(series.value[one:other]) if other > one else np.nan
            for one, other in zip(low.tolist(), high.tolist(), strict=True)
        ],
        np.float64,
    )


def _air(window: HiveWindow, kept: dict[str, Floats] | None) -> dict[str, Floats]:
    """Read the air of the days that are not known yet."""
    days, air = days_of(window), window.of("ambient")
    first = 0 if kept is None else len(kept["dawn"])
    since = {
        "dawn": _around(air, days.dawn_s[first:] - DAWN_S),
        "dusk": _around(air, days.dusk_s[first:] - DUSK_S),
    }
    return {name: np.append(kept[name], one) if kept else one for name, one in since.items()}
