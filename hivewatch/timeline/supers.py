"""When a hive wants a super: the outlook has bees, or nectar, run out of room."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta, tzinfo
from typing import Any

from hivewatch.comb.held import supers_on
from hivewatch.inspections import Inspection
from hivewatch.moments import spoken
from hivewatch.timeline import kit
from hivewatch.timeline.wants import AHEAD_DAYS, PRESSING_DAYS, Facts, Reason

HOLDS_DAYS = 10  # own choice: a super put on lately is room enough


def super_reasons(facts: Facts, visits: Sequence[Inspection], today: date) -> Iterator[Reason]:
    """Ask for a super where the outlook has bees, or nectar, run out of room."""
    room = (facts.outlook or {}).get("room") or {}
    told = room.get("super_by")
    if told is None or is_outdated(room, visits):
        return
    by = date.fromisoformat(told)
    if by > today + timedelta(days=AHEAD_DAYS):
        return
    yield Reason(
        source="outlook",
        about="super",
        level="deadline" if by <= today + timedelta(days=PRESSING_DAYS) else "next visit",
        by=by,
        words=f"{no_room(room, today)}: "
        + ("a super today" if by <= today else f"a super by {spoken(by)}"),
        why="a colony without room makes ready to swarm"
        if room.get("pressed_by") != "nectar"
        else "without room bees bring in no more, and fill the brood nest",
        mind=kit.LIFTING,
        take=(kit.SUPER,),
    )


def is_outdated(room: Mapping[str, Any], visits: Sequence[Inspection]) -> bool:
    """Say whether a super was put on that an outlook did not know of."""
    return supers_on(visits) > int(room.get("supers") or 0)


def no_room(room: Mapping[str, Any], today: date) -> str:
    """Say of an outlook when there is no room left, and for what."""
    if room.get("pressed_by") == "nectar":
        full = date.fromisoformat(room["full_on"])
        gain = f"{room['gain_kg_a_day']:.1f} kg a day"
        if full > today:
            return f"At {gain} there is no more room for honey from {spoken(full)} on"
        since = f" since {spoken(full)}" if full < today else ""
        return f"No room for honey{since}, and {gain} come in"
    boxes = "Brood boxes and supers" if room.get("supers") else "The brood boxes"
    full = date.fromisoformat(room["crowded_on"])
    if full > today:
        return f"{boxes} will be full on {spoken(full)}"
    return f"{boxes} have been full since {spoken(full)}" if full < today else f"{boxes} are full"


def has_fresh_super(visits: Sequence[Inspection], zone: tzinfo, today: date) -> bool:
    """Say whether a super was put on lately."""
    added_s = [one.at_s for one in visits if "super added" in [did.what for did in one.actions]]
    if not added_s:
        return False
    return datetime.fromtimestamp(max(added_s), zone).date() >= today - timedelta(days=HOLDS_DAYS)
