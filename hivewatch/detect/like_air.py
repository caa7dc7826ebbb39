"""Does a nest follow the air outside as an empty box does: its level by night, its swing, its lag.

A wall, combs and honey keep a box behind the air: an empty hull by minutes, a full one by hours. So
the nest is held against the air as it was felt behind walls of several kinds, and one that fits is
enough. What a box is over the air goes with the heat that is made in it: of a nest that was far
warmer a week before, a tenth may be left.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.unaired import LIVED_DAYS
from hivewatch.signals.window import Floats, Ints

SPAN_H = 36  # [h] own choice: a night and parts of one more; told within three days
KNOWN_H = 24  # [h] own choice: hours of it that are alike
ALIKE_K = 2.0  # [K] own choice: an hour of the nest that is the air's
SUNNY_K = 2.0  # [K] own choice: the nest's mean over the air's, sun on the lid included
NIGHT_K = 0.9  # [K] own choice: the same for the cooler half of the hours, when no sun shines
FOLLOWS = 0.6  # own choice: the nest's swing as share of the air's; a living nest has under a half
FLAT_K = 3.0  # [K] own choice: air that moves less shows no swing
LIVED_K = 2.5  # [K] own choice: bees were there when the nest was so much warmer than the air
LEFT, LEFT_MOST_K = 0.12, 1.6  # own choice: share of the usual warmth over the air that bees hardly
# come down to; [K] and no more, by which two probes may differ
USUAL_DAYS = (9, 3)  # [d] own choice: from when to when before, the last ones are in doubt
BEHIND_H = (0.0, 2.5, 6.0)  # [h] own choice: some 30 kJ/K of combs and wood behind 3 W/K of walls
# are 3 h, 15 kg of honey (some 2.4 kJ/kg/K, from memory) add as many again
KERNEL_H = 24  # [h] the air before is felt no longer


def hours_like_air(nest_cel: Floats, air_cel: Floats) -> NDArray[np.bool_]:
    """Say at which hours the span before was an empty box's, after one with bees in it.

    Parameters
    ----------
    nest_cel, air_cel : Floats
        Hourly means from the first reading on, shape (n,), NaN where not known. [Cel]

    Returns
    -------
    bool array
        Shape (n,); True where the last `SPAN_H` hours follow the air.
    """
    found = np.zeros(len(nest_cel), np.bool_)
    over_k = nest_cel - air_cel
    by_day = _day_means(over_k)
    mean, known = _rolling(over_k)
    lived = np.concatenate([[0], np.cumsum(by_day >= LIVED_K)[:-1]]) >= LIVED_DAYS
    may = (known >= KNOWN_H) & np.repeat(lived, 24)[: len(over_k)] & ~np.isnan(over_k)
    hours = np.flatnonzero(may & (np.abs(mean) <= SUNNY_K) & (np.arange(len(may)) >= SPAN_H))
    if not len(hours):
        return found
    days, day_of = np.unique(hours // 24, return_inverse=True)
    left_k = np.array([_left_k(by_day, day) for day in days.tolist()])[day_of]
    there = ~np.isnan(air_cel)
    felt = np.interp(np.arange(len(air_cel)), np.flatnonzero(there), air_cel[there])
    nest = _spans(nest_cel, hours)
    for behind_h in BEHIND_H:
        most_k = NIGHT_K if behind_h else SUNNY_K  # what is slow to feel the night feels no noon
        air = _spans(_behind(felt, behind_h), hours)
        found[hours] |= _is_box(nest, air, left_k, most_k)
    return found


def _is_box(nest: Floats, air: Floats, left_k: Floats, most_k: float) -> NDArray[np.bool_]:
    """Say of spans, one a row, whether the nest is the air's: most hours, level, night, swing."""
    off = nest - air
    known = ~np.isnan(off)
    off0 = np.where(known, off, 0.0)
    alike = known & (np.abs(off0) < np.maximum(ALIKE_K, 1.5 * left_k)[:, None])
    cool = known & (air <= air.mean(axis=1)[:, None])
    mean = off0.sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    night = np.where(cool, off0, 0.0).sum(axis=1) / np.maximum(cool.sum(axis=1), 1)
    swing = np.ptp(air, axis=1)
    high = np.where(known, nest, -np.inf).max(axis=1)
    moves = high - np.where(known, nest, np.inf).min(axis=1)
    return np.asarray(
        (alike.sum(axis=1) >= KNOWN_H)
        & (np.abs(mean) <= np.maximum(most_k, left_k))
        & (night <= np.maximum(NIGHT_K, left_k))
        & ((swing < FLAT_K) | (moves >= FOLLOWS * swing))
    )


def _behind(air_cel: Floats, hours: float) -> Floats:
    """Give the air as it is felt behind a wall: a first-order lag."""
    if not hours:
        return air_cel
    weight = np.exp(-np.arange(KERNEL_H) / hours)
    padded = np.concatenate([np.full(KERNEL_H - 1, air_cel[0]), air_cel])
    return np.convolve(padded, weight / weight.sum(), "valid")


def _spans(values: Floats, hours: Ints) -> Floats:
    """Give the span up to each of some hours, shape (hours, SPAN_H)."""
    return np.lib.stride_tricks.sliding_window_view(values, SPAN_H)[hours - SPAN_H + 1]


def _rolling(values: Floats) -> tuple[Floats, Ints]:
    """Give the mean of what is known of the span up to each hour, and how much is known."""
    known = ~np.isnan(values)
    total, count = (
        np.concatenate([np.zeros(SPAN_H, one.dtype), np.cumsum(one)])
        for one in (np.where(known, values, 0.0), known.astype(np.int64))
    )
    count = count[SPAN_H:] - count[: len(values)]
    return (total[SPAN_H:] - total[: len(values)]) / np.maximum(count, 1), count


def _left_k(by_day: Floats, day: int) -> float:
    """Give what may be left on a day of the nest's warmth over the air where nobody lives."""
    first, last = USUAL_DAYS
    usual = by_day[max(0, day - first) : max(0, day - last + 1)]
    usual = usual[~np.isnan(usual)]
    if len(usual) < LIVED_DAYS:
        return 0.0
    return min(LEFT_MOST_K, max(0.0, LEFT * float(np.median(usual))))


def _day_means(over_k: Floats) -> Floats:
    """Give the mean of every 24 hours; NaN without readings, and the last part counts."""
    padded = np.concatenate([over_k, np.full(-len(over_k) % 24, np.nan)]).reshape(-1, 24)
    count = (~np.isnan(padded)).sum(axis=1)
    means = np.full(len(padded), np.nan)
    np.divide(np.nansum(padded, axis=1), count, out=means, where=count > 0)
    return means
