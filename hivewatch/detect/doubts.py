"""Is a move of the weight the scale's own: bad readings, one that woke up, or another scale."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from hivewatch.detect.added import added_kg
from hivewatch.detect.handled import LEAST_KG, LIFTED_KG, OPENED_KG
from hivewatch.signals.carried import AHEAD_S, DAY_S
from hivewatch.signals.faults import is_coarse
from hivewatch.signals.steps import Step
from hivewatch.signals.sun import is_light
from hivewatch.signals.window import HiveWindow, Series

# [s] own choice: so long after a wild reading, and `AHEAD_S` before it, a scale is not believed
DOUBTED_S = 45 * DAY_S
STUCK_READINGS = 6  # own choice: so many equal readings of a scale that else moves ...
COARSE_READINGS = 24  # own choice: ... or so many of one with a coarse digit
BY_CHANCE = 1e-4  # own choice: a quiet scale shows one digit for half an hour by chance as well
STUCK_S = 10 * DAY_S  # [s] own choice: so far back it is looked whether it moved
HALF = 0.5


def is_wild(window: HiveWindow, move: Step) -> bool:
    """Say whether a move can only be bad readings: it comes back, and no hand can have done it."""
    if move.is_lasting:
        return False
    if move.high_kg >= max(OPENED_KG, move.level_kg) or move.level_kg - move.low_kg < -LIFTED_KG:
        return True
    if move.readings > 1:
        return False
    if move.high_kg >= OPENED_KG:
        return True
    dark = not (is_light(window.yard, move.before_s) or is_light(window.yard, move.after_s))
    return dark and move.low_kg >= OPENED_KG


def is_doubted(window: HiveWindow, move: Step, wild_s: Sequence[int]) -> bool:
    """Say whether the scale gave wild readings about a move that left nothing behind."""
    return any(
        0 < move.before_s - moment_s <= DOUBTED_S or 0 < moment_s - move.before_s <= AHEAD_S
        for moment_s in wild_s
    ) and not (move.is_lasting and abs(added_kg(window, move)) >= LEAST_KG)


def was_stuck(weight: Series, move: Step) -> bool:
    """Say whether the scale stood still before a move, and only then: it woke up, nothing more."""
    end = int(weight.time_s.searchsorted(move.before_s)) + 1
    first = int(weight.time_s.searchsorted(move.before_s - STUCK_S))
    value = weight.value[first:]
    end -= first
    if (value[max(end - STUCK_READINGS, 0) : end] != value[end - 1]).any():
        return False  # it moved, however coarse it is
    many = COARSE_READINGS if is_coarse(weight, first + end - 1) else STUCK_READINGS
    if end <= many or (value[end - many : end] != value[end - 1]).any():
        return False
    moved = np.flatnonzero(value[:end] != value[end - 1])
    if not len(moved):
        return bool(weight.time_s[first + end - 1] - weight.time_s[first] > STUCK_S / 2)
    before = value[max(0, int(moved[-1]) - 48) : int(moved[-1]) + 1]
    same, run = float(np.mean(before[1:] == before[:-1])), end - 1 - int(moved[-1])
    return len(before) > STUCK_READINGS and same < HALF and same ** (run - 1) < BY_CHANCE


def is_other_scale(window: HiveWindow, move: Step) -> bool:
    """Say whether a device was put here or taken away during a move: its step has no size."""
    return any(
        move.before_s < moment <= move.after_s
        for trace in window.devices
        for moment in (trace.from_s, trace.until_s)
        if moment is not None
    )
