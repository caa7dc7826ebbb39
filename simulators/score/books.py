"""What the model's own books say of findings and events, beside the truth's list of events."""

from __future__ import annotations

from datetime import datetime
from statistics import fmean
from zoneinfo import ZoneInfo

from simulators.score.kinds import DAY_S, Event
from simulators.score.play import Finding, Season, seconds
from simulators.signs import BROOD_CELLS

BEFORE_S = 90 * DAY_S  # own choice: counts of so long before tell what a queen used to lay
AFTER_S = 9 * DAY_S  # published: eggs and larvae of before are capped by then
FELL_TO = 0.75  # own choice: brood that falls by less lies within what a counting eye is off
WEEK_D, LEAST_KG = 7, 0.02  # as `simulators.signs` tells hunger
SHORT_D = 6  # own choice: the truth tells of a time without brood from six days on
ALONE = 1.5  # own choice: times what the best of the yard's other hives brought


def brought_alone(season: Season, one: Finding) -> bool:
    """Say whether a hive brought far more nectar than any other of its yard, while it was said to.

    The truth tells of a yard's flows only: of a hive that has found a patch which its neighbours
    miss, its own books do.
    """
    hive = str(one["subject"]).removeprefix("hive:")
    books, hives = season.truth.get("hives", {}), season.hives
    first = max(int((seconds(one["start"]) - season.start_s) // DAY_S), 0)
    end = int((seconds(one["end"]) - season.start_s) // DAY_S) if one.get("end") else None
    brought = {
        name: sum(books[name]["daily"]["nectar_kg"][first:end])
        for name, yard in hives.items()
        if name in books and yard == hives.get(hive)
    }
    mine = brought.pop(hive, 0.0)
    return bool(brought) and mine > 0 and mine >= ALONE * max(brought.values())


def had_stores(season: Season, event: Event, least_kg: float) -> bool:
    """Say whether a hive had so much in stores on the evening before an event, if books tell."""
    if not least_kg:
        return True
    books = season.truth.get("hives", {}).get(str(event["subject"]).removeprefix("hive:"))
    before = int((seconds(event["start"]) - season.start_s) // DAY_S) - 1
    return books is None or before < 0 or books["daily"]["stores_kg"][before] >= least_kg


def was_counted(season: Season, event: Event) -> bool:
    """Say whether brood was counted before a queen began to fail, and less of it after.

    Nothing else shows it: half a brood nest is kept as warm as a whole one. A queen who could lay
    far more than her bees can feed lays on as before when she fails.
    """
    if event.get("cause") != "failing queen":
        return True
    start = seconds(event["start"])
    end = seconds(event["end"]) if event.get("end") else season.end_s
    counted = [
        seconds(one["at"])
        for one in season.inspections
        if f"hive:{one['hive']}" == event["subject"] and (one.get("brood") or {}).get("eggs")
    ]
    before = [at_s for at_s in counted if start - BEFORE_S <= at_s <= start]
    after = [at_s for at_s in counted if start + AFTER_S <= at_s <= end]
    if not (before and after):
        return False
    books = season.truth.get("hives", {}).get(str(event["subject"]).removeprefix("hive:"))
    if books is None:
        return True
    daily = books["daily"]
    young: list[float] = [
        eggs + larvae for eggs, larvae in zip(daily["eggs"], daily["open"], strict=True)
    ]
    was, became = (
        [young[int((at_s - season.start_s) // DAY_S)] for at_s in times]
        for times in (before, after)
    )
    return min(became) < FELL_TO * max(was)


def was_without_brood(season: Season, hive: str, at_s: float) -> bool:
    """Say whether a hive had no brood to speak of within days of a moment."""
    daily = season.truth["hives"][hive]["daily"]
    day = int((at_s - season.start_s) // DAY_S)
    near = slice(max(day - SHORT_D, 0), day + SHORT_D + 1)
    cells = zip(daily["open"][near], daily["capped"][near], strict=True)
    return any(young + old < BROOD_CELLS for young, old in cells)


def days_left(season: Season, hive: str, at_s: float) -> float:
    """Give how long a hive's stores last, if nothing comes in, as the truth has it [d].

    The truth's stores are those of evenings: the nearest one counts.
    """
    daily = season.truth["hives"][hive]["daily"]
    kg, eaten_kg = daily["stores_kg"], daily["honey_eaten_kg"]
    zone = ZoneInfo(season.zones[season.hives[hive]])
    first = datetime.fromisoformat(season.truth["start"]).replace(tzinfo=zone)
    day = min(max(round((at_s - first.timestamp()) / DAY_S) - 1, 0), len(kg) - 1)
    week = eaten_kg[max(day - WEEK_D // 2, 0) : day + WEEK_D // 2 + 1]
    return float(kg[day]) / max(fmean(week), LEAST_KG)
