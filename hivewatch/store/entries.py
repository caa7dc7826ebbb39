"""What there is on a timeline, and in which order, without reading all of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    String,
    and_,
    cast,
    func,
    literal,
    or_,
    select,
    text,
    tuple_,
)

from hivewatch.detect.finding import Finding
from hivewatch.store.findings import of_row as finding_of
from hivewatch.store.inspections import Stored
from hivewatch.store.inspections import of_row as inspection_of
from hivewatch.store.schema import alert, device, finding, hive, inspection, placement
from hivewatch.timeline.merge import Entry
from hivewatch.timeline.questions import ASK_FROM, UNWRITTEN
from hivewatch.wire.quantities import QUANTITIES

NOT_FOR_THE_PHONE = "not for the phone"
WEIGHED_BEFORE_S = 3 * 3600  # [s] own choice: how long before a visit the scale must have spoken
WEIGHED_AFTER_S = (5400, 6 * 3600)  # [s] own choice: and when again, so that a step is settled

_WAS_WEIGHED = """EXISTS (
  SELECT 1 FROM placement AS p WHERE p.hive = inspection.hive AND p.since_s <= at_s
  AND NOT EXISTS (SELECT 1 FROM placement AS q WHERE q.device = p.device
    AND q.since_s > p.since_s AND q.since_s <= at_s + :late_s)
  AND EXISTS (SELECT 1 FROM reading WHERE device = p.device AND quantity = :weight
    AND time_ms BETWEEN max(at_s - :early_s, p.since_s) * 1000 AND at_s * 1000)
  AND EXISTS (SELECT 1 FROM reading WHERE device = p.device AND quantity = :weight
    AND time_ms BETWEEN (at_s + :soon_s) * 1000 AND (at_s + :late_s) * 1000))"""
_SPANS = {
    "weight": QUANTITIES["weight"].number,
    "early_s": WEIGHED_BEFORE_S,
    "soon_s": WEIGHED_AFTER_S[0],
    "late_s": WEIGHED_AFTER_S[1],
}
"""That a scale of the hive spoke before a visit, and again some hours after."""


class Where(NamedTuple):
    """Whose timeline: of one hive, or of a yard with all its hives."""

    hive: str | None = None
    yard: str | None = None

    def has(self, its_hive: ColumnElement[str]) -> ColumnElement[bool]:
        """Say which rows belong to it by their hive."""
        if self.yard is None:
            return its_hive == self.hive
        return its_hive.in_(select(hive.c.id).where(hive.c.yard == self.yard))

    def of(self, its_hive: ColumnElement[str], its_yard: ColumnElement[str]) -> ColumnElement[bool]:
        """Say which rows belong to it by their hive, or by their yard."""
        return its_hive == self.hive if self.yard is None else its_yard == self.yard


class Moved(NamedTuple):
    """A device that was put somewhere else."""

    device: str
    since_s: int
    hive: str | None
    before: str | None


def entries(
    connection: Connection, what: str, where: Where, after: Entry | None, limit: int
) -> list[Entry]:
    """Read the places of the first entries of one kind behind a place, the newest first."""
    at_s, number, of_kind = _kind(what, where)
    query: Select[*tuple[Any, ...]] = select(at_s, number).where(of_kind)
    query = _behind(query, what, at_s, number, after, limit)
    return [Entry(row[0], what, row[1]) for row in connection.execute(query).all()]


def _behind(
    query: Select[*tuple[Any, ...]],
    what: str,
    at_s: ColumnElement[int],
    number: ColumnElement[str],
    after: Entry | None,
    limit: int,
) -> Select[*tuple[Any, ...]]:
    """Leave of a kind what stands behind a place in the order of `Entry`, and of that the first."""
    if after is not None and what == after.what:
        query = query.where(tuple_(at_s, number) < (after.at_s, after.id))
    elif after is not None:
        query = query.where(at_s <= after.at_s if what < after.what else at_s < after.at_s)
    return query.order_by(at_s.desc(), number.desc()).limit(limit)


def _kind(
    what: str, where: Where
) -> tuple[ColumnElement[int], ColumnElement[str], ColumnElement[bool]]:
    """Say where a kind of entry is stored: its time, its id, and which rows they are."""
    if what == "inspection":
        c = inspection.c
        return c.at_s, c.id, where.has(c.hive)
    if what == "alert":
        a = alert.c
        rings = and_(where.of(a.hive, a.yard), a.urgency != NOT_FOR_THE_PHONE)
        return func.coalesce(a.sent_s, a.created_s), cast(a.id, String), rings
    f = finding.c
    its = where.of(f.hive, f.yard)
    if what != "question":
        return f.start_s, f.id, its
    handled = and_(f.kind == "handling", f.status == "ended")
    gone = and_(f.kind == "taken", f.status == "open")
    asked = and_(its, or_(handled, gone), f.confidence >= ASK_FROM)
    return f.start_s, literal(UNWRITTEN).concat(f.id), asked


def stated_visits(connection: Connection, where: Where, from_s: int, until_s: int) -> list[Stored]:
    """Read the inspections of a span that say what was done, where a scale was at work.

    The newest first.
    """
    c = inspection.c
    query = (
        select(c.id)
        .where(where.has(c.hive), c.at_s >= from_s, c.at_s <= until_s)
        .where(c.body.like('%"actions"%'), c.withdrawn == 0)
        .where(text(_WAS_WEIGHED).bindparams(**_SPANS))
        .order_by(c.at_s.desc(), c.id.desc())
    )
    ids = connection.execute(query).scalars().all()
    found = read_inspections(connection, ids)
    return [found[one] for one in ids]


def explained_by(connection: Connection, visits: Sequence[Stored]) -> list[Finding]:
    """Read the findings that these inspections account for, each of its own hive."""
    c = finding.c
    query = select(finding).where(
        c.hive.in_({one.inspection.hive for one in visits}),
        c.explained_by.in_([one.id for one in visits]),
        c.status == "explained",
    )
    return [finding_of(row) for row in connection.execute(query).all()] if visits else []


def moves(
    connection: Connection, where: Where, now_s: int, after: Entry | None, limit: int
) -> list[Moved]:
    """Read when devices came to these hives or left them, behind a place, the newest first."""
    earlier, touched = placement.alias(), placement.alias()
    at_s = placement.c.since_s
    before = (
        select(earlier.c.hive)
        .where(earlier.c.device == placement.c.device, earlier.c.since_s < at_s)
        .order_by(earlier.c.since_s.desc())
        .limit(1)
        .scalar_subquery()
    )
    query: Select[*tuple[Any, ...]] = (
        select(device.c.id, at_s, placement.c.hive, before)
        .join_from(placement, device)
        .where(placement.c.device.in_(select(touched.c.device).where(where.has(touched.c.hive))))
        .where(at_s <= now_s, placement.c.hive.is_distinct_from(before))
        .where(or_(where.has(placement.c.hive), where.has(before)))
    )
    query = _behind(query, "device", at_s, device.c.id, after, limit)
    return [Moved(*row) for row in connection.execute(query).all()]


def read_findings(connection: Connection, ids: Sequence[str]) -> dict[str, Finding]:
    """Read findings by their ids."""
    query = select(finding).where(finding.c.id.in_(ids))
    return {row.id: finding_of(row) for row in connection.execute(query).all()} if ids else {}


def read_inspections(connection: Connection, ids: Sequence[str]) -> dict[str, Stored]:
    """Read inspections by their ids, those withdrawn too."""
    query = select(inspection).where(inspection.c.id.in_(ids))
    return {row.id: inspection_of(row) for row in connection.execute(query).all()} if ids else {}


def answered(connection: Connection, keys: Sequence[str]) -> dict[str, Stored]:
    """Read the inspections that answers to questions have written, by the question's id."""
    query = select(inspection).where(inspection.c.key.in_(keys))
    return {row.key: inspection_of(row) for row in connection.execute(query).all()} if keys else {}
