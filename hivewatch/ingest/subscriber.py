"""From the broker: take messages, commit them, and only then acknowledge them.

One thread does all of it, in this order, so that nothing is acknowledged before it is on disk, and
no acknowledgement reaches another connection than the one its message came by. A batch closes when
the broker pauses, when it is full or when it is old. While a batch cannot be written (the disk is
full), nothing more is read, and the broker keeps what waits.
"""

from __future__ import annotations

import random
import select
from collections.abc import Callable
from threading import Event

import structlog
from paho.mqtt.client import MQTTMessage
from paho.mqtt.enums import MQTTErrorCode, MQTTProtocolVersion
from sqlalchemy.exc import OperationalError

from hivewatch import metrics
from hivewatch.clock import Clock
from hivewatch.errors import HivewatchError
from hivewatch.ingest.connection import Connection
from hivewatch.ingest.intake import DEVICE, Committed, Intake, Message
from hivewatch.settings import Broker
from hivewatch.store.quarantine import Held

LOG = structlog.get_logger(__name__)

BATCH_MESSAGES = 500  # own choice: one commit is then a small part of the work
BATCH_BYTES = 1_000_000  # own choice: large packs make a batch of few, as soon committed
BATCH_AGE_S = 0.1  # own choice: leaves 150 of the promised 250 ms for the commit itself
BACK_OFF_S = (0.5, 60.0)  # own choice: the first and the longest wait between two tries
STORE_BACK_OFF_S = (0.5, 5.0)  # own choice: the same for the store; the line must be kept alive
STATUSES = (b"online", b"offline")


