"""What people say to an alert, and what they are shown of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any, TypeVar

from sqlalchemy import Column, Connection, Table, and_, delete, select, update

from hivewatch.alerts import book
from hivewatch.alerts.rules import span
from hivewatch.errors import UsageError
from hivewatch.store.schema import alert, decision, delivery, finding


@dataclass(frozen=True, slots=True)
class Alert:
    """An alert as it stands, and what its finding has become: the fields of the two rows."""

    id: int
    finding: str
    kind: str
    subject: str
    hive: str | None
    yard: str | None
    urgency: str
    title: str
    body: str
    state: str
    reason: str
    folded_into: int | None
    created_s: int
    due_s: int | None
    sent_s: int | None
    acknowledged_s: int | None
    acknowledged_by: str | None
    snoozed_until_s: int | None
    finding_status: str | None
    finding_end_s: int | None


@dataclass(frozen=True, slots=True)
class Decision:
    """One decision about an alert, and why."""

    at_s: int
    what: str
    reason: str
    why: str
    channel: str | None


@dataclass(frozen=True, slots=True)
class Attempted:
    """What became of an alert on one channel."""

    channel: str
    state: str
    attempts: int
    next_try_s: int
    sent_s: int | None
    error: str | None


@dataclass(frozen=True, slots=True)
class Story:
    """An alert with everything that was decided and tried."""

    alert: Alert
    decisions: tuple[Decision, ...]
    deliveries: tuple[Attempted, ...]


T = TypeVar("T", Decision, Attempted)
_BECAME = {"finding_status": finding.c.status, "finding_end_s": finding.c.end_s}
_COLUMNS = [
    _BECAME[one.name].label(one.name) if one.name in _BECAME else alert.c[one.name]
    for one in fields(Alert)
]
_SELECT = select(*_COLUMNS).outerjoin_from(alert, finding, finding.c.id == alert.c.finding)


def read(
    connection: Connection,
    *,
    limit: int = 100,
    after: int | None = None,
    hive: str | None = None,
    yard: str | None = None,
    state: str | None = None,
    finding: str | None = None,
    for_the_phone: bool = True,
) -> list[Alert]:
    """Read alerts, the newest first.

    Parameters
    ----------
    connection : Connection
        Of the store.
    limit : int
        At most so many.
    after : int or None
        The id of the last one of the page before.
    hive, yard, state, finding : str or None
        Only those.
    for_the_phone : bool
        Leave out those whose kind never rings.

    Returns
    -------
    list[Alert]
        By falling id.
    """
    query = _SELECT.order_by(alert.c.id.desc()).limit(limit)
    if after is not None:
        query = query.where(alert.c.id < after)
    wanted = (("hive", hive), ("yard", yard), ("state", state), ("finding", finding))
    for column, value in wanted:
        if value is not None:
            query = query.where(alert.c[column] == value)
    if for_the_phone:
        query = query.where(alert.c.urgency != "not for the phone")
    return [Alert(*row) for row in connection.execute(query)]


def by_ids(connection: Connection, ids: Sequence[int]) -> dict[int, Alert]:
    """Read alerts by their ids."""
    query = _SELECT.where(alert.c.id.in_(ids))
    return {row.id: Alert(*row) for row in connection.execute(query)}


def story(connection: Connection, alert_id: int) -> Story | None:
    """Read one alert with its decisions in their order, and its deliveries."""
    row = connection.execute(_SELECT.where(alert.c.id == alert_id)).first()
    if row is None:
        return None
    decisions = _of(connection, decision, Decision, alert_id, decision.c.id)
    deliveries = _of(connection, delivery, Attempted, alert_id, delivery.c.channel)
    return Story(Alert(*row), tuple(decisions), tuple(deliveries))


def _of(
    connection: Connection, table: Table, shape: type[T], alert_id: int, order: Column[Any]
) -> list[T]:
    """Read an alert's rows of another table."""
    columns = [table.c[one.name] for one in fields(shape)]
    query = select(*columns).where(table.c.alert == alert_id).order_by(order)
    return [shape(*row) for row in connection.execute(query)]


def acknowledge(connection: Connection, alert_id: int, who: str, now_s: int) -> bool:
    """Note that somebody knows; what has not gone out yet stays in. False: no such alert.

    One who acknowledges a message acknowledges all that was told within it.
    """
    row = book.row_of(connection, alert_id)
    if row is None:
        return False
    if row.acknowledged_s is not None:
        return True
    known = {"acknowledged_s": now_s, "acknowledged_by": who}
    unsent = row.state in {*book.OPEN, "folded"} and row.sent_s is None
    if unsent and not book.is_under_way(connection, row):
        book.drop(connection, row, now_s, "acknowledged", f"{who} knows already")
    elif unsent:
        book.decide(connection, alert_id, now_s, "acknowledged", "acknowledged", f"by {who}")
    else:
        book.decide(connection, alert_id, now_s, "acknowledged", "acknowledged", f"by {who}")
        if row.state in book.OPEN:
            book.change(connection, alert_id, state="sent", due_s=None)
        book.stop_deliveries(connection, alert_id)
        told = and_(alert.c.folded_into == alert_id, alert.c.acknowledged_s.is_(None))
        connection.execute(update(alert).where(told).values(**known))
    book.change(connection, alert_id, **known)
    return True


def snooze(connection: Connection, alert_id: int, until_s: int, who: str, now_s: int) -> bool:
    """Keep still about this kind at this hive or device until then. False: no such alert.

    What has not gone out waits until then. What has rung rings once more then, if its finding
    still lasts and nobody has acknowledged it.

    Raises
    ------
    UsageError
        If the time is past.
    """
    if until_s <= now_s:
        raise UsageError("snooze", str(until_s), "that time is past", "give one in the future")
    row = book.row_of(connection, alert_id)
    if row is None:
        return False
    why = f"{who} asked for silence for {span(until_s - now_s)}"
    book.decide(connection, alert_id, now_s, "snoozed", "snoozed", why)
    if row.acknowledged_s is None:
        if row.state in {*book.OPEN, "folded"} and row.sent_s is None:
            if not book.is_under_way(connection, row):
                book.snooze_unsent(connection, row, until_s, now_s)
        elif row.state in {"sent", "folded"}:
            _ring_again(connection, row, until_s, now_s)
        elif row.state in book.OPEN and not book.is_under_way(connection, row):
            book.stop_deliveries(connection, alert_id)
            book.change(connection, alert_id, state="held", due_s=until_s)
    book.change(connection, alert_id, snoozed_until_s=until_s)
    return True


def _ring_again(connection: Connection, row: book.AlertRow, until_s: int, now_s: int) -> None:
    """Set a message that has rung to ring once more; findings that end meanwhile stop it."""
    if not book.is_lasting(connection, row.finding):
        book.decide(connection, row.id, now_s, "noted", "noted", "it is over; nothing rings again")
        return
    connection.execute(
        delete(delivery).where(delivery.c.alert == row.id, delivery.c.state != "sending")
    )
    book.change(
        connection, row.id, state="held", reason="asked again", due_s=until_s, ring=row.ring + 1
    )
    book.retell(connection, row.id)
