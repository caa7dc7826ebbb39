"""A hive's history day by day: what it gained, lost, sent out and kept warm, by local days.

A day's figures rest on the readings of that day, of the night before and of the night after, and on
nothing else, so that a day once over changes only when late data reach it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from hivewatch.apiary import Yard
from hivewatch.signals.steps import Step, steps_of
from hivewatch.signals.sun import sun_times
from hivewatch.signals.window import Floats, HiveWindow, Ints, Series

DAY_S = 86_400
HOUR_S = 3600
BEFORE_RISE_S = (9000, 1800)  # [s] own choice: everybody is home and nobody has left
AFTER_SET_S = (3600, 9000)  # [s] own choice: the last foragers are home
NO_SUN_S = (4 * HOUR_S, 22 * HOUR_S)  # [s] own choice: where the sun does not rise, by the clock
FLIGHT_CEL = 12.0  # [Cel] popular: weatherstem and others, 54 F; checks of the field vary 10 to 15
LEAST_NEST = 6  # own choice: readings that make a day's mean of the nest
FIRST_FLIGHT = 0.02  # own choice: share of the day's bees that are out before the day has begun


@dataclass(frozen=True, slots=True)
class Days:
    """Figures of n local days, NaN where the readings do not tell.

    Parameters
    ----------
    day : tuple of date
        The yard's calendar days.
    start_s : Ints
        Their local midnights, shape (n + 1,): the last one ends the last day. [s]
    rise_s, set_s : Floats
        Sunrise and sunset, or fixed hours where there is none. [s]
    dawn_s, dusk_s : Floats
        When that day's dawn and dusk weights are known. [s]
    dawn_kg, dusk_kg : Floats
        Weight before sunrise and after sunset, when all bees are home. [kg]
    gain_kg : Floats
        From this dawn to the next, without steps. [kg]
    day_kg : Floats
        From this dawn to dusk, without steps: what came in, less what was eaten. [kg]
    night_kg : Floats
        Lost from dusk to the next dawn, without steps: ripening and food. [kg]
    step_kg : Floats
        All steps from this dawn to the next, added up. [kg]
    rain_mm : Floats
        Rain of the day. [mm]
    nest_cel, nest_sd_k, ambient_cel : Floats
        Mean of the nest, its standard deviation, mean of the air outside.
    bees_in, bees_out : Floats
        Through the entrance. [bees]
    flight_s, home_s : Floats
        First and last flight: when the first and last fiftieth of the day's bees passed. [s]
    flying_h : Floats
        Hours of light and over 12 Cel outside. [h]
    steps : tuple of Step
        The lasting steps of the weight.
    """

    day: tuple[date, ...]
    start_s: Ints
    rise_s: Floats
    set_s: Floats
    dawn_s: Floats
    dusk_s: Floats
    dawn_kg: Floats
    dusk_kg: Floats
    gain_kg: Floats
    day_kg: Floats
    night_kg: Floats
    step_kg: Floats
    rain_mm: Floats
    nest_cel: Floats
    nest_sd_k: Floats
    ambient_cel: Floats
    bees_in: Floats
    bees_out: Floats
    flight_s: Floats
    home_s: Floats
    flying_h: Floats
    steps: tuple[Step, ...]

    def __len__(self) -> int:
        """Count the days."""
        return len(self.day)


def days_of(window: HiveWindow) -> Days:
    """Work out a hive's days, from its first reading to its last; once for each window.

    Parameters
    ----------
    window : HiveWindow
        The hive; whatever it lacks is NaN in the figures.

    Returns
    -------
    Days
        The last day may be under way; what is not over yet is NaN.

    References
    ----------
    Home to home before dawn, and slow change apart from the day's swing: W. G. Meikle,
    B. G. Rector, G. Mercadier, N. Holst (2008), Apidologie 39:694.
    """
    known = window.memo.get("days")
    if not isinstance(known, Days):
        known = window.memo["days"] = _work_out(window)
    return known


def _work_out(window: HiveWindow) -> Days:
    """Work out a hive's days."""
    day, start_s = _calendar(window)
    sun = sun_times(window.yard, day)
    rise_s = np.where(np.isnan(sun.rise_s), start_s[:-1] + NO_SUN_S[0], sun.rise_s)
    set_s = np.where(np.isnan(sun.set_s), start_s[:-1] + NO_SUN_S[1], sun.set_s)
    weight, nest, ambient = (window.of(one) for one in ("weight", "nest", "ambient"))
    next_rise_s = np.append(rise_s[1:], rise_s[-1:] + DAY_S)
    dawn_s = rise_s - BEFORE_RISE_S[1]
    dusk_s = np.minimum(set_s + AFTER_SET_S[1], next_rise_s - BEFORE_RISE_S[0])
    dawn_kg = _each(weight, rise_s - BEFORE_RISE_S[0], dawn_s, np.median)
    dusk_kg = _each(weight, set_s + AFTER_SET_S[0], dusk_s, np.median)
    last_s = weight.time_s[-1] if len(weight) else 0
    dawn_kg[dawn_s > last_s] = np.nan  # not over yet, as far as the readings go
    dusk_kg[dusk_s > last_s] = np.nan
    steps = steps_of(window)
    by_day = _sum_steps(steps, rise_s, set_s)
    by_night = _sum_steps(steps, set_s, next_rise_s)
    next_dawn_kg = np.append(dawn_kg[1:], np.nan)
    flights = [
        _each_sum(window.of(name), start_s[:-1], start_s[1:]) for name in ("bees-in", "bees-out")
    ]
    flight_s, home_s = _first_and_last(window.of("bees-out"), start_s)
    return Days(
        day=day,
        start_s=start_s,
        rise_s=rise_s,
        set_s=set_s,
        dawn_s=dawn_s,
        dusk_s=dusk_s,
        dawn_kg=dawn_kg,
        dusk_kg=dusk_kg,
        gain_kg=next_dawn_kg - dawn_kg - by_day - by_night,
        day_kg=dusk_kg - dawn_kg - by_day,
        night_kg=dusk_kg - next_dawn_kg + by_night,
        step_kg=by_day + by_night,
        rain_mm=_each_sum(window.of("rain"), start_s[:-1], start_s[1:]),
        nest_cel=_each(nest, start_s[:-1], start_s[1:], np.mean, LEAST_NEST),
        nest_sd_k=_each(nest, start_s[:-1], start_s[1:], np.std, LEAST_NEST),
        ambient_cel=_each(ambient, start_s[:-1], start_s[1:], np.mean, LEAST_NEST),
        bees_in=flights[0],
        bees_out=flights[1],
        flight_s=flight_s,
        home_s=home_s,
        flying_h=_flying_h(ambient, rise_s, set_s),
        steps=tuple(steps),
    )


