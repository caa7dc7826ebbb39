"""A hive's history day by day: what it gained, lost, sent out and kept warm, by local days.

A day's figures rest on the readings of that day, of the night before and of the night after, and on
nothing else, so that a day once over changes only when late data reach it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.carried import unless_same, worked
from hivewatch.signals.levels import deviation, mean, middle_of
from hivewatch.signals.local_days import LocalDays
from hivewatch.signals.steps import Step, steps_of
from hivewatch.signals.window import Floats, HiveWindow, Ints, Series, first_from

DAY_S = 86_400
HOUR_S = 3600
BEFORE_RISE_S = (9000, 1800)  # [s] own choice: everybody is home and nobody has left
AFTER_SET_S = (3600, 9000)  # [s] own choice: the last foragers are home
LIES_S = (12 * HOUR_S, 4 * HOUR_S)  # [s] own choice: rain that no sun has dried by dawn, by dusk
FLIGHT_CEL = 12.0  # [Cel] popular: weatherstem and others, 54 F; checks of the field vary 10 to 15
LEAST_NEST = 6  # own choice: readings that make a day's mean of the nest
READ = (
    "rise_s", "set_s", "dawn_s", "dusk_s", "dawn_kg", "dusk_kg", "night_mm", "dusk_mm",
    "rain_mm", "nest_cel", "nest_sd_k", "ambient_cel", "bees_in", "bees_out",
    "flight_s", "home_s", "flying_h",
)  # fmt: skip
"""Figures of `Days` that come from readings; the others are worked out of these and the steps."""
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
    night_mm, dusk_mm : Floats
        Rain of the twelve hours before dawn weight is known, of the four before dusk's. [mm]
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
    night_mm: Floats
    dusk_mm: Floats
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
    return worked(window, "days", lambda here, _: _work_out(here))


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the days before a midnight."""
    days = days_of(window)
    n = int(days.start_s.searchsorted(until_s))
    read = [getattr(days, name)[:n] for name in READ]
    return {"days": _Read(days.day[:n], days.start_s[: n + 1].copy(), np.array(read))}


class _Read(NamedTuple):
    """Some days, and what readings say of them: a row for each of `READ`."""

    day: tuple[date, ...]
    start_s: Ints
    figures: Floats

    def then(self, later: _Read) -> _Read:
        """Put the days that follow behind these."""
        figures = np.concatenate((self.figures, later.figures), axis=1)
        start_s = np.concatenate((self.start_s[:-1], later.start_s))
        return _Read(self.day + later.day, start_s, figures)


def _work_out(window: HiveWindow) -> Days:
    """Work out a hive's days."""
    kept = window.carried.parts.get("days")
    read = _read(window, int(kept.start_s[-1]) if isinstance(kept, _Read) else None)
    day, start_s, figures = kept.then(read) if isinstance(kept, _Read) else read
    of = dict(zip(READ, figures, strict=True))
    steps = tuple(steps_of(window))
    places = unless_same(window, "places of steps", steps, lambda: _Places.of(steps))
    rise_s, dawn_kg, dusk_kg = of["rise_s"], of["dawn_kg"], of["dusk_kg"]
    by_day = places.within(rise_s, of["set_s"])
    by_night = places.within(of["set_s"], _next_rise_s(rise_s))
    next_dawn_kg = np.concatenate((dawn_kg[1:], [np.nan]))
    return Days(
        day=day,
        start_s=start_s,
        gain_kg=next_dawn_kg - dawn_kg - by_day - by_night,
        day_kg=dusk_kg - dawn_kg - by_day,
        night_kg=dusk_kg - next_dawn_kg + by_night,
        step_kg=by_day + by_night,
        steps=steps,
        **of,
    )


def _read(window: HiveWindow, from_s: int | None) -> _Read:
    """Work out what readings say of the days from a midnight on."""
    day, start_s, rise_s, set_s = _calendar(window, from_s)
    weight, rain, ambient = (window.of(one) for one in ("weight", "rain", "ambient"))
    dawn_s = rise_s - BEFORE_RISE_S[1]
    dusk_s = np.minimum(set_s + AFTER_SET_S[1], _next_rise_s(rise_s) - BEFORE_RISE_S[0])
    dawn_kg = _each(_cut(weight, rise_s - BEFORE_RISE_S[0], dawn_s), middle_of)
    dusk_kg = _each(_cut(weight, set_s + AFTER_SET_S[0], dusk_s), middle_of)
    last_s = window.over_s("weight")
    dawn_kg[dawn_s > last_s] = np.nan  # not over yet, as far as the readings go
    dusk_kg[dusk_s > last_s] = np.nan
    night_mm, dusk_mm = (
        np.where(at_s > last_s, np.nan, _each_sum(_cut(rain, at_s - lies_s, at_s)))
        for at_s, lies_s in zip((dawn_s, dusk_s), LIES_S, strict=True)
    )
    edges: dict[int, Ints] = {}  # most quantities are sent at the same times

    def by_day(name: str) -> _Spans:
        series = window.of(name)
        key = id(series.time_s)
        if key not in edges:
            edges[key] = first_from(series.time_s, start_s)
        return _Spans(series, edges[key][:-1], edges[key][1:])

    nest, out = by_day("nest"), by_day("bees-out")
    flight_s, home_s = _first_and_last(out)
    figures = {
        "rise_s": rise_s,
        "set_s": set_s,
        "dawn_s": dawn_s,
        "dusk_s": dusk_s,
        "dawn_kg": dawn_kg,
        "dusk_kg": dusk_kg,
        "night_mm": night_mm,
        "dusk_mm": dusk_mm,
        "rain_mm": _each_sum(by_day("rain")),
        "nest_cel": _each(nest, mean, LEAST_NEST),
        "nest_sd_k": _each(nest, deviation, LEAST_NEST),
        "ambient_cel": _each(by_day("ambient"), mean, LEAST_NEST),
        "bees_in": _each_sum(by_day("bees-in")),
        "bees_out": _each_sum(out),
        "flight_s": flight_s,
        "home_s": home_s,
        "flying_h": _flying_h(ambient, rise_s, set_s),
    }
    return _Read(day, start_s, np.array([figures[name] for name in READ]))


