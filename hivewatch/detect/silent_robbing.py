"""Is a hive robbed without a fight: `robbing` that only its neighbours' gain shows.

Silent robbing takes some hundred grams a day for weeks, and the traffic is no heavier than usual.
By its own weight such a hive looks like any other in a dearth; but a day is the same for the whole
yard. So the yard is looked at: a hive that loses by day, while the others do not, that is
worse off than every one of them, and was not before, is being robbed. What goes in a day or two,
with a fight, is told by the hive's own weight.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.signals.bare import before_each
from hivewatch.signals.days import HOUR_S, Days
from hivewatch.signals.window import Floats

Flags = NDArray[np.bool_]

# All thresholds: own choice; tests/unit/detect/test_silent_robbing.py.
LEAST_OTHERS = 2  # other hives that tell how the day was
LAST_DAYS, LEAST_DAYS = 8, 6  # days looked at together, known ones among them: more than a spell
BEFORE_DAYS, LEAST_BEFORE = 16, 6  # days before those, which tell how it was with this hive
BEHIND_KG = 0.3  # [kg/d] behind the middle one of the others, and more than before by as much
WORST_KG = 0.15  # [kg/d] behind the poorest of the others
LOSES_KG = 0.05  # [kg] by day
FLOW_KG = 0.7  # [kg] by day of the others: in such a flow a weaker hive falls behind by itself
LOUD_KG = 1.2  # [kg] behind in one day is no silent robbing
IN_A_ROW = 2  # [d] that agree
OVER_KG, OVER_DAYS = 0.15, 4  # [kg/d], [d] no longer behind by more
UNKNOWN_DAYS = 10  # [d] and it is not known any longer
MOVED_KG, MOVED_DAYS = 0.5, 4  # [kg], [d] after a step, feed dries and boxes are licked out
STILL_KG = 0.05  # [kg] by day at most, for days: bees bring and eat more
FLYING_H, LIGHT_H = 4.0, 12.0  # [h] of flying weather; of light, where nobody measures warmth


def find(_yard: Yard, days: Mapping[str, Days]) -> list[Finding]:
    """Say which hives of a yard are robbed silently.

    Parameters
    ----------
    days : Mapping
        Hive -> its days, all up to the same moment.

    Returns
    -------
    list[Finding]
        Of kind `robbing`; `kg_behind_yard` is what it falls behind in a day.
    """
    weighed = {hive: one for hive, one in sorted(days.items()) if not np.isnan(one.day_kg).all()}
    if len(weighed) <= LEAST_OTHERS:
        return []
    first = min(one.day[0] for one in weighed.values())
    count = (max(one.day[-1] for one in weighed.values()) - first).days + 1
    gain = np.full((len(weighed), count), np.nan)
    dusk_s = np.zeros((len(weighed), count))
    start_s = np.zeros((len(weighed), count))
    for row, one in enumerate(weighed.values()):
        at = slice((one.day[0] - first).days, (one.day[0] - first).days + len(one))
        gain[row, at] = _plain_kg(one)
        dusk_s[row, at], start_s[row, at] = one.dusk_s, one.start_s[:-1]
    dusk, begin = dusk_s.max(axis=0), start_s.max(axis=0)
    found: list[Finding] = []
    for row, hive in enumerate(weighed):
        others = np.delete(gain, row, axis=0)
        found += [
            _robbed(hive, spell, begin, dusk, gain[row], others)
            for spell in _spells(gain[row], others)
        ]
    return found


def _plain_kg(one: Days) -> Floats:
    """Give the gain by day of days without steps shortly before, on which bees could fly."""
    moved = np.nan_to_num(np.abs(one.step_kg))
    lately = before_each(moved, MOVED_DAYS, 1, 1.0)
    spoilt = (np.nan_to_num(lately) > MOVED_KG) | (moved > MOVED_KG)
    light_h = (one.set_s - one.rise_s) / HOUR_S
    fly = np.where(np.isnan(one.flying_h), light_h >= LIGHT_H, one.flying_h >= FLYING_H)
    return np.where(spoilt | ~fly | _is_still(one.day_kg), np.nan, one.day_kg)


def _is_still(day_kg: Floats) -> Flags:
    """Say when a scale carries no living hive, or stands still: it tells nothing of the day."""
    moves = np.concatenate((np.zeros(LAST_DAYS - 1), np.nan_to_num(np.abs(day_kg))))
    most_kg = np.lib.stride_tricks.sliding_window_view(moves, LAST_DAYS).max(axis=1)
    return np.asarray(most_kg < STILL_KG)


def _middle(others: Floats) -> Floats:
    """Give the middle gain of the others, where enough of them are known."""
    known = (~np.isnan(others)).sum(axis=0) >= LEAST_OTHERS
    middle = np.full(others.shape[1], np.nan)
    middle[known] = np.nanmedian(others[:, known], axis=0)
    return middle


def _spells(own: Floats, others: Floats) -> Iterator[tuple[int, int, int | None]]:
    """Give the spells: first day behind, day that told it, first day that is well again."""
    middle = _middle(others)
    behind = middle - own
    behind[behind > LOUD_KG] = np.nan
    lately = _mean(behind)
    usual = before_each(behind, BEFORE_DAYS, LEAST_BEFORE)
    usual = np.concatenate((np.full(LAST_DAYS - 1, np.nan), usual))[: len(own)]
    poorest = np.fmin.reduce(others, axis=0)
    is_behind = (
        (lately > BEHIND_KG)
        & (lately - usual > BEHIND_KG)
        & (_mean(own) < -LOSES_KG)
        & (_mean(poorest - own) > WORST_KG)
        & (_mean(middle) < FLOW_KG)
    )
    told: int | None = None
    row: list[int] = []
    well: list[int] = []
    first, last = 0, 0
    for i in np.flatnonzero(~np.isnan(lately)).tolist():
        if told is not None and i - last > UNKNOWN_DAYS:
            yield first, told, last + 1
            told, row = None, []
        last = i
        if told is not None:
            well = [*well, i] if lately[i] < OVER_KG else []
            if len(well) == OVER_DAYS:
                yield first, told, well[0]
                told, row = None, []
            continue
        row = [*row, i] if is_behind[i] else []
        if len(row) == IN_A_ROW:
            told, well = i, []
            more_kg = max(float(usual[row[0]]) + BEHIND_KG, WORST_KG)
            first = _since(behind, row[0], more_kg)
    if told is not None:
        yield first, told, None


def _since(behind: Floats, day: int, more_kg: float) -> int:
    """Walk back from a day to the first one from which on it has been behind by more."""
    first = day
    for i in range(day, max(-1, day - LAST_DAYS), -1):
        if behind[i] <= more_kg:
            break
        first = first if np.isnan(behind[i]) else i
    return first


def _mean(figures: Floats) -> Floats:
    """Give the mean of each day and the days before it, where enough are known."""
    padded = np.concatenate((np.full(LAST_DAYS - 1, np.nan), figures))
    table = np.lib.stride_tricks.sliding_window_view(padded, LAST_DAYS)
    known = (~np.isnan(table)).sum(axis=1)
    mean = np.nan_to_num(table).sum(axis=1) / np.maximum(known, 1)
    return np.where((known >= LEAST_DAYS) & ~np.isnan(figures), mean, np.nan)


def _robbed(
    hive: str,
    spell: tuple[int, int, int | None],
    begin_s: Floats,
    dusk_s: Floats,
    own: Floats,
    others: Floats,
) -> Finding:
    """Put a silent robbing into words and figures."""
    first, told, well = spell
    span = slice(first, told + 1)
    middle = float(np.nanmean(_middle(others)[span]))
    mine = float(np.nanmean(own[span]))
    return Finding(
        kind="robbing",
        subject=f"hive:{hive}",
        start_s=int(begin_s[first]),
        end_s=None if well is None else int(dusk_s[well - 1]),
        detected_s=int(dusk_s[told]),
        confidence=0.7,
        measures={"kg_behind_yard": round(middle - mine, 2)},
        evidence=(
            f"by day it changed by {mine:+.2f} kg, the yard's middle hive by {middle:+.2f} kg",
            "before that it kept up with the others, and now it is behind every one of them",
        ),
        status="open" if well is None else "ended",
    )
