"""What sensors say of a colony between visits: weather, income, traffic, bees that left, brood."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from hivewatch.comb.laying_told import Told, What
from hivewatch.comb.nest import BROOD_CEL, nest_says
from hivewatch.comb.stages import WORKER
from hivewatch.detect.finding import Finding
from hivewatch.signals.dawn import DawnDepartures
from hivewatch.signals.days import Days
from hivewatch.signals.levels import median
from hivewatch.signals.season import usual_flying
from hivewatch.signals.window import Floats

FULL_DAY_H = 12.0
"""Hours of light over 12 Cel that make a full flying day. Own choice: a long day of May, so that
the mean of a summer is the four days of five that `season.usual_flying` supposes."""

RAIN_HALVES_MM = 6.0  # [mm] own choice: so much rain over a day takes half of its flying
LEAST_FLYING_H = 3.0  # [h] own choice: on less, the rate of flights says more of the weather
LEAST_FLIGHTS = 300.0  # [1/d] own choice: less is no colony at work
BLOCK_DAYS = 7
"""Days whose traffic counts as one observation. Own choice: what troubles one day's rate (wind, a
flow) lasts into the next ones, and is no news there."""

USUAL_DAYS = 28  # own choice: days that say how a season flies
USUAL_HELD_DAYS = 7.0  # own choice: usual days that are believed beside them

FLIGHTS_ERROR = 0.3
"""Error of the mean rate of flights of a few days, log scale. Published: weather explains 78 % of
the rate at which bees leave (Clarke & Robert 2018); what is left of it here is own choice."""

DAWN_DAYS = 7  # own choice: days whose departures at dawn count as one observation
DAWN_FLYING = 0.5  # own choice: on worse days many foragers stay at home
DAWN_DAY_ERROR = 0.25  # log scale, of a day; own choice: cold and dew hold some of them back
DAWN_ERROR = 0.2  # log scale, of all days of a week together; own choice

LAST_EGGS_DAYS = 18
"""Days from the last eggs to a nest half way to one without brood. Own choice: brood comes out 21
days after it was laid, and the last of it is too little to keep the nest warm."""

REACH_DAYS = 75  # own choice: no visit older than sixty days is started from
FLOW_DAYS = 5  # own choice: the middle of so many days is a day's income; one day's may be a feed


@dataclass(frozen=True)
class Sensed:
    """What is known of a hive's days besides its visits; whatever is missing is simply not there.

    Parameters
    ----------
    flying : Mapping[date, float]
        Part of a full flying day.
    flow_kg : Mapping[date, float]
        Income of a day. [kg]
    flights : Mapping[date, tuple[float, float]]
        Mean of the log of bees out an hour of flying weather, over `BLOCK_DAYS` to this day, and
        its error.
    dawn : Mapping[date, tuple[float, float]]
        Mean of the log of the bees that left at dawn, over `DAWN_DAYS` to this day, and its error.
    swarms : Mapping[date, tuple[float, float]]
        Bees that left with a queen, and the error of that on the log scale.
    losses : Mapping[date, float]
        Foragers that did not come home.
    nest : Mapping[date, bool]
        Whether the nest shows brood, by its warmth over some days to this one.
    laying : tuple of Told
        What findings say of laying.
    """

    flying: Mapping[date, float] = field(default_factory=dict)
    flow_kg: Mapping[date, float] = field(default_factory=dict)
    flights: Mapping[date, tuple[float, float]] = field(default_factory=dict)
    dawn: Mapping[date, tuple[float, float]] = field(default_factory=dict)
    swarms: Mapping[date, tuple[float, float]] = field(default_factory=dict)
    losses: Mapping[date, float] = field(default_factory=dict)
    nest: Mapping[date, bool] = field(default_factory=dict)
    laying: tuple[Told, ...] = ()


NOTHING = Sensed()


def sensed_of(
    days: Days,
    findings: Iterable[Finding],
    zone: ZoneInfo,
    until: date,
    dawn: DawnDepartures | None = None,
) -> Sensed:
    """Turn a hive's days and findings into what the colony model takes.

    Parameters
    ----------
    days : Days
        Up to the moment; the last one may be under way.
    findings : Iterable[Finding]
        As told at the moment.
    zone : ZoneInfo
        Of the yard: bees that left, left on a local day.
    until : date
        The local day of the moment; of it and later days only findings count.
    dawn : DawnDepartures or None
        What left at dawn on these days.
    """
    since = until - timedelta(days=REACH_DAYS)
    over = [place for place, day in enumerate(days.day) if since <= day < until]
    flying = days.flying_h / FULL_DAY_H / (1.0 + np.nan_to_num(days.rain_mm) / RAIN_HALVES_MM)
    income = np.maximum(days.day_kg, 0.0)
    rate = np.where(
        (days.flying_h >= LEAST_FLYING_H) & (days.bees_out >= LEAST_FLIGHTS),
        np.log(np.maximum(days.bees_out, 1.0) / np.maximum(days.flying_h, LEAST_FLYING_H)),
        np.nan,
    )
    known: dict[str, dict[date, float]] = {"flying": {}, "flow": {}}
    flights = {}
    for place in over:
        day = days.day[place]
        if np.isfinite(flying[place]):
            known["flying"][day] = min(1.0, float(flying[place]))
        near = income[max(0, place - FLOW_DAYS + 1) : place + 1]
        near = near[np.isfinite(near)]
        if len(near) * 2 > FLOW_DAYS:
            known["flow"][day] = median(sorted(near.tolist()))
        block = rate[max(0, place - BLOCK_DAYS + 1) : place + 1]
        if day.toordinal() % BLOCK_DAYS == 0 and np.isfinite(block).any():
            flights[day] = float(np.nanmean(block)), FLIGHTS_ERROR
    found = list(findings)
    swarms, losses = _bees_gone(found, zone)
    left = _left_at_dawn(dawn, flying, days.day, over) if dawn is not None else {}
    told = tuple(_laying_told(found, zone))
    return Sensed(
        *(known["flying"], known["flow"], flights, left, swarms, losses),
        *(nest_says(days, over), told),
    )


def _left_at_dawn(
    dawn: DawnDepartures, flying: Floats, day: Sequence[date], over: Sequence[int]
) -> dict[date, tuple[float, float]]:
    """Give what left at dawn on days of good flying, some days joined by their errors."""
    with np.errstate(invalid="ignore", divide="ignore"):
        log = np.where(flying >= DAWN_FLYING, np.log(dawn.bees), np.nan)
        error2 = (dawn.error_bees / dawn.bees) ** 2 + DAWN_DAY_ERROR**2
    told = {}
    for place in over:
        block = slice(max(0, place - DAWN_DAYS + 1), place + 1)
        weight = np.where(np.isnan(log[block]), 0.0, 1.0 / error2[block])
        if day[place].toordinal() % DAWN_DAYS == 0 and weight.sum() > 0:
            mean = float(np.nansum(weight * log[block]) / weight.sum())
            told[day[place]] = mean, math.sqrt(1.0 / weight.sum() + DAWN_ERROR**2)
    return told


def _bees_gone(
    findings: Iterable[Finding], zone: ZoneInfo
) -> tuple[dict[date, tuple[float, float]], dict[date, float]]:
    """Give the swarms and the foragers lost, by the local day on which they left."""
    swarms: dict[date, tuple[float, float]] = {}
    losses: dict[date, float] = {}
    for one in findings:
        day = datetime.fromtimestamp(one.start_s, UTC).astimezone(zone).date()
        bees, error = one.measures.get("bees_left"), one.measures.get("bees_error")
        if one.kind == "swarm" and isinstance(bees, int | float) and bees > 0:
            part = error / bees if isinstance(error, int | float) else 0.3
            swarms[day] = (float(bees), max(0.1, float(part)))
        lost = one.measures.get("bees_lost")
        if one.kind == "forager_loss" and isinstance(lost, int | float):
            losses[day] = losses.get(day, 0.0) + float(lost)
    return swarms, losses


def _laying_told(findings: Iterable[Finding], zone: ZoneInfo) -> Iterator[Told]:
    """Give what findings say of laying: of queens lost or failing, and of brood that came or went.

    Brood that goes by degrees out of a nest no longer warm, as in autumn, has no such day.
    """
    for one in findings:
        told = datetime.fromtimestamp(one.detected_s, UTC).astimezone(zone).date()
        day = datetime.fromtimestamp(one.start_s, UTC).astimezone(zone).date()
        measures = one.measures
        if one.kind == "queen_trouble":
            what: What = "failing" if measures.get("laying") == "failing" else "stopped"
            yield Told(what, day, told, one.confidence)
        was_cel = measures.get("before_cel")
        if one.kind == "brood_end" and isinstance(was_cel, float) and was_cel >= BROOD_CEL[0]:
            day -= timedelta(days=LAST_EGGS_DAYS)
            yield Told("stopped", day, told, one.confidence)
        if one.kind == "brood_onset":
            day -= timedelta(days=WORKER.hatch_day)
            yield Told("begun", day, told, one.confidence)


def against_usual(sensed: Sensed, latitude: float) -> float:
    """Say how the last weeks flew beside what is usual there in this season: for days not sensed.

    What a year, a place and a thermometer differ by lasts, so a death rate learned on days that
    were measured is not spent on days that are counted by another measure.
    """
    days = sorted(sensed.flying)[-USUAL_DAYS:]
    usual = [usual_flying(day, latitude) for day in days]
    held_back = USUAL_HELD_DAYS * (sum(usual) / len(usual)) if usual else 1.0
    flown = sum(sensed.flying[day] for day in days)
    return (flown + held_back) / (sum(usual) + held_back)


def days_between(since: date, until: date) -> list[date]:
    """Give the days after one and up to another."""
    return [since + timedelta(days=step + 1) for step in range((until - since).days)]
