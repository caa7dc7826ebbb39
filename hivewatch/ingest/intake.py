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
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

from sqlalchemy import Connection

from hivewatch import metrics
from hivewatch.moments import written_s
from hivewatch.store import apiary, news, quarantine, stale
from hivewatch.store.open import Store
from hivewatch.store.quarantine import Held
from hivewatch.store.readings import Row, conflicting, insert
from hivewatch.wire import senml
from hivewatch.wire.quantities import BY_NUMBER

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

    def __init__(self, store: Store, *, mirrored: bool = False) -> None:
        """Take the store; when it is mirrored, what is new is marked for the mirror, too."""
        self._store, self._mirrored = store, mirrored
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
            batch = decode(messages, numbers)
            batch.held += refused
            names = {number: name for name, number in numbers.items()}
            done = admit(connection, batch, names, mirrored=self._mirrored)
            for one in status:
                apiary.note_status(
                    connection, one.device, one.payload.decode("ascii"), one.received_s
                )
        self._numbers |= numbers
        metrics.COMMIT.observe(time.perf_counter() - started)
        return done

    def readmit(
        self, now_s: int, ids: Iterable[int] | None = None, *, shift_s: int = 0
    ) -> list[tuple[Held, Committed]]:
        """Try what is in quarantine again, as if it had come when it first came.

        Parameters
        ----------
        shift_s : int
            How far the device's times are to be moved; then only what was refused for its clock
            is tried. [s]

        Returns
        -------
        list of (Held, Committed)
            What was tried, and what became of it.
        """
        from hivewatch.ingest.again import decode_again  # noqa: PLC0415 - pandas is slow to load

        wanted = None if ids is None else set(ids)
        tried = []
        with self._store.write() as connection:
            for held in quarantine.read(connection, waiting=True):
                is_line = (held.content_type or "").startswith("text/csv")
                if held.device is None or (wanted is not None and held.id not in wanted):
                    continue
                if not DEVICE.fullmatch(held.device) or not (is_line or _is_pack(held)):
                    continue
                if shift_s and all(reason != "clock" for _, reason, _ in held.faults):
                    continue
                numbers = {held.device: apiary.number_of(connection, held.device)}
                batch = decode_again(held, numbers, shift_s)
                done = admit(
                    connection,
                    batch,
                    {numbers[held.device]: held.device},
                    hold=False,
                    mirrored=self._mirrored,
                )
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
    connection: Connection,
    batch: Batch,
    names: dict[int, str],
    *,
    hold: bool = True,
    mirrored: bool = False,
) -> Committed:
    """Write one batch inside the caller's transaction.

    Parameters
    ----------
    names : dict[int, str]
        The device id of each device number in the batch.
    hold : bool
        Whether what is not admitted goes to quarantine; not when it comes from there.
    mirrored : bool
        Whether to mark what is new for the mirror.
    """
    stored = insert(connection, batch.rows)
    if stored < len(batch.rows):
        _hold_conflicts(batch, conflicting(connection, batch.rows))
    if hold:
        quarantine.add(connection, batch.held)
    spans = _spans(batch.rows)
    heard_s = {number: span.received_s for number, span in spans.items()}
    heard_since = apiary.heard(connection, heard_s)
    changes = _wrong_clocks(batch.held)
    if stored:
        for number in heard_since:
            until_s = spans[number].until_ms // 1000
            news.tell_readings(connection, apiary.stood(connection, number, until_s))
        changes += [(f"device:{names[number]}", span.from_ms) for number, span in spans.items()]
        if mirrored:
            changes += [(f"mirror:{names[number]}", span.from_ms) for number, span in spans.items()]
    stale.mark(connection, changes)
    conflicts = sum(fault[1] == "conflict" for one in batch.held for fault in one.faults)
    done = Committed(
        stored=stored,
        repeats=len(batch.rows) - stored - conflicts,
        quarantined=sum(len(one.faults) for one in batch.held),
        newest_s=max((span.until_ms for span in spans.values()), default=0) // 1000,
    )
    _count(done, batch)
    return done


def decode(messages: Sequence[Message], numbers: dict[str, int]) -> Batch:
    """Decode SenML messages into rows and faults."""
    batch = Batch(came=lambda place: _as_it_came(messages[place]))
    for place, one in enumerate(messages):
        pack = senml.decode(one.payload, one.content_type, one.received_s)
        device, received_s = numbers[one.device], one.received_s
        batch.rows += [(device, *record, received_s) for record in pack.records]
        batch.sources += [place] * len(pack.records)
        if pack.faults:
            batch.held.append(replace(_as_it_came(one), faults=tuple(pack.faults)))
    return batch


def _as_it_came(one: Message) -> Held:
    return Held(one.topic, one.device, one.content_type, one.payload, (), one.received_s)


def _is_pack(held: Held) -> bool:
    """Whether it came on a topic for readings, and not for status."""
    return held.source.endswith("/senml")


def _hold_conflicts(batch: Batch, places: Iterable[int]) -> None:
    """Hold the packs or lines whose readings are stored with another value, each once."""
    faults: dict[int, list[tuple[int | None, str, str]]] = {}
    for place in places:
        _, number, time_ms, value, _ = batch.rows[place]
        quantity = BY_NUMBER[number]
        detail = (
            f"{quantity.name} = {value:g} {quantity.unit} at {written_s(time_ms // 1000)},"
            " where another value is stored; the first one stays"
        )
        faults.setdefault(batch.sources[place], []).append((None, "conflict", detail))
    held_already = {(one.source, one.raw): place for place, one in enumerate(batch.held)}
    for source, of_source in faults.items():
        came = batch.came(source)
        place = held_already.get((came.source, came.raw), len(batch.held))
        before = batch.held[place].faults if place < len(batch.held) else ()
        batch.held[place : place + 1] = [replace(came, faults=(*before, *of_source))]


def _wrong_clocks(held: Iterable[Held]) -> list[tuple[str, int]]:
    """Name the devices that a wrong clock is to be told of, though nothing of them was stored."""
    return [
        (f"device:{one.device}", one.received_s * 1000)
        for one in held
        if one.device is not None and one.reason == "clock"
    ]


class _Span(NamedTuple):
    """The earliest and the latest reading of a device in a batch, and when it was last heard."""

    from_ms: int
    until_ms: int
    received_s: int


def _spans(rows: Iterable[Row]) -> dict[int, _Span]:
    """Say for each device what the batch covers."""
    spans: dict[int, _Span] = {}
    for device, of_device in groupby(rows, key=itemgetter(0)):
        some = list(of_device)
        times_ms = [row[2] for row in some]
        span = _Span(min(times_ms), max(times_ms), max(row[4] for row in some))
        known = spans.get(device, span)
        spans[device] = _Span(
            min(known.from_ms, span.from_ms),
            max(known.until_ms, span.until_ms),
            max(known.received_s, span.received_s),
        )
    return spans


def _count(done: Committed, batch: Batch) -> None:
    """Add a batch to the metrics."""
    metrics.READINGS.inc(done.stored)
    metrics.REPEATS.inc(done.repeats)
    for one in batch.held:
        for _, reason, _ in one.faults:
            metrics.QUARANTINED.labels(reason).inc()
