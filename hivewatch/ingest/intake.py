"""The one door into the store: check, commit, quarantine.

Whatever the way it came by, a batch is one transaction: good readings are stored once, what is not
admitted goes to quarantine as it came, devices are noted as heard and marked as changed. Only when
`Intake.commit` has returned may a message be acknowledged.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from sqlalchemy import Connection

from hivewatch import metrics
from hivewatch.store import apiary, quarantine, stale
from hivewatch.store.open import Store
from hivewatch.store.quarantine import Held
from hivewatch.store.readings import Row, conflicting, insert
from hivewatch.wire import senml

DEVICE = re.compile(r"[A-Za-z0-9._-]{1,64}")
REASONS = (
    *senml.REASONS,
    "conflict",
    "device name",
    "topic",
    "status",
    "line",
    "time",
    "hivewatch",
)
metrics.at_zero(metrics.QUARANTINED, REASONS)


class Message(NamedTuple):
    """One MQTT message as it came."""

    topic: str
    device: str
    payload: bytes
    content_type: str | None
    received_s: int


class Committed(NamedTuple):
    """What became of a batch."""

    stored: int = 0
    repeats: int = 0
    quarantined: int = 0  # records, or whole packs
    newest_s: int = 0  # time of the newest reading; 0 when there is none


@dataclass(slots=True)
class Batch:
    """Readings on their way into the store, and what is not admitted.

    `sources[i]` says which pack or line `rows[i]` came in; `came` gives that pack or line as it
    came, without faults, should it have to be held after all.
    """

    came: Callable[[int], Held]
    rows: list[Row] = field(default_factory=list)
    sources: list[int] = field(default_factory=list)
    held: list[Held] = field(default_factory=list)


class Intake:
    """Takes messages into the store; knows the devices' numbers."""

    def __init__(self, store: Store) -> None:
        """Start with the devices the store knows."""
        self._store = store
        self._numbers: dict[str, int] = {}

    def commit(
        self,
        messages: Sequence[Message],
        status: Iterable[Message] = (),
        refused: Sequence[Held] = (),
    ) -> Committed:
        """Store a batch of messages; when it returns, they are on disk.

        Parameters
        ----------
        messages : sequence of Message
            Packs of readings.
        status : iterable of Message
            The newest word of each device's status topic.
        refused : sequence of Held
            Messages for quarantine, whatever they say.

        Raises
        ------
        sqlalchemy.exc.DatabaseError
            If the store cannot be written; nothing of the batch is stored then.
        """
        started = time.perf_counter()
        with self._store.write() as connection:
            numbers = self._number(connection, messages)
            batch = _decode(messages, numbers)
            batch.held += refused
            done = admit(connection, batch, {number: name for name, number in numbers.items()})
            for one in status:
                apiary.note_status(
                    connection, one.device, one.payload.decode("ascii"), one.received_s
                )
        self._numbers |= numbers
        metrics.COMMIT.observe(time.perf_counter() - started)
        return done

    def readmit(self, now_s: int, ids: Iterable[int] | None = None) -> list[tuple[Held, Committed]]:
        """Try what is in quarantine again, as if it had come when it first came.

        Returns
        -------
        list of (Held, Committed)
            What was tried, and what became of it.
        """
        from hivewatch.ingest.tables import decode_line  # noqa: PLC0415 - pandas is slow to load

        wanted = None if ids is None else set(ids)
        tried = []
        with self._store.write() as connection:
            for held in quarantine.read(connection, waiting=True):
                if held.device is None or (wanted is not None and held.id not in wanted):
                    continue
                numbers = {held.device: apiary.number_of(connection, held.device)}
                batch = (
                    decode_line(held, numbers)
                    if (held.content_type or "").startswith("text/csv")
                    else _decode([_message(held)], numbers)
                )
                done = admit(connection, batch, {numbers[held.device]: held.device}, hold=False)
                left = [fault for one in batch.held for fault in one.faults]
                quarantine.admitted(connection, held.id, left, now_s)
                tried.append((held, done))
        return tried

    def _number(self, connection: Connection, messages: Sequence[Message]) -> dict[str, int]:
        """Give the number of each device in the batch."""
        numbers = {}
        for one in messages:
            if one.device not in numbers:
                known = self._numbers.get(one.device)
                numbers[one.device] = known or apiary.number_of(connection, one.device)
        return numbers


def admit(
    connection: Connection, batch: Batch, names: dict[int, str], *, hold: bool = True
) -> Committed:
    """Write one batch inside the caller's transaction.

    Parameters
    ----------
    names : dict[int, str]
        The device id of each device number in the batch.
    hold : bool
        Whether what is not admitted goes to quarantine; not when it comes from there.
    """
    stored = insert(connection, batch.rows)
    if stored < len(batch.rows):
        for place in conflicting(connection, batch.rows):
            row, came = batch.rows[place], batch.came(batch.sources[place])
            detail = f"{row.value} at {row.time_ms} ms, where another value is stored"
            batch.held.append(replace(came, faults=((None, "conflict", detail),)))
    if hold:
        quarantine.add(connection, batch.held)
    apiary.heard(connection, _last_received_s(batch.rows).items())
    if stored:
        since_ms = _earliest_ms(batch.rows)
        stale.mark(connection, [(f"device:{names[one]}", since_ms[one]) for one in since_ms])
    conflicts = sum(fault[1] == "conflict" for one in batch.held for fault in one.faults)
    done = Committed(
        stored=stored,
        repeats=len(batch.rows) - stored - conflicts,
        quarantined=sum(len(one.faults) for one in batch.held),
        newest_s=max((row.time_ms for row in batch.rows), default=0) // 1000,
    )
    _count(done, batch)
    return done


def _decode(messages: Sequence[Message], numbers: dict[str, int]) -> Batch:
    """Decode SenML messages into rows and faults."""
    batch = Batch(came=lambda place: _as_it_came(messages[place]))
    for place, one in enumerate(messages):
        pack = senml.decode(one.payload, one.content_type, one.received_s)
        device, received_s = numbers[one.device], one.received_s
        batch.rows += [Row(device, *record, received_s) for record in pack.records]
        batch.sources += [place] * len(pack.records)
        if pack.faults:
            batch.held.append(replace(_as_it_came(one), faults=tuple(pack.faults)))
    return batch


def _as_it_came(one: Message) -> Held:
    return Held(one.topic, one.device, one.content_type, one.payload, (), one.received_s)


def _message(held: Held) -> Message:
    return Message(held.source, held.device or "", held.raw, held.content_type, held.received_s)


def _last_received_s(rows: Iterable[Row]) -> dict[int, int]:
    """Give when each device was last heard in a batch."""
    last_s: dict[int, int] = {}
    for row in rows:
        if row.received_s > last_s.get(row.device, 0):
            last_s[row.device] = row.received_s
    return last_s


def _earliest_ms(rows: Iterable[Row]) -> dict[int, int]:
    """Give the earliest reading of each device in a batch."""
    earliest_ms: dict[int, int] = {}
    for row in rows:
        if row.time_ms < earliest_ms.get(row.device, row.time_ms + 1):
            earliest_ms[row.device] = row.time_ms
    return earliest_ms


def _count(done: Committed, batch: Batch) -> None:
    """Add a batch to the metrics."""
    metrics.READINGS.inc(done.stored)
    metrics.REPEATS.inc(done.repeats)
    for one in batch.held:
        for _, reason, _ in one.faults:
            metrics.QUARANTINED.labels(reason).inc()
