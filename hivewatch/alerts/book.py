"""The rows behind alerts: decisions, leaders of messages, and who speaks for whom."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from sqlalchemy import Connection, Row, and_, exists, func, insert, or_, select, update

from hivewatch.alerts.rules import Reason, judge
from hivewatch.alerts.words import LISTED_MAX, Case, Place, write
from hivewatch.store import findings
from hivewatch.store.schema import alert, decision, delivery, finding, yard

AlertRow = Row[Any]
OPEN = ("held", "waiting")  # still to be sent, as a message of its own
GONE_OUT = ("sending", "sent")


class YardRow(NamedTuple):
    """A yard as the store knows it."""

    id: str
    name: str
    timezone: str


def decide(
    connection: Connection,
    alert_id: int,
    at_s: int,
    what: str,
    reason: Reason,
    why: str,
    channel: str | None = None,
) -> None:
    """Keep one decision about an alert."""
    connection.execute(
        insert(decision).values(
            alert=alert_id, at_s=at_s, what=what, reason=reason, why=why, channel=channel
        )
    )


def change(connection: Connection, alert_id: int, **values: object) -> None:
    """Change columns of one alert."""
    connection.execute(update(alert).where(alert.c.id == alert_id).values(**values))


def row_of(connection: Connection, alert_id: int) -> AlertRow | None:
    """Read one alert's row."""
    return connection.execute(select(alert).where(alert.c.id == alert_id)).first()


def place_of(connection: Connection, yard_id: str | None) -> Place | None:
    """Read where an alert belongs."""
    columns = select(yard.c.id, yard.c.name, yard.c.timezone)
    row = connection.execute(columns.where(yard.c.id == yard_id)).first()
    return None if row is None else YardRow(*row)


def followers_of(connection: Connection, leader_id: int) -> list[int]:
    """Give the alerts that are told within another's message."""
    query = select(alert.c.id).where(alert.c.folded_into == leader_id, alert.c.state == "folded")
    return list(connection.execute(query.order_by(alert.c.id)).scalars())


def open_leader(
    connection: Connection, kind: str, yard_id: str | None, urgency: str, not_id: int
) -> int | None:
    """Find the message of this kind, yard and urgency that can still take one more in."""
    gone = exists().where(delivery.c.alert == alert.c.id, delivery.c.state.in_(GONE_OUT))
    query = select(alert.c.id).where(
        alert.c.state.in_(OPEN),
        alert.c.kind == kind,
        alert.c.yard == yard_id,
        alert.c.urgency == urgency,
        alert.c.reason != "snoozed",
        alert.c.sent_s.is_(None),
        alert.c.id != not_id,
        ~gone,
    )
    return connection.execute(query.order_by(alert.c.id).limit(1)).scalar()


def rang_s(
    connection: Connection, kind: str, yard_id: str | None, urgency: str, now_s: int
) -> int | None:
    """Say when a message of this kind, yard and urgency went out last; now, when one just does."""
    same = and_(alert.c.kind == kind, alert.c.yard == yard_id, alert.c.urgency == urgency)
    last_s = connection.execute(
        select(func.max(alert.c.sent_s)).where(
            same,
            alert.c.state == "sent",
            alert.c.sent_s <= now_s,  # later: the clock was set back
        )
    ).scalar()
    going = select(delivery.c.alert).join(alert, alert.c.id == delivery.c.alert)
    under_way = alert.c.state.in_(OPEN), delivery.c.state == "sending"
    if connection.execute(going.where(same, *under_way).limit(1)).first():
        return now_s
    return last_s


def snoozed_until_s(connection: Connection, kind: str, subject: str) -> int | None:
    """Say until when the keeper wants to hear nothing of this kind and subject."""
    query = select(func.max(alert.c.snoozed_until_s))
    return connection.execute(
        query.where(alert.c.kind == kind, alert.c.subject == subject)
    ).scalar()


def retell(connection: Connection, leader_id: int) -> None:
    """Write a message anew from its own finding and those told within it, as they stand.

    One that rings once more speaks for itself alone: the others were told the first time.
    Whether one is late news was settled when it was first told, not by how long it waits here.
    """
    untold = alert.c.state == "folded", alert.c.sent_s.is_(None)
    mine = or_(alert.c.id == leader_id, and_(alert.c.folded_into == leader_id, *untold))
    joined = select(
        finding,
        alert.c.hive.label("alert_hive"),
        alert.c.yard.label("alert_yard"),
        alert.c.created_s,
    )
    joined = joined.join(alert, alert.c.finding == finding.c.id).where(mine)
    rows = connection.execute(joined.order_by(finding.c.start_s).limit(LISTED_MAX)).all()
    if not rows:
        return
    count = connection.execute(select(func.count()).select_from(alert).where(mine)).scalar_one()
    cases = []
    for row in rows:
        one = findings.of_row(row)
        cases.append(Case(one, row.alert_hive, judge(one, row.created_s).is_late))
    text = write(cases, place_of(connection, rows[0].alert_yard), count)
    change(connection, leader_id, title=text.title, body=text.body)