def local_midnights_s(yard: Yard, first: date, count: int) -> Ints:
    """Give the local midnights of `count` days from `first` on, as Unix time [s]."""
    zone = ZoneInfo(yard.timezone)
    return np.array(
        [
            int(datetime(one.year, one.month, one.day, tzinfo=zone).timestamp())
            for one in (first + timedelta(days=n) for n in range(count))
        ],
        np.int64,
    )


def _calendar(window: HiveWindow) -> tuple[tuple[date, ...], Ints]:
    """Give the local days from the first reading to the last, and their midnights."""
    zone = ZoneInfo(window.yard.timezone)
    there = [one.time_s for one in window.series.values() if len(one)]
    begin_s = min((int(one[0]) for one in there), default=window.as_of_s)
    end_s = max((int(one[-1]) for one in there), default=window.as_of_s)
    first = datetime.fromtimestamp(begin_s, UTC).astimezone(zone).date()
    last = datetime.fromtimestamp(end_s, UTC).astimezone(zone).date()
    count = (last - first).days + 1
    return (
        tuple(first + timedelta(days=n) for n in range(count)),
        local_midnights_s(window.yard, first, count + 1),
    )


def _each(
    series: Series,
    from_s: NDArray[np.generic],
    to_s: NDArray[np.generic],
    reduce: Callable[[Floats], np.generic],
    least: int = 1,
) -> Floats:
    """Reduce the readings of each span to one figure; NaN where there are fewer than `least`."""
    low = np.searchsorted(series.time_s, from_s)
    high = np.searchsorted(series.time_s, to_s)
    figures = np.full(len(low), np.nan)
    for i in np.flatnonzero(high - low >= least):
        figures[i] = reduce(series.value[low[i] : high[i]])
    return figures


def _each_sum(series: Series, from_s: Ints, to_s: Ints) -> Floats:
    """Add up the counts of each span; NaN where there is none."""
    if not len(series):
        return np.full(len(from_s), np.nan)
    summed = np.concatenate(([0.0], np.cumsum(series.value)))
    low, high = np.searchsorted(series.time_s, from_s), np.searchsorted(series.time_s, to_s)
    return np.where(high > low, summed[high] - summed[low], np.nan)


def _sum_steps(steps: list[Step], from_s: Floats, to_s: Floats) -> Floats:
    """Add up the steps that fall into each span, by when they were over."""
    total = np.zeros(len(from_s))
    for step in steps:
        middle_s = (step.before_s + step.after_s) / 2
        total[(from_s <= middle_s) & (middle_s < to_s)] += step.size_kg
    return total


def _first_and_last(out: Series, start_s: Ints) -> tuple[Floats, Floats]:
    """Give when the first and the last fiftieth of each day's bees had left."""
    first, last = np.full(len(start_s) - 1, np.nan), np.full(len(start_s) - 1, np.nan)
    edges = np.searchsorted(out.time_s, start_s)
    for i in np.flatnonzero(edges[1:] > edges[:-1]):
        passed = np.cumsum(out.value[edges[i] : edges[i + 1]])
        if passed[-1] > 0:
            shares = passed / passed[-1]
            first[i] = out.time_s[edges[i] + np.searchsorted(shares, FIRST_FLIGHT)]
            last[i] = out.time_s[edges[i] + np.searchsorted(shares, 1 - FIRST_FLIGHT)]
    return first, last


def _flying_h(ambient: Series, rise_s: Floats, set_s: Floats) -> Floats:
    """Give the hours between sunrise and sunset in which it was warm enough to fly."""
    warm = Series(ambient.time_s, (ambient.value >= FLIGHT_CEL).astype(np.float64))
    return _each(warm, rise_s, set_s, np.mean) * (set_s - rise_s) / HOUR_S
