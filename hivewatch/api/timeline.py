"""The timeline of a hive or a yard: all that happened and all that is asked, in one order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path, Query
from pydantic import Field
from sqlalchemy import Connection

from hivewatch.alerts import answers
from hivewatch.api.entries import Event, Question, moved_words
from hivewatch.api.forms import Asked, Identity, Limit, Page, moment, page_of, seconds
from hivewatch.api.models import Alert, Finding, Recorded
from hivewatch.api.places import HiveId, no_hive
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here, Rooms
from hivewatch.store import entries, standing
from hivewatch.store.entries import Where
from hivewatch.timeline import questions
from hivewatch.timeline.merge import WHATS, Entry, What, page
from hivewatch.timeline.stated import SAME_VISIT_S

FAR_S = 1 << 40  # later than any moment

router = APIRouter(tags=["history"])
YardId = Annotated[Identity, Path(description="the yard's id")]


class TimelineAsked(Asked):
    """Which part of a timeline."""

    what: Annotated[
        list[What] | None, Field(max_length=len(WHATS), description="only these; all without it")
    ] = None
    limit: Limit = 100
    after: (
        Annotated[str, Field(pattern=r"^[0-9]{1,12}~[a-z]{1,16}~[0-9a-zA-Z._-]{1,100}$")] | None
    ) = None

    @property
    def place(self) -> Entry | None:
        """Give the place behind which to go on."""
        if self.after is None:
            return None
        at_s, what, number = self.after.split("~")
        return Entry(int(at_s), what, number)


@router.get("/hives/{hive_id}/timeline", responses=documented(404, 422))
def timeline(here: Here, hive_id: HiveId, asked: Annotated[TimelineAsked, Query()]) -> Page[Event]:
    """Merge what there is of a hive, the newest first."""
    with here.store.read() as connection:
        zone = standing.zone_of(connection, hive=hive_id)
        if zone is None:
            raise no_hive(hive_id)
        return _page(here, connection, Where(hive=hive_id), asked, ZoneInfo(zone))


@router.get("/yards/{yard_id}/timeline", responses=documented(404, 422))
def yard_timeline(
    here: Here, yard_id: YardId, asked: Annotated[TimelineAsked, Query()]
) -> Page[Event]:
    """Merge what there is of a yard and all its hives, the newest first."""
    with here.store.read() as connection:
        zone = standing.zone_of(connection, yard=yard_id)
        if zone is None:
            raise ProblemError(
                404, f'yard "{yard_id}": no such yard; `hivewatch apiary show` lists the yards.'
            )
        return _page(here, connection, Where(yard=yard_id), asked, ZoneInfo(zone))


def _page(
    here: Rooms, connection: Connection, where: Where, asked: TimelineAsked, zone: ZoneInfo
) -> Page[Event]:
    """Find the entries of one page, and only then read them."""
    now_s = here.clock.now_s()
    after, limit = asked.place, asked.limit + 1
    wanted = set(asked.what or WHATS)
    kinds: list[Sequence[Entry]] = [
        entries.entries(connection, what, where, after, limit)
        for what in ("finding", "inspection", "alert", "question")
        if what in wanted
    ]
    moves: dict[Entry, entries.Moved] = {}
    if "device" in wanted:
        told = entries.moves(connection, where, now_s, after, limit)
        moves = {Entry(one.since_s, "device", one.device): one for one in told}
        kinds.append(list(moves))
    noted: dict[Entry, Question] = {}
    if "question" in wanted:
        first = page(kinds, limit, after)
        from_s = first[-1].at_s if len(first) == limit else 0
        noted = _noted(connection, where, (from_s, FAR_S if after is None else after.at_s), zone)
        kinds.append(list(noted))
    shown = page(kinds, limit, after)
    read = _Reader(connection, shown, zone, moves, noted)
    return page_of([one for entry in shown for one in read.event(entry)], asked.limit, now_s, _mark)


def _noted(
    connection: Connection, where: Where, span_s: tuple[int, int], zone: ZoneInfo
) -> dict[Entry, Question]:
    """Hold the inspections of a span against the scale, where one was at work.

    Entries of one visit are held against it together, wherever a page ends between them.
    """
    from_s, until_s = span_s
    weighed = entries.stated_visits(
        connection, where, from_s - SAME_VISIT_S, until_s + SAME_VISIT_S
    )
    caused = entries.explained_by(connection, weighed)
    asked = questions.questions(caused, weighed, zone, {one.id for one in weighed})
    by_id = {one.id: one for one in weighed}
    return {
        Entry(one.at_s, "question", one.id): Question.of(one, by_id.get(one.inspection or ""))
        for one in asked
        if from_s <= one.at_s <= until_s
    }


class _Reader:
    """Reads the entries of one page, each kind at once."""

    def __init__(
        self,
        connection: Connection,
        shown: Sequence[Entry],
        zone: ZoneInfo,
        moves: dict[Entry, entries.Moved],
        noted: dict[Entry, Question],
    ) -> None:
        def ids(what: str) -> list[str]:
            return [one.id for one in shown if one.what == what]

        asked = [one.removeprefix(questions.UNWRITTEN) for one in ids("question")]
        self._findings = entries.read_findings(connection, [*ids("finding"), *asked])
        self._inspections = entries.read_inspections(connection, ids("inspection"))
        rang = [int(one) for one in ids("alert")]
        self._alerts = answers.by_ids(connection, rang) if rang else {}
        self._answered = entries.answered(connection, ids("question"))
        self._zone, self._moves, self._noted = zone, moves, noted

    def event(self, entry: Entry) -> Iterator[Event]:
        """Give an entry in the API's form; nothing when it is gone since."""
        at, what, number = moment(entry.at_s), entry.what, entry.id
        if what == "finding" and number in self._findings:
            told = Finding.of(self._findings[number])
            yield Event(at=at, what="finding", id=number, finding=told)
        elif what == "inspection" and number in self._inspections:
            seen = self._inspections[number]
            kept = Recorded.of(seen)
            yield Event(at=at, what="inspection", id=number, inspection=kept)
        elif what == "alert" and int(number) in self._alerts:
            rang = Alert.of(self._alerts[int(number)])
            yield Event(at=at, what="alert", id=number, alert=rang)
        elif what == "device":
            yield Event(at=at, what="device", id=number, device=moved_words(self._moves[entry]))
        elif what == "question":
            for one in self._question(entry):
                yield Event(at=at, what="question", id=number, question=one)

    def _question(self, entry: Entry) -> Iterator[Question]:
        if entry in self._noted:
            yield self._noted[entry]
            return
        about = self._findings.get(entry.id.removeprefix(questions.UNWRITTEN))
        for one in questions.questions([about] if about else [], [], self._zone):
            yield Question.of(one, self._answered.get(one.id))


def _mark(event: Event) -> str:
    return f"{seconds(event.at)}~{event.what}~{event.id}"
