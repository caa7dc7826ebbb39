"""Truth that must be read off the days of one hive: brood, hunger, heat."""

# What counts as hunger is our own choice.

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from simulators.plans import STEP_S, STEPS_A_DAY, Floats, instant
from simulators.sensors import Told

BROOD_CELLS = 800.0  # open and capped
HUNGER_DAYS, HUNGER_KG = 12.0, 4.0
LAST_KG, LAST_FED_KG = 0.9, 1.5
FED_DAYS, FED_KG = 16.0, 5.0  # until then a shortage goes on
CLEAR_DAYS, CLEAR_KG = 4, 3.0  # so long, and so low, it is one
HOT_C, HOT_H = 37.5, 2.0
SHUT_IN_H = 12.0  # a hive that was shut in is hot for some hours after

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
    for first, last, left, clear in hunger(column):
        end = start + 86_400 * (last + 1) if last < days - 1 else None
        begin = start + 86_400 * first
        tell("low_stores", begin, end, days_left=round(left, 1), clear=clear)
    hot = (told.nest.nest_c > HOT_C) & np.repeat(brood, STEPS_A_DAY)
    for first, last in runs(hot, int(HOT_H * 3_600 / STEP_S), STEPS_A_DAY // 4):
        begin, end = start + STEP_S * first, start + STEP_S * last
        if not any(
            s.what == "shut in" and s.begin_s <= end and begin <= s.end_s + SHUT_IN_H * 3_600
            for s in told.life.spells
        ):  # that heat is told already, by what caused it
            tell("overheating", begin, end)
    return events


def hunger(column: dict[str, Floats]) -> Iterator[tuple[int, int, float, bool]]:
    """Find the spells with little honey: first and last day, days left at first, is it clear.

    Days left are what is there by what is eaten a day, as if nothing came in: a flow may break off
    any day. A spell begins when less than 12 days and 4 kg are left, or less than 0.9 kg, which a
    cluster may not reach; it goes on until there are 16 days and 1.5 kg, or 5 kg. Wood, bees and
    brood are known to a kilogram, hardly better: a spell is clear when it stays below the first
    marks for 4 days and comes to 3 kg. What is not clear, or only below the second marks, a watcher
    may tell and need not.
    """
    kg = column["stores_kg"]
    left = kg / np.maximum(_mean(column["honey_eaten"], 7), 0.02)
    lives = column["adults"] > 500
    hungry = (((left < HUNGER_DAYS) & (kg < HUNGER_KG)) | (kg < LAST_KG)) & lives
    still = ((left < FED_DAYS) & (kg < FED_KG)) | (kg < LAST_FED_KG)
    for first, last in runs(still & lives, 2, 1):
        below = np.flatnonzero(hungry[first : last + 1])
        begin = first + int(below[0]) if below.size else first
        is_clear = below.size >= CLEAR_DAYS and kg[first : last + 1].min() <= CLEAR_KG
        yield begin, last, float(left[begin]), bool(is_clear)


def _mean(values: Floats, days: int) -> Floats:
    half = days // 2
    total = np.concatenate(([0.0], np.cumsum(values)))
    at = np.arange(values.size)
    first, last = np.maximum(at - half, 0), np.minimum(at + half + 1, values.size)
    return np.asarray((total[last] - total[first]) / (last - first), np.float64)
