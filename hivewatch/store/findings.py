"""Findings as they were told."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import fields
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Connection, Row, and_, or_, select, tuple_
from sqlalchemy.dialects.sqlite import insert

from hivewatch.detect.finding import Finding
from hivewatch.store.schema import finding

_SAID = tuple(one.name for one in fields(Finding))
_NEW = insert(finding)
_KEPT = {"id", "told_s"}  # of a finding that was told before
_WRITE = _NEW.on_conflict_do_update(
    index_elements=["id"],
    set_={name: _NEW.excluded[name] for name in finding.c.keys() if name not in _KEPT},  # noqa: SIM118
)


def read(
    connection: Connection,
    *,
    hive: str | None = None,
    yard: str | None = None,
    subject: str | None = None,
    kind: str | None = None,
    since_s: int | None = None,
    until_s: int | None = None,
    status: str | None = None,
    after: str | None = None,
    limit: int | None = None,
) -> list[Finding]:
    """Read findings by start; `after` is the id of the last one of the page before."""
    begin_s = finding.c.start_s if since_s is None else finding.c.start_s + 0  # not by that index
    query = select(finding).order_by(begin_s, finding.c.id)
    asked = {"hive": hive, "yard": yard, "subject": subject, "kind": kind, "status": status}
    for column, wanted in asked.items():
        if wanted is not None:
            query = query.where(finding.c[column] == wanted)
    if since_s is not None:
        query = query.where(or_(finding.c.end_s.is_(None), finding.c.end_s >= since_s))
    if until_s is not None:
        query = query.where(finding.c.start_s < until_s)
    if after is not None:
        start_s = select(finding.c.start_s).where(finding.c.id == after).scalar_subquery()
        query = query.where(
            or_(
                finding.c.start_s > start_s,
                and_(finding.c.start_s == start_s, finding.c.id > after),
            )
        )
    return [of_row(row) for row in connection.execute(query.limit(limit))]


def by_id(connection: Connection, wanted: str) -> Finding | None:
    """Read one finding."""
    row = connection.execute(select(finding).where(finding.c.id == wanted)).first()
    return None if row is None else of_row(row)


def changed(
    connection: Connection, after: tuple[int, str], limit: int
) -> list[tuple[Finding, int]]:
    """Read findings in the order they changed, each with when it did; `after` is (when, id)."""
    place = tuple_(finding.c.changed_s, finding.c.id)
    query = select(finding).where(place > after).order_by(finding.c.changed_s, finding.c.id)
    return [(of_row(row), row.changed_s) for row in connection.execute(query.limit(limit))]


def write(
    connection: Connection, findings: Iterable[Finding], hive: str | None, yard: str, now_s: int
) -> None:
    """Write findings of one hive, or of a yard, new or changed; the others stay as they are."""
    rows = [
        {
            **{name: getattr(one, name) for name in _SAID},
            "measures": json.dumps(dict(one.measures)),
            "evidence": json.dumps(one.evidence),
            "hive": hive,
            "yard": yard,
            "told_s": now_s,
            "changed_s": now_s,
        }
        for one in findings
    ]
    if rows:
        connection.execute(_WRITE, rows)


def of_row(row: Row[Any]) -> Finding:
    """Turn a row of the table, alone or among others, into a finding."""
    values = row._mapping  # noqa: SLF001 - SQLAlchemy's public name
    return Finding(
        kind=values["kind"],
        subject=values["subject"],
        start_s=values["start_s"],
        end_s=values["end_s"],
        detected_s=values["detected_s"],
        confidence=values["confidence"],
        measures=from_json(values["measures"]),
        evidence=tuple(from_json(values["evidence"])),
        status=values["status"],
        explained_by=values["explained_by"],
        id=values["id"],
    )
