"""What is to be sent and what became of it: the delivery rows, a short transaction a step.

A delivery is `waiting` until it is taken, `sending` while a channel has it, and then `sent`,
`failed`, or `waiting` again. A row found as `sending` at a start is one that we died over.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, Select, and_, exists, or_, select, update
from sqlalchemy.dialects.sqlite import insert

from hivewatch.alerts import book
from hivewatch.alerts.rules import Reason, span
from hivewatch.store.schema import alert, delivery

FIRST_WAIT_S = 15  # [s] own choice: a router's restart is over after a few of these, doubling
LONGEST_WAIT_S = 900  # [s] own choice: in the first day or so, which are
LONG_TRIES = 100  # so many tries
LONGEST_WAIT_LATER_S = 3600  # [s] own choice
GIVE_UP_S = 3 * 86_400  # [s] own choice: what nobody could be told until then is on the pages
GIVE_UP_TRIES = 20  # own choice: a clock that jumps ahead is no reason to give up
SET_BACK_S = 2 * 86_400  # [s] own choice: nothing waits so long but at the keeper's own wish;
# what is due later was written before the clock was set back
INTERRUPTED_MAX = 5  # own choice: a message over which we die so often is set aside
NO_CHANNEL_S = GIVE_UP_S  # [s] as long as a channel may be away
ERROR_CHARS_MAX = 500  # own choice


@dataclass(frozen=True, slots=True)
class Letter:
    """One message for one channel."""

    alert: int
    channel: str
    key: str  # the same for a repeat, another for the next ring
    title: str
    body: str
    urgency: str
    since_s: int
    attempts: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one attempt; `line` is the service's own word, without secrets."""

    state: str  # sent, waiting (a passing fault), failed
    reason: Reason
    line: str
    first_wait_s: int = FIRST_WAIT_S
    least_wait_s: int = 0  # the service's own wish


def recover(connection: Connection, now_s: int, under_way: Collection[tuple[int, str]] = ()) -> int:
    """Take up what the last run left: rows it died over, and failures that may be mended.

    `under_way` are the (alert, channel) that a thread of this very process still has in hand.
    """
    rows = connection.execute(select(delivery).where(delivery.c.state == "sending")).all()
    rows = [row for row in rows if (row.alert, row.channel) not in under_way]
    for row in rows:
        _interrupted(connection, row, now_s)
    failed = select(alert.c.id).where(
        alert.c.state == "failed",
        alert.c.reason != "imported",
        alert.c.created_s > now_s - GIVE_UP_S,
    )
    for alert_id in connection.execute(failed).scalars().all():
        if not _is_ours_to_retry(connection, alert_id):
            continue
        book.change(connection, alert_id, state="waiting", due_s=now_s, reason="started anew")
        why = "tried once more after a start: the settings may have changed"
        book.decide(connection, alert_id, now_s, "queued", "started anew", why)
        anew = {"state": "waiting", "next_try_s": now_s, "since_s": now_s, "attempts": 0}
        connection.execute(
            update(delivery)
            .where(delivery.c.alert == alert_id, delivery.c.state == "failed")
            .values(**anew)
        )
    return len(rows)


def _is_ours_to_retry(connection: Connection, alert_id: int) -> bool:
    """Whether a failed alert has nothing that was set aside as poisoned."""
    poisoned = select(delivery.c.alert).where(
        delivery.c.alert == alert_id, delivery.c.interrupted >= INTERRUPTED_MAX
    )
    return connection.execute(poisoned.limit(1)).first() is None


def _interrupted(connection: Connection, row: Row[Any], now_s: int) -> None:
    """Put a row that we died over back in line, or aside when that happens again and again."""
    alert_id, channel, times = row.alert, row.channel, row.interrupted + 1
    mine = update(delivery).where(delivery.c.alert == alert_id, delivery.c.channel == channel)
    if times >= INTERRUPTED_MAX:
        why = f"hivewatch ended {times} times while it sent this"
        connection.execute(mine.values(state="failed", interrupted=times, error=why))
        book.decide(connection, alert_id, now_s, "failed", "set aside", why, channel)
        _close(connection, alert_id, now_s)
        return
    why = "hivewatch ended between sending and recording: it may ring a second time"
    connection.execute(mine.values(state="waiting", interrupted=times, next_try_s=now_s))
    book.decide(connection, alert_id, now_s, "queued", "interrupted", why, channel)
    book.reconsider(connection, alert_id, now_s)


