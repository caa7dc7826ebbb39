"""Truth that must be read off the days: flows and dearths, brood, hunger, heat."""

# What counts as a flow or as hunger is our own choice.

from __future__ import annotations

from typing import Any

import numpy as np

from simulators.nature import HONEY_SUGAR
from simulators.plans import STEP_S, STEPS_A_DAY, Floats, instant
from simulators.sensors import Told

FLOW_KG, DEARTH_KG, FLOW_PEAK_KG = 0.35, -0.05, 0.6  # [kg/d] of a typical hive, mean of days
FLOW_DAYS, DEARTH_DAYS, JOIN_DAYS = 3, 8, 3
BROOD_CELLS = 800.0  # open and capped
HUNGER_DAYS, HUNGER_KG = 12.0, 4.0
HOT_C, HOT_H = 37.5, 2.0

Bools = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


def runs(mask: Bools, least: int, join: int = 0) -> list[tuple[int, int]]:
    """Give the runs of true as (first, last), short gaps joined, short runs left out."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    found: list[tuple[int, int]] = []
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if found and first - found[-1][1] - 1 <= join:
            found[-1] = (found[-1][0], after - 1)
        else:
            found.append((first, after - 1))
    return [(first, last) for first, last in found if last - first + 1 >= least]


def net_gain(told: Told) -> Floats:
    """Honey gained a day in kg: brought, less eaten."""
    column = told.life.columns
    return np.asarray(column["sugar"] / HONEY_SUGAR - column["honey_eaten"], np.float64)


def of_yard(yard: str, hives: list[Told]) -> list[dict[str, Any]]:
    """Tell flows and dearths from the middle hive of a yard."""
    gains = np.array(
        [np.where(t.life.columns["adults"] > 6_000, net_gain(t), np.nan) for t in hives]
    )
    known = ~np.isnan(gains).all(axis=0)
    typical = np.zeros(gains.shape[1])
    typical[known] = np.nanmedian(gains[:, known], axis=0)
    brought = np.median([t.life.columns["nectar"] for t in hives], axis=0)
    days = np.arange(typical.size + 1, dtype=np.float64)
    day_s = int(hives[0].weather.time_s[0]) + 86_400.0 * days
    season = hives[0].weather.season_day
    events = []
    smooth = _mean(typical, 3)
    for first, last in runs(smooth > FLOW_KG, FLOW_DAYS, JOIN_DAYS):
        if smooth[first : last + 1].max() >= FLOW_PEAK_KG:
            events.append(_spell("nectar_flow", yard, day_s, first, last, typical))
    idle = (_mean(typical, 7) < DEARTH_KG) & (_mean(brought, 7) < 0.25)
    idle &= (season > 105) & (season < 265)
    for first, last in runs(idle, DEARTH_DAYS, JOIN_DAYS):
        events.append(_spell("dearth", yard, day_s, first, last, typical))
    return events


def of_hive(told: Told) -> list[dict[str, Any]]:
    """Tell brood onset and end, hunger and heat of one hive."""
    column, hive = told.life.columns, told.life.plan.id
    start = int(told.weather.time_s[0])
    events: list[dict[str, Any]] = []

    def tell(kind: str, begin_s: float, end_s: float | None, **more: float) -> None:
        span = {"start": instant(begin_s), "end": None if end_s is None else instant(end_s)}
        events.append({"kind": kind, "subject": f"hive:{hive}"} | span | more)

    days = column["capped"].size
    brood = column["open"] + column["capped"] > BROOD_CELLS
    for first, last in runs(brood, 5, 5):
        if first > 0:
            tell("brood_onset", start + 86_400 * first, None)
        if last < days - 1:
            tell("brood_end", start + 86_400 * last, None)
    eaten = _mean(column["honey_eaten"], 7)
    left = column["stores_kg"] / np.maximum(eaten, 0.02)
    hungry = (left < HUNGER_DAYS) & (column["stores_kg"] < HUNGER_KG) & (column["adults"] > 500)
    for first, last in runs(hungry, 2, 2):
        end = start + 86_400 * (last + 1) if last < days - 1 else None
        tell("low_stores", start + 86_400 * first, end, days_left=round(float(left[first]), 1))
    hot = (told.nest.nest_c > HOT_C) & np.repeat(brood, STEPS_A_DAY)
    for first, last in runs(hot, int(HOT_H * 3_600 / STEP_S), STEPS_A_DAY // 4):
        if not any(s.what == "shut in" for s in told.life.spells):
            tell("overheating", start + STEP_S * first, start + STEP_S * last)
    return events


def _mean(values: Floats, days: int) -> Floats:
    half = days // 2
    total = np.concatenate(([0.0], np.cumsum(values)))
    at = np.arange(values.size)
    first, last = np.maximum(at - half, 0), np.minimum(at + half + 1, values.size)
    return np.asarray((total[last] - total[first]) / (last - first), np.float64)


def _spell(
    kind: str, yard: str, day_s: Floats, first: int, last: int, gain: Floats
) -> dict[str, Any]:
    inside = gain[first : last + 1]
    return {
        "kind": kind,
        "subject": f"yard:{yard}",
        "start": instant(float(day_s[first])),
        "end": instant(float(day_s[last + 1])),
        "kg_a_day": round(float(inside.mean()), 3),
        "kg_gained": round(float(inside.sum()), 2),
    }
