"""Is the hive being robbed: `robbing`, with what was carried off.

Robbers carry honey out as long as they can fly: from morning to evening the weight falls, steadily,
by more than the bees that are away weigh, below all that it was in the days before, and at night it
stands. A counter sees them come and go, far more than is usual and as many in as out. Left to
others: what goes at once (a swarm, a box, a hand), what stays away and is counted (foragers that
did not come home), and what had come with rain or syrup and dries.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.bare import bare_weight, before_each, passed, stepped_kg
from hivewatch.signals.carried import worked
from hivewatch.signals.days import DAY_S, HOUR_S, Days, days_of
from hivewatch.signals.late import is_awaited, known_until_s
from hivewatch.signals.usual import usual_step_near
from hivewatch.signals.window import Floats, HiveWindow, Ints, Series

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/detect/test_robbing.py.
BEE_KG = 0.0001  # [kg] published: worker mass, constants in Becher et al. (2014)
MARGIN_BUSY_KG = 0.5  # [kg] beyond the bees that are away, when the entrance is busier than usual
MARGIN_QUIET_KG = 1.2  # [kg] the same with usual traffic
MARGIN_KG = 0.9  # [kg] the same when nobody counts
AT_ONCE_KG = 2.0  # [kg] so much is no forager's absence at any hour
USUAL_DAYS = 10  # days before that tell what a usual day takes
USUAL_KG = (0.15, 1.0)  # [kg] bounds of that: 1,500 to 10,000 bees away at noon
NIGHTS = 7  # nights before that tell what an hour without income takes
EATEN_MOST_KG = 0.08  # [kg/h] bound of that: 2 kg a day, in the ripening of a great flow
FLOOR_DAYS = 3  # days back that a wet lid can have been dry
SNOW_DAYS, SNOW_CEL = 10, 3.0  # [d], [Cel] the same for snow: days after a mean of less
FLOOR_KG = 0.25  # [kg] below the lowest of those days
BUSY = 1.3  # times the usual traffic up to the same hour
QUIET = 0.8  # times the usual traffic; with less nobody robs
BUSY_LEAST = 2000.0  # [bees] out by then
RATIO = (0.7, 1.1)  # bounds of a counter's own in / out; published: 0.90 for one counter type
FED_DAYS = 3  # days in which fed syrup dries
FED_SHARE = 0.3  # of what was fed; common practice, no source: a third of syrup is water that goes
STEP_SHARE = 0.1  # of a step of the same day: its error, and wet frames
SUDDEN_S = 2700  # [s] a swarm or a hand takes less,
SUDDEN_SHARE = 0.6  # and so much of the loss with it
LASTS_S = 1500  # [s] a gust does not last
LATE = 0.7  # share of the daylight after which most foragers are home, when nobody counts
HOME_S = 3600  # [s] after sunset, when all are home
FLIGHT_H = 2.0  # [h] of warmth and light without which nobody robs
SUN_H = 12.0  # [h] of daylight, where nobody measures warmth
BACK_S = 11 * DAY_S  # [s] as for `hivewatch.signals.carried`
OVER_DAYS = 2  # days without, and it is over


@dataclass(frozen=True, slots=True)
class _Hit:
    """A day on which the hive was robbed."""

    day: int
    start_s: int
    told_s: int
    lost_kg: float
    busy: float | None  # times the usual traffic


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when the hive was robbed.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `weight`; takes `bees-in`, `bees-out` and `ambient`
        where there are any.

    Returns
    -------
    list[Finding]
        Of kind `robbing`, told on the day; `measures` are `kg_lost` and, where bees are counted,
        `traffic_times` the usual.

    References
    ----------
    No published figures of robbing were found: the method is our own.
    """
    days, bare = days_of(window), bare_weight(window)
    if bare.skipped + len(bare) < 3 or not len(days):  # noqa: PLR2004
        return []
    dawn_kg = days.dawn_kg - stepped_kg(days, days.dawn_s)
    deep_kg = dawn_kg - lowest_of(window)
    first = max(int(np.searchsorted(days.start_s, window.carried.until_s, side="right")) - 1, 0)
    usual_kg = before_each(deep_kg, USUAL_DAYS, 3, first=first)
    usual_kg = np.nan_to_num(usual_kg, nan=USUAL_KG[1]).clip(*USUAL_KG)
    suspect = (deep_kg > usual_kg + MARGIN_BUSY_KG) & can_fly(days) & ~np.isnan(dawn_kg)
    suspects = first + np.flatnonzero(suspect[first:])
    if not len(suspects):
        return []
    floor_kg = _floor(days, dawn_kg, days.dusk_kg - stepped_kg(days, days.dusk_s))
    watch = _Watch(window, days, bare, dawn_kg, usual_kg, floor_kg)
    hits = [hit for i in suspects.tolist() if (hit := watch.judge(i)) is not None]
    return [_robbed(window, days, run) for run in _runs(hits)]


