"""What has changed since the watch last looked: marks that a crash cannot lose.

Intake marks devices, edits of the apiary and new inspections mark hives, each in the transaction
that changes them. The watch clears a mark in the transaction that writes what it found, and only
if nothing was added meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from sqlalchemy import Connection, text

from hivewatch.apiary import Apiary
from hivewatch.store.open import rows


class Mark(NamedTuple):
    """Something to look at again: what changed, from when on, and how often it was marked."""

    subject: str
    from_ms: int
    version: int


def mark(connection: Connection, changes: Iterable[tuple[str, int]]) -> None:
    """Mark subjects (`device:ID` or `hive:ID`) as changed from a time on, in ms."""
    rows = [{"subject": subject, "from_ms": from_ms} for subject, from_ms in changes]
    if rows:
        connection.execute(
            text(
                "INSERT INTO stale (subject, from_ms, version) VALUES (:subject, :from_ms, 1)"
                " ON CONFLICT (subject) DO UPDATE SET version = stale.version + 1, from_ms ="
                " CASE WHEN excluded.from_ms < stale.from_ms"
                " THEN excluded.from_ms ELSE stale.from_ms END"
            ),
            rows,
        )


def read(connection: Connection) -> list[Mark]:
    """Give all marks."""
    return [
        Mark(*row)
        for row in rows(connection, "SELECT subject, from_ms, version FROM stale ORDER BY subject")
    ]


def hives(
    marks: Iterable[Mark], apiary: Apiary, lent_by: Callable[[str], Iterable[str]]
) -> dict[str, int]:
    """Say of each hive that changed from when on; 0 where it was not by readings. [s].

    `lent_by` names the other hives to which a device lends what the whole yard shares.
    """
    from_s: dict[str, int] = {}
    for one in marks:
        what, _, name = one.subject.partition(":")
        if what == "hive":
            from_s[name] = 0
        elif what == "device":
            since_s = one.from_ms // 1000
            stood = {one.hive for one in apiary.placements_of.get(name, ()) if one.hive is not None}
            for hive in stood.union(lent_by(name)):
                from_s[hive] = min(since_s, from_s.get(hive, since_s))
    return from_s


def clear(connection: Connection, marks: Iterable[Mark]) -> None:
    """Take marks away, unless they were renewed since they were read."""
    rows = [(one.subject, one.version) for one in marks]
    if rows:
        connection.exec_driver_sql("DELETE FROM stale WHERE subject = ? AND version = ?", rows)
