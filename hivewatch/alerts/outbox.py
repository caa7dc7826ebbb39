"""Turn findings into alerts, inside the very transaction that writes the findings.

Called after `store.findings.write` and before its commit: either both are in the store or none, so
no alert is lost between a finding and its message, and a restart or a replay that settles the same
findings again adds nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from sqlalchemy import Connection, insert, select

from hivewatch.alerts import book
from hivewatch.alerts.book import AlertRow
from hivewatch.alerts.rules import Verdict, due, judge
from hivewatch.alerts.words import Case, Place, write
from hivewatch.detect.finding import Finding
from hivewatch.settings import Quiet
from hivewatch.store.schema import alert

SETTLED = ("acknowledged", "imported")  # dropped for good, whatever becomes of the finding


class Limits(Protocol):
    """What the keeper may choose; the `[alerts]` part of the settings has it."""

    @property
    def quiet(self) -> Quiet | None:
        """The quiet hours, in the yard's own time."""


@dataclass(frozen=True, slots=True)
class _Desk:
    """What every step of one call needs."""

    connection: Connection
    yard: Place | None
    hive: str | None
    limits: Limits
    now_s: int


def enqueue(
    connection: Connection,
    before: Sequence[Finding],
    settled: Sequence[Finding],
    *,
    yard: Place | None,
    limits: Limits,
    now_s: int,
    hive: str | None = None,
) -> list[int]:
    """Give every new or changed finding its alert, and keep each decision.

    Parameters
    ----------
    connection : Connection
        The write transaction in which `settled` was written.
    before, settled : Sequence[Finding]
        What was told of this hive before, and now, with ids.
    yard : Place or None
        Where the hive stands; None when the device stands nowhere.
    limits : Limits
        The quiet hours.
    now_s : int
        Unix time. [s]
    hive : str or None
        The hive's id, for the words of a device's fault.

    Returns
    -------
    list[int]
        The alerts that were made or changed.
    """
    desk = _Desk(connection, yard, hive, limits, now_s)
    told = {one.id: one for one in before}
    changed = [one for one in settled if told.get(one.id) != one]
    rows: dict[str, AlertRow] = {}
    for ids in book.chunks(one.id for one in changed):
        found = connection.execute(select(alert).where(alert.c.finding.in_(ids)))
        rows.update({row.finding: row for row in found})
    touched = []
    for one in changed:
        row = rows.get(one.id)
        if row is None:
            touched.append(_add(desk, one))
            continue
        _look_again(desk, book.row_of(connection, row.id) or row, one)
        touched.append(row.id)
    return touched


def _add(desk: _Desk, one: Finding) -> int:
    """Make the alert of a finding that had none."""
    verdict = judge(one, desk.now_s)
    text = write([Case(one, desk.hive, verdict.is_late)], desk.yard)
    what, _, name = one.subject.partition(":")
    result = desk.connection.execute(
        insert(alert).values(
            finding=one.id,
            kind=one.kind,
            subject=one.subject,
            hive=name if what == "hive" else desk.hive,  # a look at a yard tells of hives, too
            yard=desk.yard.id if desk.yard else None,
            urgency=verdict.urgency,
            title=text.title,
            body=text.body,
            state="dropped",
            reason=verdict.reason,
            created_s=desk.now_s,
        )
    )
    (alert_id,) = result.inserted_primary_key or (0,)
    if verdict.rings:
        _place(desk, alert_id, one, verdict)
    else:
        book.decide(desk.connection, alert_id, desk.now_s, "dropped", verdict.reason, verdict.why)
    return int(alert_id)


def _place(desk: _Desk, alert_id: int, one: Finding, verdict: Verdict) -> None:
    """Put an alert that rings into its time, or into a message that is still to go out."""
    yard_id = desk.yard.id if desk.yard else None
    group = (one.kind, yard_id, verdict.urgency)
    when = due(
        one.kind,
        verdict,
        desk.now_s,
        quiet=desk.limits.quiet,
        timezone=desk.yard.timezone if desk.yard else None,
        rang_s=book.rang_s(desk.connection, *group, desk.now_s),
        snoozed_until_s=book.snoozed_until_s(desk.connection, one.kind, one.subject),
    )
    book.change(desk.connection, alert_id, urgency=verdict.urgency)
    leader = None
    if when.reason != "snoozed":
        leader = book.open_leader(desk.connection, *group, alert_id)
    if leader is not None:
        book.change(
            desk.connection,
            alert_id,
            state="folded",
            reason="folded",
            folded_into=leader,
            due_s=None,
        )
        why = f"told within alert {leader}: the same kind at the same yard"
        book.decide(desk.connection, alert_id, desk.now_s, "folded", "folded", why)
        book.retell(desk.connection, leader)
        return
    state, what = ("waiting", "queued") if when.at_s <= desk.now_s else ("held", "held")
    book.change(desk.connection, alert_id, state=state, reason=when.reason, due_s=when.at_s)
    book.decide(desk.connection, alert_id, desk.now_s, what, when.reason, when.why)


def _look_again(desk: _Desk, row: AlertRow, one: Finding) -> None:
    """Bring an alert to what its finding has become; while it waits, its news does not age."""
    verdict = judge(one, desk.now_s if row.state == "dropped" else row.created_s)
    if row.state in {"sent", "failed"} or (row.state == "folded" and row.sent_s is not None):
        _note(desk, row, one, verdict)
    elif book.is_under_way(desk.connection, row):
        return
    elif not verdict.rings:
        _drop(desk, row, one, verdict)
    elif row.state == "dropped":
        if row.reason not in SETTLED:
            _rewrite(desk, row.id, one, verdict)
            _place(desk, row.id, one, verdict)
    elif verdict.urgency != row.urgency:
        book.leave(desk.connection, row, desk.now_s)
        book.change(desk.connection, row.id, state="held")
        _rewrite(desk, row.id, one, verdict)
        _place(desk, row.id, one, verdict)
    else:
        _rewrite(desk, row.id, one, verdict)
        leader = row.folded_into if row.state == "folded" else row.id
        book.retell(desk.connection, leader)


def _drop(desk: _Desk, row: AlertRow, one: Finding, verdict: Verdict) -> None:
    """Send nothing of a finding that does not ring any more."""
    if row.state != "dropped":
        book.drop(desk.connection, row, desk.now_s, verdict.reason, verdict.why)
    elif row.reason not in {verdict.reason, *SETTLED}:
        book.change(desk.connection, row.id, reason=verdict.reason)
        book.decide(desk.connection, row.id, desk.now_s, "dropped", verdict.reason, verdict.why)
    _rewrite(desk, row.id, one, verdict)


def _note(desk: _Desk, row: AlertRow, one: Finding, verdict: Verdict) -> None:
    """Keep what became of a finding that was told; nothing rings a second time."""
    if verdict.rings and one.end_s is None:
        return
    why = verdict.why if not verdict.rings else "it is over"
    if book.last_note(desk.connection, row.id) == why:
        return
    book.decide(desk.connection, row.id, desk.now_s, "noted", "noted", why)
    if not verdict.rings and not book.followers_of(desk.connection, row.id):
        book.stop_deliveries(desk.connection, row.id)


def _rewrite(desk: _Desk, alert_id: int, one: Finding, verdict: Verdict) -> None:
    """Write the alert's own words anew."""
    text = write([Case(one, desk.hive, verdict.is_late)], desk.yard)
    book.change(desk.connection, alert_id, title=text.title, body=text.body)