def can_fly(days: Days) -> Flags:
    """Say on which days bees could fly; by the length of the day where nobody measures warmth."""
    light_h = (days.set_s - days.rise_s) / HOUR_S
    return np.where(np.isnan(days.flying_h), light_h >= SUN_H, days.flying_h >= FLIGHT_H)


def lowest_of(window: HiveWindow) -> Floats:
    """Give the lowest weight from sunrise to dusk, without steps; NaN without readings [kg]."""
    return worked(window, "lowest", _lowest)


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the lowest weights of the days before."""
    n = int(np.searchsorted(days_of(window).start_s, until_s))
    return {"lowest": lowest_of(window)[:n].copy()}


def _lowest(window: HiveWindow, kept: Floats | None) -> Floats:
    """Give the lowest weights that are known, and those since."""
    days, bare, first = days_of(window), bare_weight(window), 0 if kept is None else len(kept)
    low = np.searchsorted(bare.time_s, days.rise_s[first:])
    high = np.searchsorted(bare.time_s, days.dusk_s[first:], side="right")
    lowest = np.full(len(days) - first, np.nan)
    for i in np.flatnonzero(high > low):
        lowest[i] = bare.value[low[i] : high[i]].min()
    return lowest if kept is None else np.append(kept, lowest)


def _floor(days: Days, dawn_kg: Floats, dusk_kg: Floats) -> Floats:
    """Give the lowest dawn or dusk weight of the days before, this dawn included [kg].

    Snow lies longer than rain: where it can have been, longer ago counts.
    """
    each = np.fmin(dawn_kg, dusk_kg)
    cold = before_each(days.ambient_cel, SNOW_DAYS, 1, 0.0)
    lately, long = before_each(each, FLOOR_DAYS, 1, 0.0), before_each(each, SNOW_DAYS, 1, 0.0)
    return np.fmin(np.where(cold >= SNOW_CEL, lately, long), dawn_kg)


class _Watch:
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
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = np.where(days.bees_out >= BUSY_LEAST, days.bees_in / days.bees_out, np.nan)
        self._ratio = np.nan_to_num(before_each(ratio, USUAL_DAYS, 3), nan=0.95).clip(*RATIO)
        night_h = np.append((days.dawn_s[1:] - days.dusk_s[:-1]) / HOUR_S, np.nan)
        eaten_kg = before_each(days.night_kg / night_h, NIGHTS, 2)
        self._eaten_kg = np.nan_to_num(eaten_kg, nan=0.02).clip(0.0, EATEN_MOST_KG)  # an hour
        self._weight = window.of("weight")
        self._window, self._known_s = window, known_until_s(window, "bees-in", "bees-out") or 0

    def judge(self, day: int) -> _Hit | None:
        """Judge a day on which the weight fell further than usual."""
        days, bare = self._days, self._bare
        low, high = np.searchsorted(bare.time_s, [days.rise_s[day], days.dusk_s[day] + 1])
        time_s, kg = bare.time_s[low:high], bare.value[low:high]
        if not len(kg):
            return None
        loss_kg = self._dawn_kg[day] - kg
        away_kg, busy = self._traffic(day, time_s)
        out_kg = np.where(time_s > days.set_s[day] + HOME_S, 0.0, self._usual_kg[day])
        away_kg = np.maximum(away_kg, out_kg)
        eaten_kg = self._eaten_kg[day] * (time_s - days.dawn_s[day]) / HOUR_S
        beyond_kg = loss_kg - away_kg - eaten_kg
        is_counted = not np.isnan(busy).all()
        margin_kg = np.where(busy >= BUSY, MARGIN_BUSY_KG, MARGIN_KG)
        margin_kg = np.where(busy < BUSY, MARGIN_QUIET_KG, margin_kg) + self._spoilt_kg(day, time_s)
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
        if told is None:
            return None
        small = np.flatnonzero(loss_kg[: told + 1] < min(0.25, loss_kg[told] / 4))
        return _Hit(
            day=day,
            start_s=int(time_s[small[-1]] if len(small) else time_s[0]),
            told_s=int(time_s[told]),
            lost_kg=float(max(beyond_kg[told], loss_kg[-1] - eaten_kg[-1])),
            busy=float(busy[told]) if is_counted and not np.isnan(busy[told]) else None,
        )

    def _is_late(self, time_s: Ints) -> bool:
        """Say whether the counter has yet to send what it saw of a day's readings."""
        first_s, last_s = int(time_s[0]), int(time_s[-1])
        return last_s > self._known_s and any(
            is_awaited(self._window, name, first_s, last_s) for name in ("bees-in", "bees-out")
        )

    def _traffic(self, day: int, time_s: Ints) -> tuple[Floats, Floats]:
        """Give the weight of the bees that are away, and how busy it is beside the days before."""
        days = self._days
        nothing = np.zeros(len(time_s)), np.full(len(time_s), np.nan)
        if np.isnan(days.bees_out[day]) or np.isnan(days.bees_in[day]):
            return nothing
        begin_s = int(days.start_s[day])
        out = passed(self._out, begin_s, time_s)
        back = passed(self._in, begin_s, time_s)
        away_kg = BEE_KG * np.maximum(out * self._ratio[day] - back, 0.0)
        before = [
            passed(self._out, int(days.start_s[i]), time_s - begin_s + int(days.start_s[i]))
            for i in range(max(0, day - USUAL_DAYS), day)
            if days.bees_out[i] >= BUSY_LEAST
        ]
        if len(before) < 3:  # noqa: PLR2004 - fewer days are no rule
            return away_kg, np.where(out >= BUSY_LEAST, np.nan, 0.0)
        usual = np.maximum(np.median(before, axis=0), BUSY_LEAST / 2)
        return away_kg, np.where(out >= BUSY_LEAST, out / usual, 0.0)

    def _spoilt_kg(self, day: int, time_s: Ints) -> Floats:
        """Give what feed that dries, and steps of the day itself, may take."""
        spoilt = np.zeros(len(time_s))
        for step in self._days.steps:
            if step.after_s > self._days.dawn_s[day]:
                spoilt += STEP_SHARE * abs(step.size_kg) * (time_s >= step.before_s)
            if step.size_kg > 0 and step.after_s > self._days.dawn_s[day] - FED_DAYS * DAY_S:
                spoilt += FED_SHARE * step.size_kg * (time_s >= step.before_s)
        return spoilt


