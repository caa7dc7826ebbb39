"""Alerts of another store, taken in as a record: they keep their state, and nobody is rung.

Whatever was still to be sent is closed with the reason `imported`, so that a page goes on to answer
"why was I not told?". What people said of an alert stands: acknowledged, and silence until a time.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import Connection, insert, select

from hivewatch.errors import UsageError
from hivewatch.store.schema import alert, decision, delivery, finding

IMPORTED = "imported"  # a reason of alerts/rules.py
UNSENT = "still to be sent when it was exported; imported as a record: nobody is called for it"
FAILED = "nobody could be told before it was exported; imported as a record: not tried again"
PENDING = {"waiting", "sending"}  # of a delivery


def take(
    connection: Connection, record: Mapping[str, Any], now_s: int
) -> Literal["new", "closed", "known"]:
    """Write an alert with its decisions and deliveries; says whether it was still to be sent.

    It keeps its number where that is free.

    Raises
    ------
    UsageError
        If its finding, or the alert that it was told within, is not there.
    """
    known = select(alert.c.id).where(alert.c.finding == record["finding"])
    if connection.execute(known).first() is not None:
        return "known"
    found = select(finding.c.id).where(finding.c.id == record["finding"])
    if connection.execute(found).first() is None:
        raise UsageError("", record["finding"], "no such finding", "import the findings first")
    parts = {name: list(record[name] or ()) for name in ("decisions", "deliveries")}
    row = _row(alert, {name: one for name, one in record.items() if name not in parts})
    row["folded_into"] = _leader(connection, record["folded_into"])
    taken = select(alert.c.id).where(alert.c.id == row["id"])
    if connection.execute(taken).first() is not None:
        del row["id"]
    closed = _closed(row)
    result = connection.execute(insert(alert).values(row | closed))
    (number,) = result.inserted_primary_key or (0,)
    for one in parts["decisions"]:
        connection.execute(insert(decision).values(alert=number, **_row(decision, _read(one))))
    pending = [one for one in parts["deliveries"] if one["state"] in PENDING]
    for one in parts["deliveries"]:
        ended = {"state": "dropped"} if one in pending else {}
        values = _row(delivery, _read(one | ended))
        connection.execute(insert(delivery).values(alert=number, **values))
    if closed or pending:
        why = FAILED if row["state"] == "failed" else UNSENT
        noted = {"at_s": now_s, "what": "dropped", "reason": IMPORTED, "why": why}
        connection.execute(insert(decision).values(alert=number, **noted))
    return "closed" if closed or pending else "new"


def _closed(row: Mapping[str, Any]) -> dict[str, Any]:
    """Say how an alert stands from now on, if the daemon would still send it."""
    closed = {"reason": IMPORTED, "due_s": None}
    if row["state"] == "failed" and row["reason"] != IMPORTED:
        return closed
    if row["sent_s"] is not None:
        return closed | {"state": "sent"} if row["state"] in {"held", "waiting"} else {}
    if row["state"] in {"held", "waiting", "folded"}:
        return closed | {"state": "dropped", "folded_into": None}
    return {}


def _leader(connection: Connection, found: str | None) -> int | None:
    """Find the alert that this one was told within, by its finding."""
    if found is None:
        return None
    number = connection.execute(select(alert.c.id).where(alert.c.finding == found)).scalar()
    if number is None:
        wrong = "the alert of this finding, which it was told within, is not there"
        raise UsageError("", found, wrong, "import it first")
    return int(number)


def _row(table: Any, record: Mapping[str, Any]) -> dict[str, Any]:  # noqa: ANN401 - a table
    """Name values as the table does: times have their unit there."""
    return {
        table.c[name if name in table.c else f"{name}_s"].name: value
        for name, value in record.items()
    }


def _read(part: Mapping[str, Any]) -> dict[str, Any]:
    """Read the times of what stands within an alert."""
    read = dict(part)
    for name in ("at", "since", "next_try", "sent"):
        if read.get(name) is not None:
            read[name] = int(datetime.fromisoformat(read[name]).timestamp())
    return read
