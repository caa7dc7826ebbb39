"""Packs and lines that were not admitted: the bytes as they came, and why."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, select, text, update

from hivewatch.store.open import rows
from hivewatch.store.schema import quarantine


@dataclass(frozen=True, slots=True)
class Held:
    """One pack or line in quarantine; `faults` are (index in the pack or None, reason, detail)."""

    source: str
    device: str | None
    content_type: str | None
    raw: bytes
    faults: Sequence[tuple[int | None, str, str]]
    received_s: int
    times: int = 1
    admitted_s: int | None = None
    id: int = 0

    @property
    def reason(self) -> str:
        """Give the reason of the first fault; a wrong clock goes before, the watch asks for it."""
        return _reason(self.faults)


def add(connection: Connection, held: Sequence[Held]) -> None:
    """Put packs into quarantine; the same again for the same reasons only counts up."""
    if not held:
        return
    connection.execute(
        text(
            "INSERT INTO quarantine (digest, source, device, content_type, raw, reason, faults,"
            " received_s, times) VALUES (:digest, :source, :device, :content_type, :raw, :reason,"
            " :faults, :received_s, 1) ON CONFLICT (digest) DO UPDATE SET"
            " times = quarantine.times + 1"
        ),
        [
            {
                "digest": _digest(one),
                "source": one.source,
                "device": one.device,
                "content_type": one.content_type,
                "raw": one.raw,
                "reason": one.reason,
                "faults": _faults_text(one.faults),
                "received_s": one.received_s,
            }
            for one in held
        ],
    )


def read(
    connection: Connection,
    *,
    reason: str | None = None,
    waiting: bool | None = None,
    after: int = 0,
    limit: int | None = None,
) -> list[Held]:
    """List what is in quarantine, oldest first; `waiting` leaves out what was admitted since."""
    query = select(quarantine).where(quarantine.c.id > after).order_by(quarantine.c.id)
    if reason is not None:
        query = query.where(quarantine.c.reason == reason)
    if waiting:
        query = query.where(quarantine.c.admitted_s.is_(None))
    return [
        Held(
            source=row.source,
            device=row.device,
            content_type=row.content_type,
            raw=row.raw,
            faults=[(fault["index"], fault["reason"], fault["detail"]) for fault in faults],
            received_s=row.received_s,
            times=row.times,
            admitted_s=row.admitted_s,
            id=row.id,
        )
        for row in connection.execute(query.limit(limit))
        for faults in [json.loads(row.faults)]
    ]


def admitted(
    connection: Connection,
    number: int,
    faults: Sequence[tuple[int | None, str, str]],
    now_s: int,
) -> None:
    """Note what became of a second try: the faults that are left, or that none is."""
    values: dict[str, object] = (
        {"faults": _faults_text(faults), "reason": _reason(faults)}
        if faults
        else {"admitted_s": now_s}
    )
    connection.execute(update(quarantine).where(quarantine.c.id == number).values(values))


def clock_faults_s(connection: Connection, device: str, by_s: int) -> list[int]:
    """Give the times when records of a device were refused for their time, in Unix s."""
    refused = rows(
        connection,
        "SELECT DISTINCT received_s FROM quarantine"
        " WHERE device = ? AND reason = 'clock' AND received_s <= ? ORDER BY received_s",
        (device, by_s),
    )
    return [int(received_s) for (received_s,) in refused]


def _reason(faults: Sequence[tuple[int | None, str, str]]) -> str:
    reasons = [reason for _, reason, _ in faults]
    return "clock" if "clock" in reasons else reasons[0]


def _digest(one: Held) -> str:
    """Name the same bytes from the same place with the same reasons the same."""
    reasons = ",".join(sorted({reason for _, reason, _ in one.faults}))
    place = "\0".join((one.device or one.source, one.content_type or "", reasons, ""))
    return hashlib.sha256(place.encode() + one.raw).hexdigest()


def _faults_text(faults: Sequence[tuple[int | None, str, str]]) -> str:
    return json.dumps(
        [{"index": index, "reason": reason, "detail": detail} for index, reason, detail in faults]
    )
