"""What devices send, through a real broker: JSON and CBOR, bad records, second tries, placing."""

from __future__ import annotations

import json
import time

import cbor2
import pytest
from brokers import MQTT311, wait_until, weight_pack

from hivewatch.apiary import read_apiary
from hivewatch.store import apiary
from hivewatch.store.windows import read_window
from hivewatch.wire import senml

NOW_S = int(time.time())  # noqa: TID251 - devices have real clocks
JSON_PACK = json.dumps(
    [{"bt": NOW_S - 60, "n": "weight", "u": "kg", "v": 41.5}, {"n": "nest", "u": "Cel", "v": 34.5}]
).encode()
# RFC 8428 section 6, table 4: bt = -3, n = 0, u = 1, v = 2
CBOR_PACK = cbor2.dumps(
    [{-3: NOW_S - 60, 0: "weight", 1: "kg", 2: 41.5}, {0: "nest", 1: "Cel", 2: 34.5}]
)
BOTH = [("scale-1", "weight", NOW_S - 60, 41.5), ("scale-1", "nest", NOW_S - 60, 34.5)]


@pytest.mark.parametrize(
    ("pack", "content_type"),
    [
        (JSON_PACK, "application/senml+json"),
        (JSON_PACK, ""),
        (CBOR_PACK, "application/senml+cbor"),
        (CBOR_PACK, ""),
        (b"\x9f" + CBOR_PACK[1:] + b"\xff", ""),  # of indefinite length, RFC 8949 section 3.2.2
    ],
    # the packs carry the time, and a test is called the same by all who run parts of the suite
    ids=["json, named", "json", "cbor, named", "cbor", "cbor of indefinite length"],
)
def test_a_pack_is_stored_in_either_encoding(mosquitto, listening, devices, pack, content_type):
    broker = mosquitto()
    here = listening(broker.url).start()
    devices(broker.port).send("scale-1", pack, content_type=content_type)
    here.wait_count(2)
    assert here.readings() == BOTH
    assert here.held() == []


def test_the_content_type_decides_and_is_kept(mosquitto, listening, devices):
    broker = mosquitto()
    here = listening(broker.url).start()
    devices(broker.port).send("scale-1", CBOR_PACK, content_type="application/senml+json")
    (held,) = here.wait_held(1)
    assert (held.reason, held.content_type) == ("malformed", "application/senml+json")
    assert held.raw == CBOR_PACK
    assert here.count() == 0


def test_a_device_of_the_older_protocol_may_send_either(mosquitto, listening, devices):
    broker = mosquitto()
    here = listening(broker.url).start()
    devices(broker.port, MQTT311).send("scale-1", CBOR_PACK, JSON_PACK)
    here.wait_count(2)
    assert here.held() == []


def test_good_records_are_stored_and_bad_ones_are_set_aside_with_their_reasons(
    mosquitto, listening, devices
):
    pack = json.dumps(
        [
            {"bt": NOW_S - 60, "n": "weight", "u": "kg", "v": 41.5},
            {"n": "nest", "u": "Cel", "v": 350},
            {"n": "ambient", "u": "Pa", "v": 280},
            {"n": "colour", "u": "kg", "v": 1},
        ]
    ).encode()
    broker = mosquitto()
    here = listening(broker.url).start()
    field = devices(broker.port)
    sent_s = int(time.time())  # noqa: TID251 - the daemon under test has a real clock
    field.send("scale-1", pack)
    (held,) = here.wait_held(1)
    assert here.readings() == [("scale-1", "weight", NOW_S - 60, 41.5)]
    assert held.raw == pack
    assert held.source == "hivewatch/scale-1/senml"
    assert sent_s <= held.received_s <= time.time()  # noqa: TID251 - the same clock
    assert [(index, reason) for index, reason, _ in held.faults] == [
        (1, "out of range"),
        (2, "unit"),
        (3, "quantity"),
    ]
    field.send("scale-1", pack)  # the same bytes again only count up
    wait_until(lambda: here.held()[0].times == 2)
    assert len(here.held()) == 1


def test_another_value_for_the_same_moment_is_set_aside(mosquitto, listening, devices):
    broker = mosquitto()
    here = listening(broker.url).start()
    field = devices(broker.port)
    field.send("scale-1", weight_pack(NOW_S, 41.5), weight_pack(NOW_S, 41.5))
    field.send("scale-1", weight_pack(NOW_S, 14.5))
    (held,) = here.wait_held(1)
    assert held.reason == "conflict"
    assert here.readings() == [("scale-1", "weight", NOW_S, 41.5)]


