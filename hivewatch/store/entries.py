"""What there is on a timeline, and in which order, without reading all of it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import NamedTuple

from sqlalchemy import (
    ColumnElement,
    Connection,
    String,
    and_,
    cast,
    exists,
    func,
    select,
    text,
)

from hivewatch.detect.finding import Finding
from hivewatch.store.findings import by_id as finding_by_id
from hivewatch.store.inspections import Stored
from hivewatch.store.inspections import by_id as inspection_by_id
from hivewatch.store.schema import alert, device, finding, inspection, placement
from hivewatch.timeline.merge import Entry
from hivewatch.timeline.questions import ASK_FROM, UNWRITTEN
from hivewatch.wire.quantities import QUANTITIES

NOT_FOR_THE_PHONE = "not for the phone"
WEIGHED_BEFORE_S = 3 * 3600  # [s] own choice: how long before a visit the scale must have spoken
WEIGHED_AFTER_S = (5400, 6 * 3600)  # [s] own choice: and when again, so that a step is settled


class Where(NamedTuple):
    """Whose timeline: of one hive, or of a yard with all its hives."""

    hives: Collection[str]
    yard: str | None = None


class Moved(NamedTuple):
    """A device that was put somewhere else."""

    device: str
    since_s: int
    hive: str | None
    before: str | None


def entries(
    connection: Connection, what: str, where: Where, after: Entry | None, limit: int
) -> list[Entry]:
    """Read the places of the first entries of one kind behind a place, the newest first.

    Of a moment that several entries share, all are read.
    """
    at_s, number, of_kind = _kind(what, where)
    query = select(at_s.label("at_s"), number.label("id")).where(of_kind)
    if after is not None:
        query = query.where(at_s <= after.at_s)
        tied = select(func.count()).where(of_kind, at_s == after.at_s)
        limit += int(connection.execute(tied).scalar_one())
    query = query.order_by(at_s.desc(), number.desc()).limit(limit)
    prefix = UNWRITTEN if what == "question" else ""
    return [Entry(row.at_s, what, f"{prefix}{row.id}") for row in connection.execute(query)]


def _kind(
    what: str, where: Where
) -> tuple[ColumnElement[int], ColumnElement[str], ColumnElement[bool]]:
    """Say where a kind of entry is stored: its time, its id, and which rows they are."""
    if what == "inspection":
        c = inspection.c
        return c.at_s, c.id, c.hive.in_(where.hives)
    if what == "alert":
        a = alert.c
        rings = and_(_of(where, a.hive, a.yard), a.urgency != NOT_FOR_THE_PHONE)
        return func.coalesce(a.sent_s, a.created_s), cast(a.id, String), rings
    f = finding.c
    its = _of(where, f.hive, f.yard)
    if what != "question":
        return f.start_s, f.id, its
    asked = and_(its, f.kind == "handling", f.status == "ended", f.confidence >= ASK_FROM)
    return f.start_s, f.id, asked


def _of(where: Where, hive: ColumnElement[str], yard: ColumnElement[str]) -> ColumnElement[bool]:
    return hive.in_(where.hives) if where.yard is None else yard == where.yard


def stated_visits(connection: Connection, where: Where, from_s: int, until_s: int) -> list[Stored]:
    """Read the inspections of a span that say what was done, the newest first."""
    c = inspection.c
    query = (
        select(c.id)
        .where(c.hive.in_(where.hives), c.at_s >= from_s, c.at_s <= until_s)
        .where(c.body.like('%"actions"%'), c.withdrawn == 0)
        .order_by(c.at_s.desc(), c.id.desc())
    )
    found = (inspection_by_id(connection, one) for one in connection.execute(query).scalars())
    return [one for one in found if one is not None]


def explained_by(connection: Connection, visits: Iterable[str]) -> list[Finding]:
    """Read the findings that these inspections account for."""
    c = finding.c
    query = select(c.id).where(c.explained_by.in_(list(visits)), c.status == "explained")
    found = (finding_by_id(connection, one) for one in connection.execute(query).scalars())
    return [one for one in found if one is not None]


def was_weighed(connection: Connection, hive: str, at_s: int) -> bool:
    """Say whether a scale of the hive spoke before a moment, and again some hours after."""
    weight = QUANTITIES["weight"].number
    row = connection.execute(
        text(
            "SELECT 1 FROM placement AS p WHERE p.hive = :hive AND p.since_s <= :at_s"
            " AND NOT EXISTS (SELECT 1 FROM placement AS q WHERE q.device = p.device"
            "  AND q.since_s > p.since_s AND q.since_s <= :late_s)"
            " AND EXISTS (SELECT 1 FROM reading WHERE device = p.device AND quantity = :weight"
            "  AND time_ms BETWEEN max(:early_s, p.since_s) * 1000 AND :at_s * 1000)"
            " AND EXISTS (SELECT 1 FROM reading WHERE device = p.device AND quantity = :weight"
            "  AND time_ms BETWEEN :soon_s * 1000 AND :late_s * 1000) LIMIT 1"
        ),
        {
            "hive": hive,
            "weight": weight,
            "at_s": at_s,
            "early_s": at_s - WEIGHED_BEFORE_S,
            "soon_s": at_s + WEIGHED_AFTER_S[0],
            "late_s": at_s + WEIGHED_AFTER_S[1],
        },
    ).first()
    return row is not None


def moves(connection: Connection, hives: Collection[str], until_s: int) -> list[Moved]:
    """Read when devices came to these hives or left them, up to a moment."""
    here = placement.alias()
    touched = exists().where(here.c.device == placement.c.device, here.c.hive.in_(hives))
    query = (
        select(device.c.id, placement.c.since_s, placement.c.hive)
        .join_from(placement, device)
        .where(touched, placement.c.since_s <= until_s)
        .order_by(device.c.id, placement.c.since_s)
    )
    ours = frozenset(hives)
    found: list[Moved] = []
    last: tuple[str, str | None] = ("", None)
    for name, since_s, hive in connection.execute(query):
        before = last[1] if last[0] == name else None
        last = (name, hive)
        if hive != before and (hive in ours or before in ours):
            found.append(Moved(name, since_s, hive, before))
    return found


def read_findings(connection: Connection, ids: Sequence[str]) -> dict[str, Finding]:
    """Read findings by their ids."""
    found = {one: finding_by_id(connection, one) for one in ids}
    return {name: one for name, one in found.items() if one is not None}


def read_inspections(connection: Connection, ids: Sequence[str]) -> dict[str, Stored]:
    """Read inspections by their ids."""
    found = {one: inspection_by_id(connection, one) for one in ids}
    return {name: one for name, one in found.items() if one is not None}


def answered(connection: Connection, keys: Sequence[str]) -> dict[str, Stored]:
    """Read the inspections that answers to questions have written, by the question's id."""
    c = inspection.c
    query = select(c.key, c.id).where(c.key.in_(keys))
    found = {key: inspection_by_id(connection, one) for key, one in connection.execute(query)}
    return {key: one for key, one in found.items() if one is not None}
