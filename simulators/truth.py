"""The truth of a hive as JSON: what happened, and every day's bees, brood, stores and income."""

from __future__ import annotations

from typing import Any

from simulators import flows, signs
from simulators.plans import Floats, Scenario, instant
from simulators.season import HiveSeason

DAILY = {
    "laid": 0, "eggs": 0, "open": 0, "capped": 0, "drone_brood": 0, "emerged": 0, "adults": 0,
    "house": 0, "foragers": 0, "winter": 0, "drones": 0, "foragers_lost": 0, "trips": 0,
    "stores_kg": 3, "pollen_kg": 3, "nectar": 3, "honey_eaten": 3, "supers": 0,
    "crowding": 3, "laying_room": 0,
}  # fmt: skip
NAMES = {"nectar": "nectar_kg", "honey_eaten": "honey_eaten_kg", "winter": "winter_bees"}


def of_hive(season: HiveSeason, scenario: Scenario) -> dict[str, Any]:
    """Tell one hive's truth; daily figures hold at the end of the yard's local day."""
    life = season.told.life
    events: list[dict[str, Any]] = [dict(event, yard=season.yard.id) for event in life.events]
    for begin, end, bees in season.told.traffic.orientation:
        events.append(_event(life.plan.id, "orientation_flight", begin, end, bees=round(bees)))
    events += [dict(event, yard=season.yard.id) for event in signs.of_hive(season.told)]
    events += season.watched.events
    events = [event for event in events if not _is_past(event, life.events)]
    recorded = [
        {"hive": life.plan.id, "at": seen["at"], "recorded": instant(when)}
        for seen, when in zip(life.inspections, life.recorded_s, strict=True)
    ]
    daily = {NAMES.get(name, name): _round(life.columns[name], n) for name, n in DAILY.items()}
    return {
        "yard": season.yard.id,
        "milestones": life.milestones,
        "events": events,
        "inspections_recorded": recorded,
        "first_day": scenario.start.isoformat(),
        "daily": daily,
    }


def _is_past(event: dict[str, Any], events: list[dict[str, Any]]) -> bool:
    """Say whether a hive was gone, or dead, before an event; a dead one can still fall."""
    if not str(event["subject"]).startswith("hive:") or event["kind"] == "handling":
        return False
    ends = ("taken",) if event["kind"] in ("taken", "toppled") else ("taken", "dead_out")
    return any(event["start"] > one["start"] for one in events if one["kind"] in ends)


def _event(hive: str, kind: str, begin_s: float, end_s: float, **more: float) -> dict[str, Any]:
    span = {"start": instant(begin_s), "end": instant(end_s)}
    return {"kind": kind, "subject": f"hive:{hive}"} | span | more


def _round(values: Floats, digits: int) -> list[float]:
    rounded = values.round(digits)
    return [int(v) for v in rounded] if digits == 0 else [float(v) for v in rounded]


def of_yard(hives: list[HiveSeason]) -> dict[str, Any]:
    """Tell a yard's flows and dearths and its days' weather."""
    told = [season.told for season in hives]
    sky = told[0].weather
    return {
        "events": flows.of_yard(hives[0].yard.id, told, hives[0].yard.latitude),
        "daily": {
            "air_c": _round(sky.daily(sky.air_c).mean(axis=1), 1),
            "noon_c": _round(sky.daily(sky.air_c).max(axis=1), 1),
            "rain_mm": _round(sky.daily(sky.rain_mm).sum(axis=1), 1),
            "fly_h": _round(sky.daily(sky.flying).sum(axis=1) / 12, 1),
        },
    }
