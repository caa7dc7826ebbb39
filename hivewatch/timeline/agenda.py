"""What stands in the calendar: queen dates, supers due, next looks; all of whole local days.

Each appointment keeps its name as long as it is about the same thing. What has been settled is
cancelled, not taken away, so that a phone that keeps copies strikes it out, too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from operator import attrgetter
from zoneinfo import ZoneInfo

from hivewatch.apiary import Yard
from hivewatch.comb.calendar import What
from hivewatch.comb.outlook_words import VISIT_STALE_DAYS
from hivewatch.inspections import Inspection
from hivewatch.signals.season import laying_level
from hivewatch.timeline.dates import Event, queen_events
from hivewatch.timeline.reasons import SEASON_LEVEL
from hivewatch.timeline.supers import is_outdated, no_room
from hivewatch.timeline.wants import Facts

SUMMARY: Mapping[What, str] = {
    "no eggs left": "no eggs left",
    "no open brood left": "no open brood left",
    "no brood left": "no brood left",
    "after-swarm": "an after-swarm may leave",
    "emergence": "a queen emerges",
    "mating": "a queen flies out to mate",
    "first eggs": "first eggs of the young queen",
    "do not open": "do not open",
    "look for cells": "look for queen cells",
    "look for eggs": "look for eggs",
    "first new workers": "first workers of the young queen",
    "failed if no eggs": "no eggs by now means no queen",
    "free the queen": "let the caged queen out",
}
ASKS = frozenset({"look for cells", "look for eggs", "failed if no eggs", "free the queen"})
STINGS = "Veil and gloves on before you open; lift full boxes with a second person."


@dataclass(frozen=True, slots=True)
class Appointment:
    """One entry of the calendar.

    Parameters
    ----------
    name : str
        Stays the same as long as it is about the same thing.
    summary, text : str
        A line, and some.
    first, last : date
        Local days of the yard, both included.
    stamp_s : int
        When the facts that it rests on last changed: it never falls while they only grow. [s]
    yard : str
        Its name.
    is_cancelled : bool
        Settled before it was due.
    """

    name: str
    summary: str
    text: str
    first: date
    last: date
    stamp_s: int
    yard: str
    is_cancelled: bool = False


def agenda(
    yards: Sequence[Yard], facts: Mapping[str, Sequence[Facts]], as_of_s: int
) -> list[Appointment]:
    """Say what stands in the calendar.

    Parameters
    ----------
    yards : Sequence[Yard]
        All of them.
    facts : Mapping
        Yard -> what is known of each of its hives.
    as_of_s : int
        The moment. [s]

    Returns
    -------
    list[Appointment]
        By day and name.
    """
    found = [
        one for yard in yards for its in facts.get(yard.id, ()) for one in _of(its, yard, as_of_s)
    ]
    return sorted(found, key=lambda one: (one.first, one.name))


def _of(facts: Facts, yard: Yard, as_of_s: int) -> Iterator[Appointment]:
    """Give the appointments of one hive; none where there are no bees any more."""
    if facts.is_without_bees:
        return
    zone = ZoneInfo(yard.timezone)
    today = datetime.fromtimestamp(as_of_s, zone).date()
    noted = [one for one in facts.inspections if one.inspection.at_s <= as_of_s]
    for event in queen_events(facts.findings, noted, zone, today):
        yield from _queen(event, facts.hive.id, yard, zone)
    visits = sorted((one.inspection for one in noted), key=attrgetter("at_s"))
    yield from _super(facts, visits, yard)
    counted = [one.at_s for one in visits if one.brood or one.adults is not None or one.frames]
    if counted:
        due = datetime.fromtimestamp(counted[-1], zone).date() + timedelta(days=VISIT_STALE_DAYS)
        if laying_level(due, yard.latitude) >= SEASON_LEVEL:
            yield Appointment(
                name=f"look-{facts.hive.id}",
                summary=f"{facts.hive.id}: count brood and bees",
                text=f"The last count is {VISIT_STALE_DAYS} days old then. {STINGS}",
                first=due,
                last=due,
                stamp_s=counted[-1],
                yard=yard.name,
            )


def _queen(event: Event, hive: str, yard: Yard, zone: ZoneInfo) -> Iterator[Appointment]:
    """Give the dates that follow from one sighting; those still to come when it was settled go."""
    settled = None if event.over_s is None else datetime.fromtimestamp(event.over_s, zone).date()
    for due in event.dates:
        is_cancelled = settled is not None and due.last >= settled
        mind = f" {STINGS}" if due.what in ASKS else ""
        yield Appointment(
            name=f"{due.what.replace(' ', '-')}-{event.id}",
            summary=f"{hive}: {SUMMARY[due.what]}",
            text=f"After {event.words}. Dates: {due.source}.{mind}",
            first=due.first,
            last=due.last,
            stamp_s=_later(event) if is_cancelled else event.said_s,
            yard=yard.name,
            is_cancelled=is_cancelled,
        )


def _later(event: Event) -> int:
    """Give when an event was settled, by a minute at least after it was said. [s]."""
    return max(event.over_s or 0, event.said_s + 60)


def _super(facts: Facts, visits: Sequence[Inspection], yard: Yard) -> Iterator[Appointment]:
    """Give the day by which the outlook wants a super on."""
    outlook = facts.outlook or {}
    room = outlook.get("room") or {}
    if room.get("super_by") is None or is_outdated(room, visits):
        return
    by, said = date.fromisoformat(room["super_by"]), date.fromisoformat(str(outlook["as_of"])[:10])
    yield Appointment(
        name=f"super-{facts.hive.id}",
        summary=f"{facts.hive.id}: have a super on",
        text=f"{no_room(room, said)}. {STINGS}",
        first=by,
        last=by,
        stamp_s=int(datetime.combine(said, time(), UTC).timestamp()),
        yard=yard.name,
    )