def address(connection: Connection, channels: Sequence[str], now_s: int) -> int:
    """Give every alert whose time has come a delivery for each channel."""
    rows = connection.execute(_unaddressed(now_s).order_by(alert.c.due_s, alert.c.id)).all()
    for row in rows:
        if not channels:
            _without_channel(connection, row, now_s)
            continue
        if row.state == "held":
            book.change(connection, row.id, state="waiting", reason="it matters")
            book.decide(connection, row.id, now_s, "queued", "it matters", "its time has come")
        for name in channels:
            fresh = {"state": "waiting", "since_s": now_s, "next_try_s": now_s, "attempts": 0}
            query = insert(delivery).values(
                alert=row.id, channel=name, interrupted=0, error=None, **fresh
            )
            connection.execute(
                query.on_conflict_do_update(
                    index_elements=["alert", "channel"],
                    set_=fresh,
                    where=delivery.c.state.in_(("dropped", "failed")),
                )
            )
    return len(rows)


def _without_channel(connection: Connection, row: book.AlertRow, now_s: int) -> None:
    """Keep an alert that nobody can be told; it waits some days for a channel."""
    if row.reason != "no channel":
        why = "the settings name no channel, and no phone rings; it is on the pages"
        book.change(connection, row.id, state="waiting", reason="no channel")
        book.decide(connection, row.id, now_s, "waiting", "no channel", why)
    elif now_s - row.due_s > NO_CHANNEL_S:
        book.change(connection, row.id, state="failed", reason="no channel")
        why = f"no channel within {span(NO_CHANNEL_S)}"
        book.decide(connection, row.id, now_s, "failed", "no channel", why)


def is_any_unaddressed(connection: Connection, now_s: int, *, has_channels: bool) -> bool:
    """Whether an alert's time has come that no delivery is under way for."""
    query = _unaddressed(now_s)
    if not has_channels:
        told = alert.c.reason == "no channel", alert.c.due_s >= now_s - NO_CHANNEL_S
        query = query.where(~and_(*told))
    return connection.execute(query.limit(1)).first() is not None


def _unaddressed(now_s: int) -> Select[Any]:
    under_way = exists().where(
        delivery.c.alert == alert.c.id, delivery.c.state.in_(("waiting", "sending"))
    )
    wished = alert.c.reason.in_(("snoozed", "asked again"))
    due = or_(alert.c.due_s <= now_s, and_(alert.c.due_s > now_s + SET_BACK_S, ~wished))
    return select(alert).where(alert.c.state.in_(book.OPEN), due, ~under_way)


def waiting_elsewhere(connection: Connection, channels: Collection[str], now_s: int) -> int:
    """Close the deliveries of channels that are there no more."""
    gone = select(delivery).where(
        delivery.c.state == "waiting", delivery.c.channel.not_in(list(channels))
    )
    rows = connection.execute(gone).all()
    for row in rows:
        mine = delivery.c.alert == row.alert, delivery.c.channel == row.channel
        why = "the channel is no longer in the settings, or the phone was switched off"
        connection.execute(update(delivery).where(*mine).values(state="dropped", error=why))
        book.decide(connection, row.alert, now_s, "dropped", "channel removed", why, row.channel)
    return len(rows)


def next_letters(connection: Connection, idle: Collection[str], now_s: int) -> list[Letter]:
    """Read the next delivery of each idle channel: emergencies first, then by their time."""
    query = (
        select(
            delivery, alert.c.finding, alert.c.ring, alert.c.title, alert.c.body, alert.c.urgency
        )
        .join(alert, alert.c.id == delivery.c.alert)
        .where(
            delivery.c.state == "waiting",
            or_(delivery.c.next_try_s <= now_s, delivery.c.next_try_s > now_s + SET_BACK_S),
            delivery.c.channel.in_(list(idle)),
        )
        .order_by(
            alert.c.urgency != "emergency",
            delivery.c.attempts > 0,
            delivery.c.next_try_s,
            delivery.c.alert,
        )
    )
    chosen: dict[str, Letter] = {}
    for row in connection.execute(query):
        if row.channel not in chosen:
            key = f"{row.finding}-{row.ring}"
            chosen[row.channel] = Letter(
                alert=row.alert,
                channel=row.channel,
                key=key,
                title=row.title,
                body=row.body,
                urgency=row.urgency,
                since_s=row.since_s,
                attempts=row.attempts,
            )
        if len(chosen) == len(idle):
            break
    return list(chosen.values())