def _next_rise_s(rise_s: Floats) -> Floats:
    """Give the sunrise after each day, about that after the last one. [s]."""
    return np.concatenate((rise_s[1:], rise_s[-1:] + DAY_S))


def _calendar(window: HiveWindow, known_s: int | None) -> LocalDays:
    """Give the local days from the first reading, or a midnight, to the last."""
    zone = ZoneInfo(window.yard.timezone)
    there = [one.time_s for one in window.series.values() if len(one)]
    begin_s = min((int(one[0]) for one in there), default=window.as_of_s)
    begin_s = begin_s if known_s is None else known_s
    end_s = max((int(one[-1]) for one in there), default=window.as_of_s)
    first = datetime.fromtimestamp(begin_s, zone).date()
    last = datetime.fromtimestamp(end_s, zone).date()
    given = window.yard, first, last
    return unless_same(window, "calendar", given, lambda: LocalDays.of(*given))


class _Spans(NamedTuple):
    """Where some spans of time begin and end in a series."""

    series: Series
    low: Ints
    high: Ints


def _cut(series: Series, from_s: NDArray[np.generic], to_s: NDArray[np.generic]) -> _Spans:
    """Find the readings of some spans of time."""
    return _Spans(series, first_from(series.time_s, from_s), first_from(series.time_s, to_s))


def _each(spans: _Spans, reduce: Callable[[Floats], float], least: int = 1) -> Floats:
    """Reduce the readings of each span to one figure; NaN where there are fewer than `least`."""
    value, low, high = spans.series.value, spans.low.tolist(), spans.high.tolist()
    figures = [
        reduce(value[begin:end]) if end - begin >= least else np.nan
        for begin, end in zip(low, high, strict=True)
    ]
    return np.array(figures, np.float64)


def _each_sum(spans: _Spans) -> Floats:
    """Add up the counts of each span; NaN where there is none."""
    return _each(spans, lambda counts: float(np.add.reduce(counts)))


class _Places(NamedTuple):
    """The middles of some steps [s], and their sizes [kg]."""

    middle_s: Floats
    size_kg: Floats

    @classmethod
    def of(cls, steps: Sequence[Step]) -> _Places:
        """Take them from the steps."""
        middle_s = [(step.before_s + step.after_s) / 2 for step in steps]
        return cls(np.array(middle_s, np.float64), np.array([one.size_kg for one in steps]))

    def within(self, from_s: Floats, to_s: Floats) -> Floats:
        """Add up the steps that fall into each span, by their middle."""
        at = from_s.searchsorted(self.middle_s, side="right") - 1
        within = (at >= 0) & (self.middle_s < to_s[at])
        return np.bincount(at[within], self.size_kg[within], len(from_s)).astype(np.float64)


def sum_steps(steps: Sequence[Step], from_s: Floats, to_s: Floats) -> Floats:
    """Add up the steps that fall into each span, by their middle."""
    return _Places.of(steps).within(from_s, to_s)


def _first_and_last(out: _Spans) -> tuple[Floats, Floats]:
    """Give when the first and the last fiftieth of each day's bees had left."""
    first, last = np.full(len(out.low), np.nan), np.full(len(out.low), np.nan)
    for i in np.flatnonzero(out.high > out.low).tolist():
        passed = out.series.value[out.low[i] : out.high[i]].cumsum()
        if passed[-1] > 0:
            shares = passed / passed[-1]
            at = out.low[i] + shares.searchsorted((FIRST_FLIGHT, 1 - FIRST_FLIGHT))
            first[i], last[i] = out.series.time_s[at]
    return first, last


def _flying_h(ambient: Series, rise_s: Floats, set_s: Floats) -> Floats:
    """Give the hours between sunrise and sunset in which it was warm enough to fly."""

    def share(air_cel: Floats) -> float:
        return np.count_nonzero(air_cel >= FLIGHT_CEL) / len(air_cel)

    return _each(_cut(ambient, rise_s, set_s), share) * (set_s - rise_s) / HOUR_S
