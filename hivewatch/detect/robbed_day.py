"""Did bees carry honey off on this day: the loss beside the bees away, the food and what dries.

`hivewatch.detect.robbing` asks it of the days on which the weight fell further than usual. A
counter is off by a share of all that it counts, so that on a busy morning the bees that are away
are not known to the last of them; in the evening, when all are home, the scale alone tells.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.bare import passed
from hivewatch.signals.days import DAY_S, HOUR_S, Days
from hivewatch.signals.late import is_awaited, known_until_s
from hivewatch.signals.robbed import (
    BEE_KG,
    LEAST_BEES,
    USUAL_DAYS,
    eaten_kg_per_h,
    home_ratio,
    wet_kg,
)
from hivewatch.signals.usual import usual_step_near
from hivewatch.signals.window import Floats, HiveWindow, Ints, Series

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/detect/test_robbing.py.
MARGIN_BUSY_KG = 0.5  # [kg] beyond the bees that are away, when the entrance is busier than usual
MARGIN_QUIET_KG = 1.2  # [kg] the same with usual traffic
MARGIN_KG = 0.9  # [kg] the same when nobody counts
MOST_OUT_KG = 1.5  # [kg] more bees, some 12,000, are hardly out at one time
AT_ONCE_KG = 2.0  # [kg] so much is no forager's absence at any hour
FLOOR_KG = 0.25  # [kg] below the lowest of those days
BUSY = 1.3  # times the usual traffic up to the same hour
QUIET = 0.8  # times the usual traffic; with less nobody robs
COUNTER_ERROR = 0.03  # of the bees out so far, beside its own ratio of the days before
FED_DAYS = 3  # days in which fed syrup dries
FED_SHARE = 0.3  # of what was fed; common practice, no source: a third of syrup is water that goes
STEP_SHARE = 0.1  # of a step of the same day: its error, and wet frames
SUDDEN_S = 2700  # [s] a swarm or a hand takes less,
SUDDEN_SHARE = 0.6  # and so much of the loss with it
LASTS_S = 1500  # [s] a gust does not last
LATE = 0.7  # share of the daylight after which most foragers are home, when nobody counts
HOME_S = 3600  # [s] after sunset, when all are home


@dataclass(frozen=True, slots=True)
class Hit:
    """A day on which the hive was robbed."""

    day: int
    start_s: int
    told_s: int
    lost_kg: float
    busy: float | None  # times the usual traffic
    at_dusk: bool  # told in the evening, all bees being home, and not before


class Watch:
    """What a day of the hive is held against."""

    def __init__(
        self,
        window: HiveWindow,
        days: Days,
        bare: Series,
        dawn_kg: Floats,
        usual_kg: Floats,
        floor_kg: Floats,
    ) -> None:
        self._days, self._bare = days, bare
        self._dawn_kg, self._usual_kg, self._floor_kg = dawn_kg, usual_kg, floor_kg
        self._in, self._out = window.of("bees-in"), window.of("bees-out")
        self._ratio, self._eaten_kg = home_ratio(days), eaten_kg_per_h(days)
        self._wet_kg = wet_kg(days)
        self._weight = window.of("weight")
        self._window, self._known_s = window, known_until_s(window, "bees-in", "bees-out") or 0

    def judge(self, day: int, *, at_dusk: bool) -> Hit | None:
        """Judge a day on which the weight fell further than usual.

        Parameters
        ----------
        at_dusk : bool
            Whether the day's dusk tells it, all being home, if nothing did before.
        """
        days, bare = self._days, self._bare
        span_s = ceil(days.rise_s[day]), ceil(days.dusk_s[day] + 1)  # whole: no time is converted
        low, high = bare.time_s.searchsorted(span_s)
        time_s, kg = bare.time_s[low:high], bare.value[low:high]
        if not len(kg):
            return None
        loss_kg = self._dawn_kg[day] - kg
        away_kg, busy, doubt_kg = self._traffic(day, time_s)
        out_kg = np.where(time_s > days.set_s[day] + HOME_S, 0.0, self._usual_kg[day])
        # a busier day than usual has more bees out: the first warm one of spring, one after rain
        out_kg = np.minimum(out_kg * np.fmax(busy, 1.0), np.maximum(out_kg, MOST_OUT_KG))
        away_kg = np.maximum(away_kg, out_kg)
        eaten_kg = self._eaten_kg[day] * (time_s - days.dawn_s[day]) / HOUR_S
        beyond_kg = loss_kg - away_kg - eaten_kg
        is_counted = not np.isnan(busy).all()
        margin_kg = np.where(busy >= BUSY, MARGIN_BUSY_KG, MARGIN_KG)
        margin_kg = np.where(busy < BUSY, MARGIN_QUIET_KG, margin_kg) + self._spoilt_kg(day, time_s)
        margin_kg += self._wet_kg[day] + np.where(out_kg > 0, doubt_kg, 0.0)
        late_s = days.rise_s[day] + LATE * (days.set_s[day] - days.rise_s[day])
        is_robbed = (
            (beyond_kg > margin_kg) & ~(busy < QUIET) & (kg < self._floor_kg[day] - FLOOR_KG)
        )
        if not is_counted:
            is_robbed &= (time_s >= late_s) | (loss_kg > self._usual_kg[day] + AT_ONCE_KG)
        if self._is_late(time_s):  # what the counter has yet to tell of is not judged without it
            is_robbed &= time_s <= self._known_s
        step_s = usual_step_near(self._weight, days.rise_s[day]) or 0
        is_robbed &= _is_slow(time_s, loss_kg, max(SUDDEN_S, round(1.5 * step_s)))
        told = _first_lasting(time_s, is_robbed)
        told_s = int(days.dusk_s[day] if told is None else time_s[told])
        waited = told is None and at_dusk and not self._is_late(time_s)
        if waited:
            told = len(time_s) - 1
        if told is None:
            return None
        small = np.flatnonzero(loss_kg[: told + 1] < min(0.25, loss_kg[told] / 4))
        return Hit(
            day=day,
            start_s=int(time_s[small[-1]] if len(small) else time_s[0]),
            told_s=told_s,
            lost_kg=float(max(beyond_kg[told], loss_kg[-1] - eaten_kg[-1])),
            busy=float(busy[told]) if is_counted and not np.isnan(busy[told]) else None,
            at_dusk=waited,
        )

    def _is_late(self, time_s: Ints) -> bool:
        """Say whether the counter has yet to send what it saw of a day's readings."""
        first_s, last_s = int(time_s[0]), int(time_s[-1])
        return last_s > self._known_s and any(
            is_awaited(self._window, name, first_s, last_s) for name in ("bees-in", "bees-out")
        )

    def _traffic(self, day: int, time_s: Ints) -> tuple[Floats, Floats, Floats]:
        """Give what the bees weigh that are away, how busy it is, and how far the first is off."""
        days = self._days
        nothing = np.zeros(len(time_s)), np.full(len(time_s), np.nan), np.zeros(len(time_s))
        if np.isnan(days.bees_out[day]) or np.isnan(days.bees_in[day]):
            return nothing
        begin_s = int(days.start_s[day])
        out = passed(self._out, begin_s, time_s)
        back = passed(self._in, begin_s, time_s)
        away_kg = BEE_KG * np.maximum(out * self._ratio[day] - back, 0.0)
        doubt_kg = BEE_KG * COUNTER_ERROR * out
        before = [
            passed(self._out, int(days.start_s[i]), time_s - begin_s + int(days.start_s[i]))
            for i in range(max(0, day - USUAL_DAYS), day)
            if days.bees_out[i] >= LEAST_BEES
        ]
        if len(before) < 3:  # noqa: PLR2004 - fewer days are no rule
            return away_kg, np.where(out >= LEAST_BEES, np.nan, 0.0), doubt_kg
        usual = np.maximum(np.median(before, axis=0), LEAST_BEES / 2)
        return away_kg, np.where(out >= LEAST_BEES, out / usual, 0.0), doubt_kg

    def _spoilt_kg(self, day: int, time_s: Ints) -> Floats:
        """Give what feed that dries, and steps of the day itself, may take."""
        spoilt = np.zeros(len(time_s))
        for step in self._days.steps:
            if step.before_s > time_s[-1]:
                break
            if step.after_s > self._days.dawn_s[day]:
                spoilt += STEP_SHARE * abs(step.size_kg) * (time_s >= step.before_s)
            if step.size_kg > 0 and step.after_s > self._days.dawn_s[day] - FED_DAYS * DAY_S:
                spoilt += FED_SHARE * step.size_kg * (time_s >= step.before_s)
        return spoilt


def _is_slow(time_s: Ints, loss_kg: Floats, sudden_s: int) -> Flags:
    """Say where the loss came bit by bit: no short span before holds most of it."""
    earlier = time_s.searchsorted(time_s - sudden_s)
    most = np.maximum.accumulate(loss_kg - loss_kg[earlier])
    return most < SUDDEN_SHARE * loss_kg


def _first_lasting(time_s: Ints, true: Flags) -> int | None:
    """Give the first reading at which something has been true for a while and two readings."""
    since: int | None = None
    for i, one in enumerate(true.tolist()):
        if not one:
            since = None
        elif since is None:
            since = i
        elif time_s[i] - time_s[since] >= LASTS_S:
            return i
    return None