def take(connection: Connection, letters: Sequence[Letter]) -> list[Letter]:
    """Mark deliveries as under way; those that are no longer waiting are left out."""
    taken = []
    for one in letters:
        mine = delivery.c.alert == one.alert, delivery.c.channel == one.channel
        result = connection.execute(
            update(delivery)
            .where(*mine, delivery.c.state == "waiting")
            .values(state="sending", attempts=delivery.c.attempts + 1)
        )
        if result.rowcount == 1:
            taken.append(one)
    return taken


def record(connection: Connection, one: Letter, outcome: Outcome, now_s: int, wait_s: int) -> None:
    """Write what became of an attempt; `wait_s` is the pause before the next."""
    line = outcome.line[:ERROR_CHARS_MAX]
    mine = update(delivery).where(delivery.c.alert == one.alert, delivery.c.channel == one.channel)
    if outcome.state == "sent":
        connection.execute(mine.values(state="sent", sent_s=now_s, error=None))
        book.decide(connection, one.alert, now_s, "sent", "sent", line, one.channel)
        _rang(connection, one.alert, now_s)
        return
    has_time = now_s + wait_s - one.since_s <= GIVE_UP_S or one.attempts + 1 < GIVE_UP_TRIES
    if outcome.state == "waiting" and has_time:
        connection.execute(mine.values(state="waiting", next_try_s=now_s + wait_s, error=line))
        why = f"{line}; again in {span(wait_s)}"
        book.decide(connection, one.alert, now_s, "tried", "passing fault", why, one.channel)
        book.reconsider(connection, one.alert, now_s)
        return
    if outcome.reason == "channel removed":  # the alert waits for another, as without any channel
        connection.execute(mine.values(state="dropped", error=line))
        book.decide(connection, one.alert, now_s, "dropped", outcome.reason, line, one.channel)
        book.reconsider(connection, one.alert, now_s)
        return
    reason: Reason = "given up" if outcome.state == "waiting" else outcome.reason
    connection.execute(mine.values(state="failed", error=line))
    book.decide(connection, one.alert, now_s, "failed", reason, line, one.channel)
    _close(connection, one.alert, now_s)


def _rang(connection: Connection, alert_id: int, now_s: int) -> None:
    """Mark an alert as told with the first channel that took it, and those told within it."""
    row = book.row_of(connection, alert_id)
    if row is None or row.state == "sent":
        return
    book.change(connection, alert_id, state="sent", reason="sent", sent_s=now_s)
    for follower in book.followers_of(connection, alert_id):
        book.change(connection, follower, sent_s=now_s)
        why = f"told within alert {alert_id}"
        book.decide(connection, follower, now_s, "sent", "sent", why)


def _close(connection: Connection, alert_id: int, now_s: int) -> None:
    """Mark an alert as failed when its last channel failed."""
    row = book.row_of(connection, alert_id)
    states = set(
        connection.execute(select(delivery.c.state).where(delivery.c.alert == alert_id)).scalars()
    )
    if row is None or row.state not in book.OPEN or states & {"waiting", "sending", "sent"}:
        return
    book.change(connection, alert_id, state="failed", reason="given up")
    why = "no channel took it; it is on the pages"
    for one in (alert_id, *book.followers_of(connection, alert_id)):
        book.decide(connection, one, now_s, "failed", "given up", why)


def wait_s(attempts: int, jitter: float, first_s: int = FIRST_WAIT_S) -> int:
    """Give the pause after so many attempts: doubling, capped, a fifth shorter to a fifth longer.

    Parameters
    ----------
    attempts : int
        Attempts made so far, from 1.
    jitter : float
        From 0 to 1, drawn anew each time.
    first_s : int
        The pause after the first attempt. [s]

    Returns
    -------
    int
        At least one. [s]
    """
    longest_s = LONGEST_WAIT_S if attempts <= LONG_TRIES else LONGEST_WAIT_LATER_S
    pause = min(first_s * 2.0 ** min(attempts - 1, 30), longest_s)
    return max(1, round(pause * (0.8 + 0.4 * jitter)))
