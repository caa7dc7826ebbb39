"""When a batch closes, what is taken as what, and what a broken line does; no broker here."""

from __future__ import annotations

from threading import Event
from types import SimpleNamespace

import pytest
from paho.mqtt.enums import MQTTErrorCode

from hivewatch.ingest import subscriber as room
from hivewatch.ingest.intake import Committed
from hivewatch.ingest.subscriber import Subscriber
from hivewatch.settings import Broker

NOW_S = 1_777_593_600


class HandClock:
    at_s = 0.0

    def now_s(self):
        return NOW_S

    def monotonic_s(self):
        return self.at_s


class Keeping:
    """An intake that only keeps what it is given."""

    def __init__(self):
        self.batches = []

    def commit(self, messages, status=(), refused=()):
        self.batches.append((list(messages), list(status), list(refused)))
        return Committed(stored=len(messages))


class Line:
    """A client whose packets are told beforehand: (seconds it takes, message or None)."""

    def __init__(self, here, clock, packets):
        self.here, self.clock, self.packets = here, clock, list(packets)
        self.acknowledged = []

    def loop_read(self):
        if not self.packets:
            return MQTTErrorCode.MQTT_ERR_SUCCESS
        took_s, said = self.packets.pop(0)
        self.clock.at_s += took_s
        if said == "lost":
            return MQTTErrorCode.MQTT_ERR_CONN_LOST
        if said is not None:
            self.here._take(said)
        return MQTTErrorCode.MQTT_ERR_SUCCESS

    def loop_misc(self):
        return MQTTErrorCode.MQTT_ERR_SUCCESS

    def ack(self, mid, _qos):
        self.acknowledged.append(mid)


def message(mid, topic="hivewatch/scale-1/senml", payload=b"[]", qos=1, content_type=None):
    properties = None if content_type is None else SimpleNamespace(ContentType=content_type)
    return SimpleNamespace(mid=mid, topic=topic, payload=payload, qos=qos, properties=properties)


@pytest.fixture
def here():
    clock, intake = HandClock(), Keeping()
    made = Subscriber(Broker(), intake, clock)
    made.intake, made.clock = intake, clock
    made.fault = None
    return made


def connect(here, *packets):
    line = Line(here, here.clock, packets)
    here._connection = SimpleNamespace(client=line, check=lambda: None)
    here._connections += 1
    return line


def commit(here):
    here._commit_if_any(Event(), lambda: None)


def test_a_batch_closes_when_the_broker_pauses(here):
    line = connect(here, (0, message(1)), (0, message(2)), (0, None), (0, message(3)))
    assert here._drain()
    commit(here)
    assert [len(batch[0]) for batch in here.intake.batches] == [2]
    assert line.acknowledged == [1, 2]


def test_a_batch_closes_when_it_is_full(here):
    connect(here, *((0, message(i)) for i in range(room.BATCH_MESSAGES + 5)))
    assert here._drain()
    assert len(here._to_ack) == room.BATCH_MESSAGES


def test_a_batch_of_large_packs_closes_after_few(here):
    large = b" " * (room.BATCH_BYTES // 3)
    connect(here, *((0, message(i, payload=large)) for i in range(20)))
    for count in (4, 4):
        assert here._drain()
        assert len(here._to_ack) == count
        commit(here)


def test_a_batch_closes_when_it_is_old(here):
    slow_s = room.BATCH_AGE_S / 4
    connect(here, *((slow_s, message(i)) for i in range(100)))
    assert here._drain()
    assert 5 <= len(here._to_ack) <= 7


def test_what_came_before_the_line_dropped_is_committed(here):
    connect(here, (0, message(1)), (0, "lost"))
    assert here._drain()
    commit(here)
    assert len(here.intake.batches[0][0]) == 1


def test_a_line_that_drops_with_nothing_on_it_ends(here):
    connect(here, (0, "lost"))
    assert not here._drain()


def test_only_the_newest_status_of_a_device_is_kept(here):
    connect(here)
    for mid, word in enumerate((b"online", b"offline", b"online")):
        here._take(message(mid, "hivewatch/scale-1/status", word))
    here._take(message(9, "hivewatch/scale-2/status", b""))  # a retained word that was taken away
    commit(here)
    ((readings, status, refused),) = here.intake.batches
    assert readings == refused == []
    assert [(one.device, one.payload) for one in status] == [("scale-1", b"online")]


@pytest.mark.parametrize(
    ("topic", "payload", "reason"),
    [
        ("hivewatch/a b/senml", b"[]", "device name"),
        ("hivewatch//senml", b"[]", "device name"),
        ("hivewatch/" + "x" * 65 + "/senml", b"[]", "device name"),
        ("hivewatch/scale-1/status", b"asleep", "status"),
    ],
)
def test_what_cannot_be_is_refused_with_its_reason(here, topic, payload, reason):
    line = connect(here)
    here._take(message(4, topic, payload))
    commit(here)
    ((readings, status, (held,)),) = here.intake.batches
    assert readings == status == []
    assert (held.reason, held.source, held.raw) == (reason, topic, payload)
    assert line.acknowledged == [4]


def test_a_topic_that_is_no_text_is_refused_and_does_no_harm(here):
    """paho raises when such a topic is asked for."""

    class Odd:
        mid, payload, qos, properties = 5, b"[]", 1, None

        @property
        def topic(self):
            return b"\xff".decode()

    line = connect(here)
    here._take(Odd())
    here._take(message(6))
    commit(here)
    ((readings, _, (held,)),) = here.intake.batches
    assert len(readings) == 1
    assert held.reason == "topic"
    assert line.acknowledged == [5, 6]


def test_the_content_type_is_handed_on(here):
    connect(here)
    here._take(message(1, content_type="application/senml+cbor"))
    here._take(message(2, payload=bytearray(b"[1]")))
    commit(here)
    assert [(one.content_type, one.payload) for one in here.intake.batches[0][0]] == [
        ("application/senml+cbor", b"[]"),
        (None, b"[1]"),
    ]


def test_nothing_is_acknowledged_on_another_line_or_without_need(here):
    connect(here)
    here._take(message(1))
    line = connect(here)
    here._take(message(1))
    here._take(message(2, qos=0))
    commit(here)
    assert line.acknowledged == [1]


def test_a_batch_that_cannot_be_written_when_told_to_stop_is_left_to_the_broker(here):
    from sqlalchemy.exc import OperationalError  # noqa: PLC0415 - for this test alone

    def full(*_):
        raise OperationalError("INSERT", {}, Exception("database or disk is full"))

    here._intake = SimpleNamespace(commit=full)
    line = connect(here)
    here._take(message(1))
    stop = Event()
    stop.set()
    here._commit_if_any(stop, lambda: None)
    assert here.fault == "store: cannot be written (database or disk is full)"
    assert line.acknowledged == []
    assert here._to_ack == []