def test_a_device_with_no_proper_name_is_set_aside_for_good(mosquitto, listening, devices):
    broker = mosquitto()
    here = listening(broker.url).start()
    devices(broker.port).send("scale 1", weight_pack(NOW_S, 41.5))
    (held,) = here.wait_held(1)
    assert (held.reason, held.source) == ("device name", "hivewatch/scale 1/senml")
    assert here.intake.readmit(NOW_S) == []
    assert here.count() == 0


def test_a_status_that_was_set_aside_is_not_read_as_a_pack(mosquitto, listening, devices):
    broker = mosquitto()
    here = listening(broker.url).start()
    devices(broker.port).status("scale-1", JSON_PACK)
    here.wait_held(1)
    assert here.intake.readmit(NOW_S) == []
    assert here.count() == 0
    assert here.held()[0].reason == "status"


def test_a_quantity_that_became_known_is_admitted_as_if_it_had_come_then(
    mosquitto, listening, devices, monkeypatch
):
    """Relative times count from when it came, not from when it is admitted."""
    pack = b'[{"n":"hive-weight","u":"kg","v":41.5,"t":-10}]'
    broker = mosquitto()
    here = listening(broker.url).start()
    devices(broker.port).send("scale-1", pack)
    (held,) = here.wait_held(1)
    assert held.reason == "quantity"
    assert here.intake.readmit(NOW_S)[0][1].stored == 0  # nothing has changed yet
    assert here.held()[0].admitted_s is None
    known = senml.CONVERSIONS["weight"]
    monkeypatch.setattr(senml, "CONVERSIONS", {**senml.CONVERSIONS, "hive-weight": known})
    senml_caches_cleared()
    later_s = held.received_s + 86_400
    ((tried, done),) = here.intake.readmit(later_s)
    assert (tried.id, done.stored) == (held.id, 1)
    assert here.readings() == [("scale-1", "weight", held.received_s - 10, 41.5)]
    assert here.held()[0].admitted_s == later_s
    assert here.intake.readmit(later_s) == []
    senml_caches_cleared()


def senml_caches_cleared():
    """Forget what names meant before."""
    for one in vars(senml).values():
        if hasattr(one, "cache_clear"):
            one.cache_clear()


def test_a_record_two_days_ahead_stays_a_clock_fault(mosquitto, listening, devices):
    """Its time counts from when it came: passing time does not make it right."""
    broker = mosquitto()
    here = listening(broker.url).start()
    devices(broker.port).send("scale-1", weight_pack(NOW_S + 2 * 86_400, 41.5))
    (held,) = here.wait_held(1)
    assert held.reason == "clock"
    here.intake.readmit(NOW_S + 3 * 86_400)
    assert here.count() == 0
    assert here.held()[0].reason == "clock"


def test_a_computer_that_starts_in_the_past_keeps_what_it_cannot_date(
    mosquitto, listening, devices
):
    """It calls every device's time wrong; nothing of it is thrown away."""
    broker = mosquitto()
    here = listening(broker.url)
    here.clock.ahead_s = -30 * 86_400
    here.start()
    devices(broker.port).send("scale-1", weight_pack(NOW_S, 41.5))
    (held,) = here.wait_held(1)
    assert (held.reason, held.raw) == ("clock", weight_pack(NOW_S, 41.5))
    assert here.count() == 0


def test_what_an_unplaced_device_sent_falls_to_the_hive_when_it_is_placed(
    mosquitto, listening, devices
):
    broker = mosquitto()
    here = listening(broker.url).start()
    field = devices(broker.port)
    field.send("scale-9", *(weight_pack(NOW_S - 600 + 60 * i, 40 + i) for i in range(10)))
    here.wait_count(10)
    with here.store.read() as connection:
        assert [one.id for one in apiary.devices(connection, unplaced=True)] == ["scale-9"]
    given = read_apiary(
        f"""
[[yard]]
id = "millrace"
name = "Mill race"
latitude = 52.2
longitude = 0.12
timezone = "Europe/London"
[[hive]]
id = "millrace-1"
yard = "millrace"
frame = "langstroth-deep"
frames = 10
boxes = 1
[[device]]
id = "scale-9"
hive = "millrace-1"
since = "{time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(NOW_S - 450))}"
""",
        "apiary.toml",
    )
    with here.store.write() as connection:
        apiary.load(connection, given)
    with here.store.read() as connection:
        assert apiary.devices(connection, unplaced=True) == []
        window = read_window(connection, apiary.read(connection), "millrace-1", NOW_S)
    assert window.of("weight").value.tolist() == [43, 44, 45, 46, 47, 48, 49]
