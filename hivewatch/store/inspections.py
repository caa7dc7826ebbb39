"""Inspections as they were told."""

from __future__ import annotations

import hashlib
from typing import NamedTuple

from sqlalchemy import Connection, Row, Select, and_, insert, or_, select

from hivewatch.errors import UsageError
from hivewatch.inspections import Inspection, to_json
from hivewatch.store import stale
from hivewatch.store.schema import hive as hive_table
from hivewatch.store.schema import inspection


class Stored(NamedTuple):
    """An inspection, its id, and when it was written down."""

    id: str
    inspection: Inspection
    at_s: int
    recorded_s: int


def add(connection: Connection, said: Inspection, recorded_s: int) -> tuple[str, bool]:
    """Write an inspection down; the same one again changes nothing.

    Returns
    -------
    tuple of str and bool
        Its id, and whether it is new.

    Raises
    ------
    UsageError
        If there is no such hive, if it lies in the future, or if its key names another one.
    """
    where = f"inspection of {said.hive} at {said.at.isoformat()}"
    if said.at_s > recorded_s:
        raise UsageError(where, "", "is still to come", "give the time of the visit")
    known = select(hive_table.c.id).where(hive_table.c.id == said.hive)
    if connection.execute(known).first() is None:
        raise UsageError(where, said.hive, "no such hive", "see hivewatch apiary show")
    body = to_json(said)
    same_key = select(inspection.c.id, inspection.c.body).where(inspection.c.key == said.known_by)
    stored = connection.execute(same_key).first()
    if stored is not None:
        if stored.body != body:
            wrong = "the key names another inspection already"
            raise UsageError(where, said.known_by, wrong, "give each visit a key of its own")
        return stored.id, False
    number = hashlib.sha256(said.known_by.encode()).hexdigest()[:16]
    connection.execute(
        insert(inspection).values(
            id=number,
            key=said.known_by,
            hive=said.hive,
            at_s=said.at_s,
            by=said.by,
            body=body,
            recorded_s=recorded_s,
        )
    )
    stale.mark(connection, [(f"hive:{said.hive}", said.at_s * 1000)])
    return number, True


def read(
    connection: Connection,
    *,
    hive: str | None = None,
    recorded_by_s: int | None = None,
    after: str | None = None,
    limit: int | None = None,
) -> list[Stored]:
    """Read inspections by the time of the visit; `after` is the last id of the page before."""
    query = select(inspection).order_by(inspection.c.at_s, inspection.c.id)
    if hive is not None:
        query = query.where(inspection.c.hive == hive)
    if recorded_by_s is not None:
        query = query.where(inspection.c.recorded_s <= recorded_by_s)
    if after is not None:
        query = _following(query, after)
    return [_stored(row) for row in connection.execute(query.limit(limit))]


def by_id(connection: Connection, wanted: str) -> Stored | None:
    """Read one inspection."""
    row = connection.execute(select(inspection).where(inspection.c.id == wanted)).first()
    return None if row is None else _stored(row)


def _following(query: Select[tuple[object, ...]], after: str) -> Select[tuple[object, ...]]:
    """Leave out what stands up to one inspection in the order of the list."""
    at_s = select(inspection.c.at_s).where(inspection.c.id == after).scalar_subquery()
    return query.where(
        or_(
            inspection.c.at_s > at_s,
            and_(inspection.c.at_s == at_s, inspection.c.id > after),
        )
    )


def _stored(row: Row[tuple[object, ...]]) -> Stored:
    values = row._mapping  # noqa: SLF001 - SQLAlchemy's public name
    said = Inspection.model_validate_json(values["body"], strict=False)
    return Stored(values["id"], said, values["at_s"], values["recorded_s"])
