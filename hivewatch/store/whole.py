"""Everything that the store keeps, as rows of plain values, for the columns of `store/columns.py`.

Each row tells all there is of its record, so that what is taken in is what was given out. Left out
is what belongs to one store and its daemon alone: what waits to be looked at, how far the mirror
has come, the list of news, and what was read at the calendar's secret link, which another has not.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, Row, Select, Table, and_, or_, select

from hivewatch.store.columns import ALERTS, FINDINGS, HIVES, INSPECTIONS, KINDS, NESTED, YARDS, Kind
from hivewatch.store.columns import rfc3339 as _rfc3339
from hivewatch.store.schema import (
    alert,
    decision,
    delivery,
    device,
    finding,
    hive,
    inspection,
    inspection_version,
    placement,
    quarantine,
    yard,
)

Rows = Sequence[tuple[Any, ...]]
AT_ONCE = 500  # own choice: rows in memory at once


class Wanted(NamedTuple):
    """Which records: of all hives (None) or of some, of some yards, of a time; or all there are."""

    hives: Collection[str] | None
    yards: Collection[str]
    stays: Collection[tuple[str, int, int]]  # device, from_s, until_s
    since_s: int
    until_s: int
    is_all: bool = False


def read(connection: Connection, kind: Kind, wanted: Wanted) -> Iterator[Rows]:
    """Give the rows of a kind, but for readings, some hundreds at a time.

    Nothing that they rest on is missing: of some hives there are, too, where else their devices
    stood, the hives that their inspections were told of before they were corrected, and the alerts
    that theirs were told within; of a time also the findings that its alerts are about.
    """
    return _READ[kind.name](connection, wanted)


def _yards(connection: Connection, wanted: Wanted) -> Iterator[Rows]:
    query = select(*_columns(YARDS, yard)).order_by(yard.c.id)
    if wanted.hives is not None:
        theirs = select(hive.c.yard).where(_of_hives(wanted))
        query = query.where(or_(yard.c.id.in_(theirs), yard.c.id.in_(wanted.yards)))
    yield from _pages(connection, YARDS, query)


def _hives(connection: Connection, wanted: Wanted) -> Iterator[Rows]:
    query = select(*_columns(HIVES, hive)).where(_of_hives(wanted)).order_by(hive.c.id)
    yield from _pages(connection, HIVES, query)


def _devices(connection: Connection, wanted: Wanted) -> Iterator[Rows]:
    """Every device: when it was last heard, and what the broker last kept of it."""
    query = select(device.c.id, device.c.heard_s, device.c.status, device.c.status_s)
    query = query.where(_of_devices(wanted)).order_by(device.c.id)
    yield from _pages(connection, KINDS["devices"], query)


def _placements(connection: Connection, wanted: Wanted) -> Iterator[Rows]:
    query = select(device.c.id, placement.c.since_s, placement.c.hive)
    query = query.join_from(placement, device).where(_of_devices(wanted))
    query = query.order_by(device.c.id, placement.c.since_s)
    yield from _pages(connection, KINDS["placements"], query)


def _inspections(connection: Connection, wanted: Wanted) -> Iterator[Rows]:
    """Every version of each inspection, the first version first."""
    v = inspection_version.c
    query = select(inspection_version).where(v.inspection.in_(_inspection_ids(wanted)))
    seen = list(INSPECTIONS.columns)[6:]
    for rows in _some(connection, query.order_by(v.inspection, v.version)):
        told = []
        for row in rows:
            about = (row.inspection, row.version, row.recorded_s, bool(row.withdrawn))
            body = json.loads(row.body)
            told.append((*about, row.by, row.why, *(body.get(name) for name in seen)))
        yield told


def _findings(connection: Connection, wanted: Wanted) -> Iterator[Rows]:
    """Every finding as it was told last, by start."""
    query = select(*_columns(FINDINGS, finding)).where(_of_findings(wanted))
    yield from _pages(connection, FINDINGS, query.order_by(finding.c.start_s, finding.c.id))


def _alerts(connection: Connection, wanted: Wanted) -> Iterator[Rows]:
    """Every alert with its decisions and deliveries, those that speak for others first."""
    leader = alert.alias()
    within = select(leader.c.finding).where(leader.c.id == alert.c.folded_into).scalar_subquery()
    own = list(ALERTS.columns)[:-2]
    columns = [
        within.label("within") if name == "folded_into" else _column(alert, name) for name in own
    ]
    query = select(*columns).order_by(alert.c.folded_into.is_not(None), alert.c.id)
    if not wanted.is_all:
        query = query.where(alert.c.id.in_(_alert_ids(wanted)))
    for rows in _some(connection, query):
        ids = [row.id for row in rows]
        decisions, deliveries = (_parts(connection, table, ids) for table in (decision, delivery))
        yield [(*row, decisions[row.id], deliveries[row.id]) for row in rows]


def _parts(connection: Connection, table: Table, ids: Sequence[int]) -> dict[int, list[Any]]:
    """Give what belongs to some alerts, in its order, times in words."""
    parts: dict[int, list[Any]] = defaultdict(list)
    query = select(table).where(table.c.alert.in_(ids)).order_by(*table.primary_key)
    for row in connection.execute(query):
        told = {
            name.removesuffix("_s"): _rfc3339(value * 1000)
            if name.endswith("_s") and value is not None
            else value
            for name, value in row._mapping.items()  # noqa: SLF001 - SQLAlchemy's public name
            if name not in {"id", "alert"}
        }
        parts[row.alert].append(told)
    return parts


def _quarantine(connection: Connection, wanted: Wanted) -> Iterator[Rows]:
    """All that was held in quarantine, oldest first."""
    kind, q = KINDS["quarantine"], quarantine.c
    query = select(*_columns(kind, quarantine)).order_by(q.id)
    query = query.where(q.received_s >= wanted.since_s, q.received_s < wanted.until_s)
    stays: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for name, from_s, until_s in wanted.stays:
        stays[name].append((from_s, until_s))
    for rows in _pages(connection, kind, query):
        yield [
            row
            for row in rows
            if wanted.hives is None
            or any(from_s <= row[6] < until_s for from_s, until_s in stays[row[2]])
        ]


def _of_hives(wanted: Wanted) -> ColumnElement[bool]:
    """Mean the hives wanted, and those that what is told of them rests on."""
    if wanted.hives is None:
        return hive.c.id == hive.c.id
    v = inspection_version.c
    placed = select(placement.c.hive).join_from(placement, device).where(_of_devices(wanted))
    told_of = select(v.hive).where(v.inspection.in_(_inspection_ids(wanted)))
    found = select(finding.c.hive).where(_of_findings(wanted))
    return or_(
        hive.c.id.in_(wanted.hives), *(hive.c.id.in_(one) for one in (placed, told_of, found))
    )


def _of_devices(wanted: Wanted) -> ColumnElement[bool]:
    names = {name for name, _, _ in wanted.stays}
    return device.c.id == device.c.id if wanted.hives is None else device.c.id.in_(names)


def _inspection_ids(wanted: Wanted) -> Select[Any]:
    c, v = inspection.c, inspection_version.c
    query = select(c.id).where(c.at_s >= wanted.since_s, c.at_s < wanted.until_s)
    if wanted.hives is not None:
        query = query.where(c.id.in_(select(v.inspection).where(v.hive.in_(wanted.hives))))
    return query


def _about(table: Table, wanted: Wanted) -> ColumnElement[bool]:
    """Mean what is said of the hives wanted, or of their yards as a whole."""
    if wanted.hives is None:
        return table.c.id == table.c.id
    whole_yard = and_(table.c.hive.is_(None), table.c.yard.in_(wanted.yards))
    return or_(table.c.hive.in_(wanted.hives), whole_yard)


def _of_findings(wanted: Wanted) -> ColumnElement[bool]:
    if wanted.is_all:
        return finding.c.id == finding.c.id
    f = finding.c
    lasts = or_(f.end_s.is_(None), f.end_s >= wanted.since_s)
    theirs = select(alert.c.finding).where(alert.c.id.in_(_alert_ids(wanted)))
    return or_(and_(lasts, f.start_s < wanted.until_s, _about(finding, wanted)), f.id.in_(theirs))


def _alert_ids(wanted: Wanted) -> Select[Any]:
    """Mean the alerts wanted, and whatever they were told within."""
    a = alert.c
    chosen = select(a.id).where(a.created_s >= wanted.since_s, a.created_s < wanted.until_s)
    told = chosen.where(_about(alert, wanted)).cte("told", recursive=True)
    leaders = select(a.folded_into).join_from(alert, told, a.id == told.c.id)
    told = told.union(leaders.where(a.folded_into.is_not(None)))
    return select(told.c.id)


def _column(table: Table, name: str) -> ColumnElement[Any]:
    """Find the column of a table that a column of its kind tells: times have their unit there."""
    return table.c[name] if name in table.c else table.c[f"{name}_s"]


def _columns(kind: Kind, table: Table) -> list[ColumnElement[Any]]:
    return [_column(table, name) for name in kind.columns]


def _some(connection: Connection, query: Select[Any]) -> Iterator[Sequence[Row[Any]]]:
    """Read rows as they are asked for."""
    yield from connection.execute(query.execution_options(yield_per=AT_ONCE)).partitions()


def _pages(connection: Connection, kind: Kind, query: Select[Any]) -> Iterator[Rows]:
    """Read rows whose columns are those of their kind, what is nested unfolded."""
    nested = [form is NESTED for form in kind.columns.values()]
    for rows in _some(connection, query):
        if not any(nested):
            yield [tuple(row) for row in rows]
            continue
        yield [
            tuple(
                json.loads(value) if unfold else value
                for value, unfold in zip(row, nested, strict=True)
            )
            for row in rows
        ]


_READ: dict[str, Callable[[Connection, Wanted], Iterator[Rows]]] = {
    "yards": _yards,
    "hives": _hives,
    "devices": _devices,
    "placements": _placements,
    "inspections": _inspections,
    "findings": _findings,
    "alerts": _alerts,
    "quarantine": _quarantine,
}
