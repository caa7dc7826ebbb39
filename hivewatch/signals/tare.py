"""What a hive weighs besides its honey, day by day: the empty hive, bees, brood and pollen.

Bees and brood are kept as a book (`hivewatch.signals.colony`). What nobody counts is learnt from
visits that judged the stores: the weight then, less the honey, is all the rest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from hivewatch.frames import FRAMES
from hivewatch.inspections import Inspection
from hivewatch.inspections import stores_kg as judged_kg
from hivewatch.signals.boxes import Boxes
from hivewatch.signals.colony import Colony, Flags
from hivewatch.signals.days import DAY_S, Days
from hivewatch.signals.window import Floats, HiveWindow

# Own choices where no source is named; tests/unit/signals/test_tare.py, test_stores.py.
POLLEN_KG = 1.0  # [kg] from memory, Seeley (1995): at the height of the year; half in winter
DAMP_KG = 0.5  # [kg] what wood and dead bees take up over a winter
OTHER_KG = 0.7  # [kg] how far off pollen, damp and wax are, besides bees and brood
KEPT_A_DAY = math.exp(-1 / 30)  # [1/d] of what was off: in a month pollen and bees are others
UNTOLD_KG = 30.0  # [kg] an empty hive that nobody weighed
TARE_KG = 0.3  # [kg] one that somebody weighed
JUDGED_KG, JUDGED_SHARE = 0.4, 0.2  # [kg], share: error of judging honey by eye
FAR_OFF_KG = 5.0  # [kg] own choice: so much more than there can be is no hive on its scale
SEEN_LONG_DAYS = 150  # [d] a winter


class Rest(NamedTuple):
    """What is no honey, of n days; shape (n,), NaN where nothing tells it."""

    kg: Floats
    error_kg: Floats  # one standard deviation


def live_kg(colony: Colony, is_cold: Flags) -> Floats:
    """Give what bees, brood, pollen and a winter's damp weigh, shape (n,) [kg]."""
    return np.asarray(colony.kg() + POLLEN_KG / 2 * (1 + colony.height) + DAMP_KG * is_cold)


def rest_of(
    window: HiveWindow,
    days: Days,
    colony: Colony,
    is_cold: Flags,
    gross_kg: Floats,
    boxes: Boxes,
    seen: Sequence[Inspection],
) -> Rest:
    """Give what is no honey, moved by what visits judged: their weight less their honey.

    A visit moves it by as much as it was in doubt, beside the error of judging by eye. What comes
    and goes, as bees, brood and pollen do, goes back to the usual within weeks, and at once as far
    as a count tells it; an error of the empty hive stays until a visit tells it, one of its boxes
    while they are on. Stores of less than nothing move it as a visit that found none, but make
    nothing the surer: every day says the same again.

    Parameters
    ----------
    gross_kg : Floats
        What the hive weighs at dawn, shape (n,). [kg]
    boxes : Boxes
        Those that have been put on; when all are off, no doubt of them is left.

    References
    ----------
    R. E. Kalman, J. Basic Eng. 82, 35 (1960).
    """
    empty_kg = window.hive.empty_kg
    base_kg = (empty_kg or 0.0) + boxes.kg + live_kg(colony, is_cold)
    other_kg2 = (OTHER_KG**2 + colony.error_kg**2).tolist()
    off = _Off(UNTOLD_KG if empty_kg is None else TARE_KG)
    judged = _judged(window, days, seen)
    told_s = np.inf if empty_kg is not None else -np.inf
    rows = np.full((len(days), 2), np.nan)
    for i in range(len(days)):
        off.turn(other_kg2[i], float(boxes.doubt_kg2[i]), are_off=bool(boxes.are_off[i]))
        for at_s, kg, fed_kg in judged.get(i, ()):
            # judged before something was done, or what was left of it: whichever is the likelier
            before_kg = gross_kg[i - 1] - kg - base_kg[i] + boxes.kg[i] - boxes.kg[i - 1]
            after_kg = gross_kg[i] - kg - base_kg[i]
            if not before_kg > -FAR_OFF_KG:  # not weighed, or beside its scale
                before_kg = after_kg - fed_kg
            more_kg = min((before_kg, after_kg), key=lambda one: _apart(one, sum(off.kg)))
            if np.isnan(more_kg) or more_kg < -FAR_OFF_KG:  # it lay beside its scale
                continue
            off.learn(more_kg, (JUDGED_KG + JUDGED_SHARE * kg) ** 2)
            told_s = max(told_s, at_s)
        left_kg = gross_kg[i] - base_kg[i] - sum(off.kg)
        if -FAR_OFF_KG < left_kg < 0.0:  # a hive that lives has no less than nothing
            off.move(left_kg, JUDGED_KG**2)
        if days.dawn_s[i] - told_s < SEEN_LONG_DAYS * DAY_S:
            rows[i] = base_kg[i] + sum(off.kg), math.sqrt(off.var())
    return Rest(*rows.T)