def _is_slow(time_s: Ints, loss_kg: Floats, sudden_s: int) -> Flags:
    """Say where the loss came bit by bit: no short span before holds most of it."""
    earlier = np.searchsorted(time_s, time_s - sudden_s)
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


def _runs(hits: Sequence[_Hit]) -> Iterator[list[_Hit]]:
    """Join days that follow each other."""
    run: list[_Hit] = []
    for hit in hits:
        if run and hit.day - run[-1].day > OVER_DAYS:
            yield run
            run = []
        run.append(hit)
    if run:
        yield run


def _robbed(window: HiveWindow, days: Days, run: Sequence[_Hit]) -> Finding:
    """Put a robbing into words and figures."""
    first, last = run[0], run[-1]
    over = last.day + OVER_DAYS
    is_over = over < len(days) and window.as_of_s >= days.dusk_s[over]
    kg = sum(hit.lost_kg for hit in run)
    measures: dict[str, float] = {"kg_lost": round(kg, 2), "days": len(run)}
    evidence = [
        f"{first.lost_kg:.1f} kg went bit by bit between morning and evening, besides the bees out",
        "the weight is below that of the days before",
    ]
    busy = [hit.busy for hit in run if hit.busy is not None]
    confidence = 0.6
    if busy:
        measures["traffic_times"] = round(max(busy), 1)
        evidence.append(f"up to {max(busy):.1f} times the usual traffic")
        confidence = 0.9 if max(busy) >= BUSY else 0.55
    if len(run) > 1:
        evidence.append(f"{len(run)} such days, {kg:.1f} kg in all")
    return Finding(
        kind="robbing",
        subject=f"hive:{window.hive.id}",
        start_s=first.start_s,
        end_s=int(days.dusk_s[last.day]) if is_over else None,
        detected_s=first.told_s,
        confidence=confidence,
        measures=measures,
        evidence=tuple(evidence),
        status="ended" if is_over else "open",
    )