class Subscriber:
    """The loop that owns the connection."""

    def __init__(self, broker: Broker, intake: Intake, clock: Clock) -> None:
        """Prepare; `run` connects."""
        self._broker, self._intake, self._clock = broker, intake, clock
        self._connection: Connection | None = None
        self._readings: list[Message] = []
        self._status: dict[str, Message] = {}
        self._refused: list[Held] = []
        self._to_ack: list[tuple[int, int, int]] = []  # number of the connection, id, QoS
        self._connections = 0
        self._bytes = 0
        self._opened_s = 0.0
        self.fault: str | None = "not connected yet"
        self.packs = 0  # packs committed since the start

    def run(self, stop: Event, beat: Callable[[], None]) -> None:
        """Stay connected until told to stop."""
        wait_s = BACK_OFF_S[0]
        while not stop.is_set():
            beat()
            try:
                self._connect()
                wait_s = BACK_OFF_S[0]
                self._serve(stop, beat)
                if not stop.is_set():
                    self._note_fault("the line to the broker dropped; trying again")
            except HivewatchError as error:
                self._note_fault(str(error))
            finally:
                self._leave()
            if not stop.is_set():
                stop.wait(wait_s * random.uniform(0.5, 1.0))  # noqa: S311 - jitter, no secret
                wait_s = min(wait_s * 2, BACK_OFF_S[1])

    def _connect(self) -> None:
        self._connections += 1
        self._connection = Connection(self._broker, self._take)
        if self.fault is not None:
            LOG.info(
                "broker_connected",
                broker=self._connection.where,
                protocol="5"
                if self._connection.protocol is MQTTProtocolVersion.MQTTv5
                else "3.1.1",
                session_kept=self._connection.session_kept,
            )
        self.fault = None

    def _leave(self) -> None:
        """Drop the connection; what is not acknowledged comes again."""
        if self._connection is not None:
            self._connection.close()
        self._connection = None

    def _note_fault(self, line: str, event: str = "broker_lost") -> None:
        """Say a fault once, not at every try."""
        if line != self.fault:
            LOG.warning(event, fault=line)
        self.fault = line

    def _serve(self, stop: Event, beat: Callable[[], None]) -> None:
        """Read, commit and acknowledge until the line drops."""
        connection = self._connection
        if connection is None:
            return
        client = connection.client
        while not stop.is_set():
            beat()
            wire = client.socket()
            if wire is None:
                return
            self._commit_if_any(stop, beat)  # what came along with the subscription
            waiting = bool(getattr(wire, "pending", lambda: 0)())
            writing = [wire] if client.want_write() else []
            readable, writable, _ = select.select([wire], writing, [], 0.0 if waiting else 1.0)
            if writable:
                client.loop_write()
            if (readable or waiting) and not self._drain():
                return
            self._commit_if_any(stop, beat)
            connection.check()
            if client.loop_misc() != MQTTErrorCode.MQTT_ERR_SUCCESS:
                return

    def _drain(self) -> bool:
        """Read until the broker pauses or the batch is full or old; False when the line dropped."""
        if self._connection is None:
            return False
        client = self._connection.client
        while True:
            before = len(self._to_ack)
            if client.loop_read() != MQTTErrorCode.MQTT_ERR_SUCCESS:
                return bool(self._to_ack)
            count = len(self._to_ack)
            if count == before or count >= BATCH_MESSAGES or self._bytes >= BATCH_BYTES:
                return True
            if self._clock.monotonic_s() - self._opened_s > BATCH_AGE_S:
                return True

    def _take(self, message: MQTTMessage) -> None:
        """Put one message into the batch; called by the client, never raises."""
        if not self._to_ack:
            self._opened_s = self._clock.monotonic_s()
        self._to_ack.append((self._connections, message.mid, message.qos))
        received_s, payload = self._clock.now_s(), bytes(message.payload)
        self._bytes += len(payload)
        try:
            topic = message.topic
        except UnicodeDecodeError:
            fault = (None, "topic", "not UTF-8")
            self._refused.append(
                Held("topic that is not UTF-8", None, None, payload, (fault,), received_s)
            )
            return
        device, _, kind = topic.removeprefix(f"{self._broker.topic_root}/").rpartition("/")
        content_type = getattr(message.properties, "ContentType", None)
        one = Message(topic, device, payload, content_type, received_s)
        if DEVICE.fullmatch(device) is None:
            self._refuse(one, "device name", f"{device[:80]!r}: use 1 to 64 of A-Z a-z 0-9 . _ -")
        elif kind == "senml":
            self._readings.append(one)
        elif one.payload in STATUSES:
            self._status[device] = one
        elif one.payload:
            self._refuse(one, "status", "neither online nor offline")

    def _refuse(self, one: Message, reason: str, detail: str) -> None:
        fault = (None, reason, detail)
        self._refused.append(
            Held(one.topic, one.device, one.content_type, one.payload, (fault,), one.received_s)
        )

    def _commit_if_any(self, stop: Event, beat: Callable[[], None]) -> None:
        """Commit the batch, again and again if it must be, then acknowledge it."""
        wait_s = STORE_BACK_OFF_S[0]
        metrics.QUEUE.set(len(self._to_ack))
        while self._to_ack:
            beat()
            try:
                done = self._commit()
            except OperationalError as error:
                self._note_fault(f"store: cannot be written ({error.orig})", "store_not_written")
                if stop.wait(wait_s):
                    self._forget()
                    return
                wait_s = min(wait_s * 2, STORE_BACK_OFF_S[1])
                if self._connection is not None:
                    self._connection.client.loop_misc()
                continue
            if self.fault is not None:
                LOG.info("store_written_again")
                self.fault = None
            self._acknowledge(done)

    def _commit(self) -> Committed:
        """Commit the batch; when a message breaks us, set that one aside and keep the rest."""
        status, refused = list(self._status.values()), self._refused
        try:
            return self._intake.commit(self._readings, status, refused)
        except OperationalError:
            raise
        except Exception:
            LOG.exception("batch_broke")
        stored = repeats = 0
        for one in self._readings:
            try:
                done = self._intake.commit([one])
                stored, repeats = stored + done.stored, repeats + done.repeats
            except OperationalError:
                raise
            except Exception as error:  # noqa: BLE001 - whatever it is, the message is kept
                self._refuse(one, "hivewatch", f"{type(error).__name__}: {error}")
        done = self._intake.commit([], status, self._refused)
        return done._replace(stored=stored, repeats=repeats)

    def _acknowledge(self, done: Committed) -> None:
        """Tell the broker what is on disk, on the connection it came by."""
        now_s = self._clock.monotonic_s()
        self.packs += len(self._readings)
        metrics.MESSAGES.inc(len(self._to_ack))
        metrics.LAG.set(now_s - self._opened_s)
        metrics.LAST_MESSAGE.set(self._clock.now_s())
        for came_by, mid, qos in self._to_ack:
            if qos and came_by == self._connections and self._connection is not None:
                self._connection.client.ack(mid, qos)
        LOG.debug(
            "batch_committed",
            messages=len(self._to_ack),
            readings=done.stored,
            quarantined=done.quarantined,
            took_ms=round((now_s - self._opened_s) * 1000),
        )
        self._forget()
        if done.newest_s:
            metrics.READING_AGE.set(self._clock.now_s() - done.newest_s)

    def _forget(self) -> None:
        """Start a new batch."""
        metrics.QUEUE.set(0)
        self._readings, self._refused, self._to_ack = [], [], []
        self._status, self._bytes = {}, 0