def _apart(one_kg: float, other_kg: float) -> float:
    """Give how far apart two weights are; what is not known is the furthest [kg]."""
    return math.inf if math.isnan(one_kg) else abs(one_kg - other_kg)


class _Off:
    """How far off are: what comes and goes, the empty hive, boxes; and how sure that is."""

    def __init__(self, tare_kg: float) -> None:
        self.kg, self.other_kg2 = [0.0, 0.0, 0.0], 0.0
        self.cov = [[0.0, 0.0, 0.0], [0.0, tare_kg**2, 0.0], [0.0, 0.0, 0.0]]

    def var(self) -> float:
        """Give the variance of the sum [kg^2]."""
        return sum(map(sum, self.cov))

    def learn(self, sum_kg: float, error_var: float) -> None:
        """Take in what all of it came to at a visit."""
        rows, var = self.move(sum_kg - sum(self.kg), error_var)
        self.cov = [
            [one - row * other / var for one, other in zip(line, rows, strict=True)]
            for line, row in zip(self.cov, rows, strict=True)
        ]

    def move(self, more_kg: float, error_var: float) -> tuple[list[float], float]:
        """Move by as much of it as each was in doubt; give these doubts, and all [kg^2]."""
        rows = [sum(row) for row in self.cov]
        var = sum(rows) + error_var
        self.kg = [kg + row / var * more_kg for kg, row in zip(self.kg, rows, strict=True)]
        return rows, var

    def turn(self, other_kg2: float, doubt_kg2: float, *, are_off: bool) -> None:
        """Go on by a day, at whose dawn what comes and goes has a variance of so much [kg^2].

        Where a count has made that less, as much of the error as it took away is gone.
        """
        last_kg2, self.other_kg2 = self.other_kg2, other_kg2
        keep = KEPT_A_DAY * min(other_kg2 / last_kg2, 1.0) if last_kg2 else 0.0
        cov = self.cov
        self.kg[0] *= keep
        cov[0][0] = other_kg2 - (last_kg2 - cov[0][0]) * keep**2
        cov[2][2] += doubt_kg2
        for n in (1, 2):
            cov[0][n] = cov[n][0] = cov[0][n] * keep
        if are_off:
            self.kg[2] = 0.0
            for n in (0, 1, 2):
                cov[2][n] = cov[n][2] = 0.0


def _judged(
    window: HiveWindow, days: Days, seen: Sequence[Inspection]
) -> dict[int, list[tuple[float, float, float]]]:
    """Give the visits that judged the stores, when, kg, and kg fed, by the number of the dawn."""
    frame = FRAMES.get(window.hive.frame or "")
    found: dict[int, list[tuple[float, float, float]]] = {}
    for one in seen:
        kg = None if frame is None else judged_kg(one, frame)
        first = int(days.dawn_s.searchsorted(one.at_s))
        if kg is not None and 0 < first < len(days):
            fed_kg = sum(did.kg or 0.0 for did in one.actions if did.what == "fed")
            found.setdefault(first, []).append((one.at_s, kg, fed_kg))
    return found
