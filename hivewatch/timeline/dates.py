"""The dates that follow from what was seen of a queen: which still stand, and which are settled."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from operator import attrgetter

from hivewatch.comb.calendar import Due, Seen, queen_calendar
from hivewatch.detect.finding import Finding
from hivewatch.inspections import Inspection
from hivewatch.moments import spoken
from hivewatch.timeline.stated import Noted

CELLS: dict[str, Seen] = {
    "eggs": "cell with egg",
    "open": "open cell",
    "capped": "capped cell",
    "emerged": "emerged cell",
}
SWARM_SURE = 0.5  # own choice: less likely than not starts no calendar
SWARM_HOLDS_DAYS = 8  # own choice: cells seen so soon after a swarm say less than the swarm does
OVER_DAYS = 60  # own choice: by then another calendar, or a season, is over
NAMES: dict[Seen, str] = {
    "cell with egg": "a queen cell with an egg",
    "open cell": "an open queen cell",
    "capped cell": "a capped queen cell",
    "emerged cell": "an empty queen cell",
    "virgin seen": "a virgin queen",
    "swarm left": "a swarm that left",
    "queen lost": "a lost queen",
    "queen removed": "a queen taken out",
    "queen caged": "a caged queen",
    "requeened": "a new queen put in",
}


@dataclass(frozen=True, slots=True)
class Event:
    """Something that starts a queen calendar.

    Parameters
    ----------
    id : str
        Of the inspection or finding that says it.
    seen : str
        What, in the words of the calendar.
    on : date
        Local day.
    said_s : int
        When it happened. [s]
    over_s : int or None
        When something later settled it: eggs of the new queen, or a newer event. [s]
    """

    id: str
    seen: Seen
    on: date
    said_s: int
    over_s: int | None = None

    @property
    def dates(self) -> list[Due]:
        """Give what follows from it."""
        return queen_calendar(self.seen, self.on)

    @property
    def words(self) -> str:
        """Say it in a few words with its day."""
        return f"{NAMES[self.seen]} on {spoken(self.on)}"


def queen_events(
    findings: Iterable[Finding], inspections: Sequence[Noted], zone: tzinfo, as_of: date
) -> list[Event]:
    """Say what started a queen calendar at one hive, and what of it is settled.

    Parameters
    ----------
    findings : Iterable[Finding]
        Of one hive; a swarm starts a calendar.
    inspections : Sequence[Noted]
        Of that hive, in any order.
    zone : tzinfo
        Of its yard.
    as_of : date
        Local day; later events, and those over sixty days ago, are left out.

    Returns
    -------
    list[Event]
        By time. At most one is not over.
    """
    seen = {one.id: what for one in inspections if (what := _seen(one.inspection)) is not None}
    swarms = [
        Event(one.id, "swarm left", _day(one.start_s, zone), one.start_s)
        for one in findings
        if one.kind == "swarm"
        and one.status not in {"explained", "withdrawn"}
        and one.confidence >= SWARM_SURE
    ]
    if not seen and not swarms:
        return []
    visits = sorted(inspections, key=attrgetter("inspection.at_s", "id"))
    events = [
        Event(one.id, seen[one.id], _day(one.inspection.at_s, zone), one.inspection.at_s)
        for one in visits
        if one.id in seen
    ] + swarms
    oldest = as_of - timedelta(days=OVER_DAYS)
    events = sorted((one for one in events if oldest <= one.on <= as_of), key=lambda e: e.said_s)
    kept = _without_lesser(events)
    return [
        Event(one.id, one.seen, one.on, one.said_s, _over_s(one, kept[i + 1 :], visits, zone))
        for i, one in enumerate(kept)
    ]


def _seen(visit: Inspection) -> Seen | None:
    """Say what of a visit starts a calendar; the furthest on, when it is several things."""
    done = {one.what for one in visit.actions}
    if "requeened" in done:
        return "requeened"
    if "queen caged" in done:
        return "queen caged"
    if visit.queen == "virgin":
        return "virgin seen"
    cells = visit.queen_cells
    if cells is not None and cells.count > 0 and cells.stage in CELLS:
        return CELLS[cells.stage]
    return "queen lost" if visit.queen == "absent" else None


def _without_lesser(events: Sequence[Event]) -> list[Event]:
    """Leave out cells that were seen when a swarm, which says more, had just left."""
    kept: list[Event] = []
    for one in events:
        swarms = [other for other in kept if other.seen == "swarm left"]
        is_cell = one.seen in CELLS.values()
        if is_cell and any((one.on - other.on).days <= SWARM_HOLDS_DAYS for other in swarms):
            continue
        kept.append(one)
    return kept


def _over_s(
    event: Event, later: Sequence[Event], visits: Sequence[Noted], zone: tzinfo
) -> int | None:
    """Give when an event was settled: by the next one, or by eggs of the queen it was about."""
    moments = [one.said_s for one in later[:1]]
    first_eggs = min(due.first for due in event.dates if due.what == "first eggs")
    for visit in visits:
        seen = visit.inspection
        if seen.at_s <= event.said_s:
            continue
        lays = has_eggs(seen) and _day(seen.at_s, zone) >= first_eggs
        old_queen = event.seen in CELLS.values() and _is_settled(seen)
        if lays or old_queen:
            moments.append(seen.at_s)
            break
    return min(moments, default=None)


def _is_settled(visit: Inspection) -> bool:
    """Say whether the old queen is seen and her hive has no cells any more."""
    cells = visit.queen_cells
    return visit.queen == "seen" and cells is not None and cells.count == 0


def has_eggs(visit: Inspection) -> bool:
    """Say whether a visit saw eggs."""
    counted = visit.brood.eggs if visit.brood is not None else None
    sides = any((side.eggs or 0) > 0 for side in visit.frames)
    return visit.queen == "eggs seen" or bool(counted) or sides


def looked_at_brood(visit: Inspection) -> bool:
    """Say whether a visit looked for eggs at all, whether or not it found any."""
    counted = visit.brood is not None and visit.brood.eggs is not None
    return visit.queen is not None or counted or any(s.eggs is not None for s in visit.frames)


def _day(at_s: int, zone: tzinfo) -> date:
    return datetime.fromtimestamp(at_s, zone).date()
