"""Is the hive off its scale: `toppled`, knocked over, or `taken`, gone.

Both show the weight falling at once to near nothing, or by half while the nest goes cold. What is
left on the scale, a nest probe still in warm bees, or bees that still pass the entrance, say
toppled; an empty scale and a nest that went with the hive, or a scale that falls silent, say taken.
Parts lifted off by a keeper are back within the hour: those are `handling`, and what was told in
that hour is withdrawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hivewatch.detect.beside import (
    COOLING_S,
    LEVEL_S,
    WAITED_S,
    bees_after,
    cold_s_after,
    cooled_k_after,
    nest_after,
)
from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import worked
from hivewatch.signals.sun import is_light
from hivewatch.signals.window import HiveWindow, Ints, Series

HEAVY_KG = 10.0  # [kg] own choice: less than this is no hive with bees
BEFORE = 3  # [readings] own choice: one spike among them does not count
STOOD = 7  # [readings] own choice: nor do three, of a scale that gives many, among so many
NEAR_NOTHING = 0.3  # own choice: share of the hive that may stay on the scale
NEAR_NOTHING_KG = (5.0, 12.0)  # [kg] own choice: bounds of the same; a floor board, a brood box
EMPTY_SHARE = 0.5  # own choice: of the known weight of the empty hive
DOWN = 0.5  # own choice: the second reading must be below this share, too
NIGHT_DOWN = 0.6  # own choice: by night no keeper takes off so much
STANDS = 1.5  # own choice: over that many times nearly nothing there stands a hive
BACK_UP = 0.6  # own choice: share of the weight with which the hive is back
BARE_KG = 1.5  # [kg] own choice: an empty scale, its drift and some rain
# [kg] own choice: five times what a scale's zero may drift between day and night, 56 g of 20 K by
# OIML R 60; more that nothing else explains is a board, or a corner of what lies beside it
EMPTY_KG = 0.3
UNSURE = 0.6  # own choice: by what is left alone
STEADY_KG = 0.5  # [kg] own choice: an empty scale does not swing
HANDLED_S = 3600  # [s] own choice: a keeper has parts off the scale for less than this
MOVED_S = 6 * 3600  # [s] own choice: a device moved so soon after was taken by its keeper
COOLED_K = 3.0  # [K] own choice: a nest that cools
UNHURT_K = 1.0  # [K] own choice: a nest that lies on its side loses more
BACK_S = 2 * 86_400  # [s] as for `hivewatch.signals.carried`


@dataclass(frozen=True, slots=True)
class _Fall:
    """A fall of the weight to near nothing: when it came, was told, and was over."""

    first_s: int
    told_s: int
    level_kg: float
    stands_kg: float
    back_s: int | None


def find(window: HiveWindow, _inspections: Sequence[Inspection], limits: Limits) -> list[Finding]:
    """Say when the hive came off its scale.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`; `weight` is needed, `nest` and `ambient` help.
    limits : Limits
        How long a device may say nothing.

    Returns
    -------
    list[Finding]
        Of kind `toppled` and `taken`, told with the second reading after the fall.
    """
    weight = window.of("weight")
    found = [
        _judge(window, weight, fall)
        for fall in falls_of(window)
        if fall.told_s >= window.carried.until_s and not _is_keepers(window, weight, fall)
    ]
    silent = _gone_silent(window, weight, limits.silent_after_min * 60)
    return found if silent is None else [*found, silent]


def next_look_s(window: HiveWindow, limits: Limits) -> int | None:
    """Give the moment at which the silence of a scale that just went light says `taken`."""
    weight = window.of("weight")
    if not len(weight):
        return None
    moment = int(weight.time_s[-1]) + limits.silent_after_min * 60 + 1
    return moment if moment > window.as_of_s and _is_light_end(window, weight) else None


def _floor_kg(window: HiveWindow, level_kg: float) -> float:
    """Give the weight at or below which nearly nothing is left of a hive that heavy. [kg]."""
    low, high = NEAR_NOTHING_KG
    floor = min(max(NEAR_NOTHING * level_kg, low), high)
    empty_kg = window.hive.empty_kg
    return floor if empty_kg is None else min(floor, EMPTY_SHARE * empty_kg)


def _starts(weight: Series) -> Ints:
    """Give the readings far below the middle one of the three before, which no spike moves."""
    value = weight.value
    if len(value) <= BEFORE:
        return np.empty(0, np.int64)
    one, two, three = value[:-BEFORE], value[1:-2], value[2:-1]
    before = np.maximum(np.minimum(one, two), np.minimum(np.maximum(one, two), three))
    here = value[BEFORE:]
    return np.flatnonzero((before >= HEAVY_KG) & (here < NIGHT_DOWN * before)) + BEFORE


def falls_of(window: HiveWindow) -> list[_Fall]:
    """Give the falls, a keeper's too; found once a window."""
    return worked(window, "falls", _go_on)


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the falls that were told before."""
    return {
        "falls": [
            one if one.back_s is None or one.back_s < until_s else replace(one, back_s=None)
            for one in falls_of(window)
            if one.told_s < until_s
        ]
    }


def _go_on(window: HiveWindow, kept: list[_Fall] | None) -> list[_Fall]:
    """Give the falls that are known, and those since."""
    weight, falls, free = window.of("weight"), list(kept or []), 0
    until_s = window.carried.until_s
    known, before = weight.time_s.searchsorted([until_s, until_s - COOLING_S]).tolist()
    if falls and falls[-1].back_s is not None:
        free = int(weight.time_s.searchsorted(falls[-1].back_s))
    elif falls:
        back = _back(weight, max(known - 1, 0), falls[-1].stands_kg)
        falls[-1] = replace(falls[-1], back_s=None if back is None else int(weight.time_s[back]))
        free = len(weight) if back is None else back
    since = _falls(window, weight, max(before - 1, free))
    return falls + [one for one in since if one.told_s >= until_s]


def _back(weight: Series, i: int, stands_kg: float) -> int | None:
    """Give the first of two readings in a row with which the hive stands again."""
    up = weight.value[i:] >= stands_kg
    both = np.flatnonzero(up[:-1] & up[1:])  # one alone is a swing
    return i + int(both[0]) if len(both) else None


def _falls(window: HiveWindow, weight: Series, free: int) -> Iterator[_Fall]:
    """Find the falls from a place on that last for two readings."""
    time_s, value = weight.time_s, weight.value
    first = max(free - BEFORE, 0)
    for start in _starts(Series(weight.time_s[first:], weight.value[first:])):
        i = first + int(start)
        if i < free or i + 1 >= len(value):
            continue
        level = _level_kg(weight, i)
        here, there = value[i], value[i + 1]
        if max(here, there) >= NIGHT_DOWN * level:
            continue
        floor = _floor_kg(window, level)
        fell = min(here, there) <= floor and max(here, there) < min(DOWN * level, STANDS * floor)
        # after a harvest it stands again with much less; by night the half that is left is not it
        stands_kg = min(BACK_UP * level, STANDS * floor) if fell else BACK_UP * level
        back = _back(weight, i, stands_kg)
        back_s = None if back is None else int(time_s[back])
        told_s: int | None = int(time_s[i + 1])
        if not fell and any(is_light(window.yard, int(time_s[k])) for k in (i - 1, i)):
            told_s = _cold_s(window, int(time_s[i - 1]), int(time_s[i + 1]), back_s)
        if told_s is not None:
            free = len(value) if back is None else back
            yield _Fall(int(time_s[i]), told_s, level, stands_kg, back_s)


def _cold_s(window: HiveWindow, before_s: int, there_s: int, back_s: int | None) -> int | None:
    """Say when a hive that lost half by day, more than an hour long, was seen to lie there cold."""
    if back_s is not None and back_s - there_s <= HANDLED_S:
        return None
    until_s = window.as_of_s if back_s is None else back_s - 1
    cold_s = cold_s_after(window, before_s, until_s)
    return None if cold_s is None else max(cold_s, there_s)


def _level_kg(weight: Series, i: int) -> float:
    """Give what the hive weighed before reading `i`: a median of seven readings or more. [kg]."""
    low = int(weight.time_s.searchsorted(weight.time_s[i - 1] - LEVEL_S))
    values = np.sort(weight.value[max(0, min(low, i - STOOD)) : i])
    return float(values[len(values) // 2])


def _is_keepers(window: HiveWindow, weight: Series, fall: _Fall) -> bool:
    """Say whether a keeper's hand accounts for a fall, or a device that was put or taken here."""
    start_s, first = fall.first_s, int(weight.time_s.searchsorted(fall.first_s))
    before_s = int(weight.time_s[first - 1])
    if fall.back_s is not None and fall.back_s - start_s <= HANDLED_S:
        return True
    for trace in window.devices:
        if before_s < trace.from_s <= start_s:
            return True
        if trace.until_s is not None and before_s < trace.until_s <= start_s + MOVED_S:
            return True
    return False


def _judge(window: HiveWindow, weight: Series, fall: _Fall) -> Finding:
    """Say which of the two it is, from what was known at the second reading."""
    first, told_s = int(weight.time_s.searchsorted(fall.first_s)), fall.told_s
    told = first + 1
    lows = weight.value[first : told + 1]
    bare = bool(np.all(np.abs(lows) <= BARE_KG) and np.ptp(lows) <= STEADY_KG)
    before_s, start_s = int(weight.time_s[first - 1]), int(weight.time_s[first])
    nest = nest_after(window, before_s, start_s, told_s)
    left = float(np.median(lows))
    is_there = not bare or nest == "warm" or (nest == "unknown" and abs(left) > EMPTY_KG)
    until_s = told_s + WAITED_S if fall.back_s is None else min(fall.back_s - 1, told_s + WAITED_S)
    bees, counted_s = bees_after(window, before_s, (start_s, told_s, until_s))
    told_s = counted_s if bees and not is_there else told_s
    kind = "toppled" if is_there or bees else "taken"
    day = is_light(window.yard, start_s)
    confidence = 0.8 if day else 0.95
    if bare and nest == "unknown" and not bees:
        confidence = UNSURE
    evidence = [f"weight fell at once from {fall.level_kg:.1f} kg to {left:.1f} kg and stayed down"]
    if np.ptp(lows) > STEADY_KG:
        evidence.append(f"what is left on the scale swings by {np.ptp(lows):.1f} kg")
    if kind == "toppled" and bees:
        evidence.append(f"bees still pass the entrance: {bees:,.0f} since")
        confidence = 0.9
    elif bare and nest == "unknown":
        other = "more than an empty scale shows" if kind == "toppled" else "an empty scale"
        evidence.append(f"what is left is {other}; nothing else tells whether it lies there")
    if nest == "gone":
        evidence.append("the nest probe is no longer in a nest, or sends no more")
        confidence = max(confidence, 0.9)
    elif nest == "warm" and kind == "toppled":
        evidence.append("the nest probe is still among warm bees")
    cooled = cooled_k_after(window.of("nest"), before_s, told_s)
    if kind == "toppled" and nest == "warm" and cooled is not None:
        hours, cooled_k = cooled
        if cooled_k >= COOLED_K:
            evidence.append(f"the nest cooled by {cooled_k:.1f} K after it")
            confidence = 0.98
        elif hours * 3600 > COOLING_S / 2 and cooled_k < UNHURT_K:
            evidence.append(f"yet after {hours:.1f} h it is as warm as before: look at the scale")
            confidence = 0.5
    end_s = fall.back_s
    return Finding(
        kind=kind,
        subject=f"hive:{window.hive.id}",
        start_s=start_s,
        end_s=end_s,
        detected_s=told_s,
        confidence=confidence,
        measures={"kg": round(left - fall.level_kg, 2), "kg_left": round(left, 2)},
        evidence=tuple(evidence),
        status="open" if end_s is None else "ended",
    )


def _is_light_end(window: HiveWindow, weight: Series) -> bool:
    """Say whether the very last weight, and no other, is near nothing."""
    end = Series(weight.time_s[-BEFORE - 1 :], weight.value[-BEFORE - 1 :])
    if not len(_starts(end)):
        return False
    level = _level_kg(weight, len(weight) - 1)
    before, last = weight.value[-2:]
    return bool(before >= NIGHT_DOWN * level and last <= _floor_kg(window, level))


def _gone_silent(window: HiveWindow, weight: Series, silent_after_s: int) -> Finding | None:
    """Say `taken` of a scale whose last word was near nothing."""
    if not _is_light_end(window, weight):
        return None
    start_s = int(weight.time_s[-1])
    if window.as_of_s - start_s <= silent_after_s:
        return None
    if _is_keepers(window, weight, _Fall(start_s, start_s, 0.0, 0.0, None)):
        return None
    level = _level_kg(weight, len(weight) - 1)
    left = float(weight.value[-1])
    return Finding(
        kind="taken",
        subject=f"hive:{window.hive.id}",
        start_s=start_s,
        end_s=None,
        detected_s=start_s + silent_after_s,
        confidence=0.7,
        measures={"kg": round(left - level, 2), "kg_left": round(left, 2)},
        evidence=(
            f"weight fell at once from {level:.1f} kg to {left:.1f} kg, then the scale was silent",
        ),
    )
