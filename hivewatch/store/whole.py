"""Everything but readings as plain records, out of the store and into one, row by row.

Each record tells all there is of its row, so that what is taken in is what was given out.
"""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from collections.abc import Collection, Iterator, Mapping
from datetime import UTC, datetime
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, Select, Table, and_, or_, select

from hivewatch.apiary import Apiary
from hivewatch.store.schema import (
    alert,
    decision,
    delivery,
    device,
    finding,
    inspection,
    inspection_version,
    quarantine,
)

Record = dict[str, Any]
AT_ONCE = 500  # own choice: rows in memory at once


class Wanted(NamedTuple):
    """Which records: of all hives (None) or of some, of some yards, of a time."""

    hives: Collection[str] | None
    yards: Collection[str]
    stays: Collection[tuple[str, int, int]]  # device, from_s, until_s
    since_s: int
    until_s: int


def read_inspections(connection: Connection, wanted: Wanted) -> Iterator[Record]:
    """Give every version of each inspection as the contract has it, the first version first."""
    c, v = inspection.c, inspection_version.c
    query = select(inspection_version).join_from(inspection_version, inspection)
    query = query.where(c.at_s >= wanted.since_s, c.at_s < wanted.until_s)
    if wanted.hives is not None:
        of_hives = select(v.inspection).where(v.hive.in_(wanted.hives))
        query = query.where(c.id.in_(of_hives))
    for row in _rows(connection, query.order_by(v.inspection, v.version)):
        about = {
            "id": row.inspection,
            "version": row.version,
            "recorded": _time(row.recorded_s),
            "withdrawn": bool(row.withdrawn),
        }
        changed = {"changed_by": row.by, "why": row.why}
        told = {name: text for name, text in changed.items() if text is not None}
        yield about | told | json.loads(row.body)


def read_findings(connection: Connection, wanted: Wanted) -> Iterator[Record]:
    """Give every finding as it was told last, by start."""
    f = finding.c
    ends = or_(f.end_s.is_(None), f.end_s >= wanted.since_s)
    query = select(finding).where(ends, f.start_s < wanted.until_s)
    if wanted.hives is not None:
        whole_yard = and_(f.hive.is_(None), f.yard.in_(wanted.yards))
        query = query.where(or_(f.hive.in_(wanted.hives), whole_yard))
    for row in _rows(connection, query.order_by(f.start_s, f.id)):
        yield _record(row._mapping, {"measures", "evidence"})  # noqa: SLF001 - a public name


def read_alerts(connection: Connection, wanted: Wanted) -> Iterator[Record]:
    """Give every alert with what was decided about it and where it went, for the record."""
    a = alert.c
    query = select(alert).where(a.created_s >= wanted.since_s, a.created_s < wanted.until_s)
    if wanted.hives is not None:
        whole_yard = and_(a.hive.is_(None), a.yard.in_(wanted.yards))
        query = query.where(or_(a.hive.in_(wanted.hives), whole_yard))
    for row in _rows(connection, query.order_by(a.id)):
        parts = {}
        for name, table in {"decisions": decision, "deliveries": delivery}.items():
            found = connection.execute(
                select(table).where(table.c.alert == row.id).order_by(*table.primary_key)
            )
            parts[name] = [
                {key: one for key, one in _record(part._mapping).items() if key != "alert"}  # noqa: SLF001
                for part in found
            ]
        yield _record(row._mapping) | parts  # noqa: SLF001


def read_devices(connection: Connection, wanted: Wanted) -> Iterator[Record]:
    """Give every device: when it was last heard, and what the broker last kept of it."""
    query = select(device.c.id, device.c.heard_s, device.c.status, device.c.status_s)
    if wanted.hives is not None:
        query = query.where(device.c.id.in_({name for name, _, _ in wanted.stays}))
    for row in _rows(connection, query.order_by(device.c.id)):
        heard, since = (None if one is None else _time(one) for one in (row.heard_s, row.status_s))
        yield {"device": row.id, "heard": heard, "status": row.status, "status_at": since}


def read_quarantine(connection: Connection, wanted: Wanted) -> Iterator[Record]:
    """Give all that was held in quarantine, with its bytes as base64, oldest first."""
    q = quarantine.c
    query = select(quarantine).where(q.received_s >= wanted.since_s, q.received_s < wanted.until_s)
    if wanted.hives is not None:
        stood: list[ColumnElement[bool]] = [
            and_(q.device == name, q.received_s >= from_s, q.received_s < until_s)
            for name, from_s, until_s in wanted.stays
        ]
        query = query.where(or_(*stood) if stood else q.id < 0)
    for row in _rows(connection, query.order_by(q.id)):
        record = _record(row._mapping, {"faults"})  # noqa: SLF001
        del record["id"], record["reason"]
        yield record | {"raw": b64encode(row.raw).decode()}


READ = {
    "devices": read_devices,
    "inspections": read_inspections,
    "findings": read_findings,
    "alerts": read_alerts,
    "quarantine": read_quarantine,
}


def part_of(connection: Connection, apiary: Apiary, wanted: Wanted) -> Apiary:
    """Leave out of the apiary what has nothing to do with the hives wanted.

    Where their devices stood otherwise stays, and so do hives that their inspections were told of
    before they were corrected: what is taken in of it is true of any store.
    """
    if wanted.hives is None:
        return apiary
    told_of = {one["hive"] for one in read_inspections(connection, wanted)}
    devices = {one.device for one in apiary.placements if one.hive in wanted.hives}
    placements = tuple(one for one in apiary.placements if one.device in devices)
    names = {*wanted.hives, *told_of, *(one.hive for one in placements)}
    hives = tuple(one for one in apiary.hives if one.id in names)
    yards = {one.yard for one in hives}
    return Apiary(tuple(one for one in apiary.yards if one.id in yards), hives, placements)


def _rows(connection: Connection, query: Select[Any]) -> Iterator[Any]:
    """Read rows as they are asked for."""
    yield from connection.execute(query.execution_options(yield_per=AT_ONCE))


def _record(row: Any, parsed: Collection[str] = ()) -> Record:  # noqa: ANN401 - a row
    """Tell a row by the names of its columns, times in words."""
    record: Record = {}
    for name, value in row.items():
        if name.endswith("_s"):
            record[name.removesuffix("_s")] = None if value is None else _time(value)
        elif name in parsed:
            record[name] = json.loads(value)
        elif name != "raw":
            record[name] = value
    return record


def values_of(table: Table, record: Mapping[str, Any]) -> dict[str, Any]:
    """Turn a record into the columns of its row.

    Raises
    ------
    KeyError, TypeError, ValueError
        If it does not fit.
    """
    values: dict[str, Any] = {}
    for column in table.c:
        name = column.name
        if name.endswith("_s"):
            values[name] = seconds(record[name.removesuffix("_s")])
        elif name in {"measures", "evidence", "faults"}:
            values[name] = json.dumps(record[name])
        elif name == "raw":
            values[name] = b64decode(record[name], validate=True)
        else:
            values[name] = record.get(name)
    return values


def _time(at_s: int) -> str:
    return datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def seconds(text: str | None) -> int | None:
    """Read a time as it is written here."""
    if text is None:
        return None
    read = datetime.fromisoformat(text)
    if read.tzinfo is None:
        raise ValueError(f"{text} is without an offset")
    return int(read.timestamp())