def is_lasting(connection: Connection, finding_id: str) -> bool:
    """Whether a finding still stands and is not over."""
    lasts = finding.c.id == finding_id, finding.c.status == "open", finding.c.end_s.is_(None)
    return connection.execute(select(finding.c.id).where(*lasts)).first() is not None


def leave(connection: Connection, row: AlertRow, now_s: int) -> None:
    """Take an alert out of its message, or hand its message to the next of those it speaks for.

    The caller gives the alert its new state afterwards.
    """
    if row.state == "folded":
        change(connection, row.id, folded_into=None, state="held")
        retell(connection, row.folded_into)
        return
    others = followers_of(connection, row.id)
    if not others or row.sent_s is not None:
        stop_deliveries(connection, row.id)
        return
    heir, *rest = others
    change(
        connection,
        heir,
        state=row.state,
        reason=row.reason,
        urgency=row.urgency,
        due_s=row.due_s,
        folded_into=None,
    )
    why = f"speaks for the others now, in place of alert {row.id}"
    decide(connection, heir, now_s, "queued", "it matters", why)
    connection.execute(update(alert).where(alert.c.id.in_(rest)).values(folded_into=heir))
    stop_deliveries(connection, row.id)
    retell(connection, heir)
    retell(connection, row.id)  # its own words speak for itself alone again


def stop_deliveries(connection: Connection, alert_id: int) -> None:
    """Try no channel again for an alert."""
    unsent = delivery.c.alert == alert_id, delivery.c.state == "waiting"
    connection.execute(update(delivery).where(*unsent).values(state="dropped"))


def last_note(connection: Connection, alert_id: int) -> str | None:
    """Read what was noted last of an alert that was told."""
    noted = decision.c.alert == alert_id, decision.c.what == "noted"
    query = select(decision.c.why).where(*noted).order_by(decision.c.id.desc()).limit(1)
    return connection.execute(query).scalar()


def drop(connection: Connection, row: AlertRow, now_s: int, reason: Reason, why: str) -> None:
    """Send nothing more of an alert; what has rung stays as sent."""
    leave(connection, row, now_s)
    state = "dropped" if row.sent_s is None else "sent"
    change(connection, row.id, state=state, reason=reason, due_s=None)
    decide(connection, row.id, now_s, "dropped", reason, why)


def is_under_way(connection: Connection, row: AlertRow) -> bool:
    """Whether a channel has the message in hand this moment, and none has told it before.

    What changes meanwhile waits for the end of the send: `reconsider`.
    """
    leader = row.folded_into if row.state == "folded" else row.id
    query = select(delivery.c.alert).where(delivery.c.alert == leader)
    return row.sent_s is None and bool(
        connection.execute(query.where(delivery.c.state == "sending").limit(1)).first()
    )


def reconsider(connection: Connection, alert_id: int, now_s: int) -> None:
    """Take back, after a send that failed, what is not to ring any more, before the next try."""
    for one in (*followers_of(connection, alert_id), alert_id):
        row = row_of(connection, one)
        if row is None:
            continue
        known = connection.execute(select(finding).where(finding.c.id == row.finding)).one()
        verdict = judge(findings.of_row(known), row.created_s)
        who = row.acknowledged_by
        if row.sent_s is not None:
            if who is not None or not verdict.rings:
                stop_deliveries(connection, one)
        elif row.state not in {*OPEN, "folded"}:
            continue
        elif who is not None:
            drop(connection, row, now_s, "acknowledged", f"{who} knows already")
        elif not verdict.rings:
            drop(connection, row, now_s, verdict.reason, verdict.why)
        elif (row.snoozed_until_s or 0) > now_s:
            snooze_unsent(connection, row, row.snoozed_until_s, now_s)
        elif one == alert_id:
            retell(connection, one)


def snooze_unsent(connection: Connection, row: AlertRow, until_s: int, now_s: int) -> None:
    """Hold an alert that has not gone out, alone, until the keeper's own time."""
    leave(connection, row, now_s)
    change(connection, row.id, state="held", reason="snoozed", due_s=until_s)


def chunks(items: Iterable[str], size: int = 500) -> Iterable[list[str]]:
    """Cut a list so that no query names more values than the store takes."""
    all_items = list(items)
    return (all_items[i : i + size] for i in range(0, len(all_items), size))
