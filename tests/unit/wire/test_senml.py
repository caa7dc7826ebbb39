"""The decoder where RFC 8428 leaves room, and where the contract says more than it."""

import json
from datetime import UTC, datetime

import pytest

from hivewatch.wire.quantities import QUANTITIES
from hivewatch.wire.senml import REASONS, Fault, Record, decode

NOW_S = 1_779_368_400.0  # 2026-05-21T13:00:00Z
NOW_MS = 1_779_368_400_000


def number(name):
    return QUANTITIES[name].number


def read(*items):
    pack = decode(json.dumps(items).encode(), None, NOW_S)
    return pack.records, [(fault.index, fault.reason) for fault in pack.faults]


def test_several_quantities_come_in_one_pack_in_any_order():
    records, faults = read(
        {"bn": "hive-17/", "bt": NOW_S, "n": "bees-out", "u": "count", "v": 131},
        {"n": "weight", "u": "kg", "v": 42.17, "t": -300},
        {"n": "weight", "u": "kg", "v": 42.11, "t": -259_200},
        {"n": "nest", "u": "Cel", "v": 34.9},
    )
    assert records == [
        Record(number("bees-out"), NOW_MS, 131.0),
        Record(number("weight"), NOW_MS - 300_000, 42.17),
        Record(number("weight"), NOW_MS - 259_200_000, 42.11),
        Record(number("nest"), NOW_MS, 34.9),
    ]
    assert faults == []


@pytest.mark.parametrize(
    "name",
    [
        "weight",
        "scale-17/weight",
        "urn:dev:ow:10e2073a01080063:weight",
        "urn:dev:mac:0024befffe804ff1_weight",
        "a/b:c_weight",
        "weight:nest/weight",
    ],
)
def test_the_quantity_stands_after_the_last_mark(name):
    assert read({"n": name, "u": "kg", "v": 1.5})[0] == [Record(number("weight"), NOW_MS, 1.5)]


def test_base_name_and_name_are_joined_as_they_are():
    records, faults = read({"bn": "scale:wei", "n": "ght", "u": "kg", "v": 1.5})
    assert (records, faults) == ([Record(number("weight"), NOW_MS, 1.5)], [])


def test_integers_become_numbers_like_all():
    (record,), _ = read({"n": "weight", "u": "kg", "v": 42, "t": int(NOW_S)})
    assert record == Record(number("weight"), NOW_MS, 42.0)
    assert [type(part) for part in record] == [int, int, float]


def test_units_are_converted_record_by_record():
    records, faults = read(
        {"bn": "d/", "bver": 26, "n": "weight", "u": "g", "v": 42170},
        {"n": "nest", "u": "K", "v": 308.15},
        {"n": "battery", "u": "mV", "v": 3710},
        {"n": "battery", "u": "%EL", "v": 87},
        {"n": "signal", "u": "dBW", "v": -141},
        {"n": "rain", "u": "m", "v": 0.0042},
    )
    assert faults == []
    assert [(record.quantity, record.value) for record in records] == [
        (number("weight"), 42.17),
        (number("nest"), pytest.approx(35.0, abs=1e-9)),
        (number("battery"), 3.71),
        (number("battery-level"), 87.0),
        (number("signal"), -111.0),
        (number("rain"), pytest.approx(4.2, rel=1e-12)),
    ]


def test_base_values_add_in_the_unit_as_sent():
    records, _ = read(
        {"bn": "d/weight", "bu": "g", "bv": 42_000, "v": 170},
        {"v": 175},
        {"bv": 0, "v": 43_000},
    )
    assert [record.value for record in records] == [42.17, 42.175, 43.0]


def test_a_later_base_time_takes_the_place_of_an_earlier():
    records, _ = read(
        {"bn": "d/nest", "bu": "Cel", "bt": NOW_S - 7200, "v": 34.1},
        {"t": 10, "v": 34.2},
        {"bt": NOW_S - 3600, "v": 34.3},
        {"t": 10, "v": 34.4},
        {"bt": -60, "v": 34.5},
        {"t": 10, "v": 34.6},
    )
    ages_s = [(NOW_MS - record.time_ms) / 1000 for record in records]
    assert ages_s == [7200, 7190, 3600, 3590, 60, 50]


def test_milliseconds_are_rounded_not_cut():
    records, _ = read({"n": "nest", "u": "Cel", "t": 1_779_368_399.9996, "v": 34.0})
    assert records[0].time_ms == NOW_MS


def test_a_running_total_is_kept_as_sent():
    records, faults = read(
        {"bn": "d/", "n": "bees-in", "u": "count", "v": 12, "s": 812_345},
        {"n": "bees-out", "u": "count", "s": 812_101},
        {"n": "rain", "u": "cm", "s": 31.5},
        {"n": "bees-in-total", "u": "count", "v": 812_346},
    )
    assert faults == []
    assert [(record.quantity, record.value) for record in records] == [
        (number("bees-in"), 12.0),
        (number("bees-in-total"), 812_345.0),
        (number("bees-out-total"), 812_101.0),
        (number("rain-total"), 315.0),
        (number("bees-in-total"), 812_346.0),
    ]


def test_base_sums_add_and_leave_levels_alone():
    records, faults = read(
        {"bn": "d/", "bs": 800_000, "n": "bees-in", "u": "count", "s": 12_345},
        {"n": "bees-out", "u": "count", "v": 7},
        {"n": "weight", "u": "kg", "v": 42.17},
        {"n": "nest", "u": "Cel"},
    )
    assert [(record.quantity, record.value) for record in records] == [
        (number("bees-in-total"), 812_345.0),
        (number("bees-out"), 7.0),
        (number("bees-out-total"), 800_000.0),  # section 4.5.4: a missing sum is zero
        (number("weight"), 42.17),
    ]
    assert faults == [(3, "value")]


def test_one_bad_record_leaves_its_neighbours():
    records, faults = read(
        {"bn": "d/", "n": "nest", "u": "Cel", "v": 34.1},
        {"n": "nest", "u": "Cel", "v": -127},
        {"n": "colour", "u": "kg", "v": 1},
        17,
        {"n": "ambient", "u": "Cel", "v": 18.0},
    )
    assert [record.value for record in records] == [34.1, 18.0]
    assert faults == [(1, "out of range"), (2, "quantity"), (3, "field")]


@pytest.mark.parametrize("name", QUANTITIES)
def test_both_ends_of_the_range_are_believed(name):
    quantity = QUANTITIES[name]
    good = [{"n": name, "u": quantity.unit, "v": value} for value in (quantity.low, quantity.high)]
    beyond = [
        {"n": name, "u": quantity.unit, "v": quantity.low - abs(quantity.low) * 1e-9 - 1e-9},
        {"n": name, "u": quantity.unit, "v": quantity.high + abs(quantity.high) * 1e-9},
    ]
    records, faults = read(*good, *beyond)
    assert [record.value for record in records] == [quantity.low, quantity.high]
    assert faults == [(2, "out of range"), (3, "out of range")]


@pytest.mark.parametrize(
    "start",
    [
        "1970-01-01",  # Unix time, and most boards without a battery
        "1980-01-06",  # the week count of satellite positioning
        "2000-01-01",  # real-time clocks after a loss of power
        "2004-01-01",  # some modems before they find a network (from memory)
        "2006-10-04",  # 1,024 weeks before this test's now: a receiver that missed its week count
    ],
)
def test_a_clock_that_started_again_is_seen(start):
    start_s = datetime.fromisoformat(start).replace(tzinfo=UTC).timestamp()
    for running_s in (0, 86_400, 3 * 365 * 86_400):
        time_s = start_s + running_s
        if time_s >= 2**28:
            assert read({"n": "nest", "u": "Cel", "t": time_s, "v": 34.1}) == ([], [(0, "clock")])


def test_details_are_words_for_the_keeper():
    items = [
        {"n": "weight", "u": "lb", "v": 93},
        {"n": "weight", "v": 93},
        {"n": "nest", "u": "Cel", "v": 341.5},
        {"n": "nest", "u": "Cel", "v": 34.1, "t": NOW_S + 90_000},
        {"n": "nest", "u": "Cel", "v": "34,1"},
        {"n": "nest", "u": "Cel", "v": 34.1, "s": 5},
        {"n": "hive 17", "u": "Cel", "v": 34.1},
    ]
    faults = decode(json.dumps(items).encode(), None, NOW_S).faults
    assert [fault.detail for fault in faults] == [
        "weight: unit 'lb'; allowed: kg, g",
        "weight: no unit; allowed: kg, g",
        "nest = 341.5 Cel: believed from -40 to 60",
        "2026-05-22T14:00:00Z is more than a day ahead",
        "nest = '34,1': not a number",
        "nest: has no running total",
        "'hive 17': allowed: a letter or digit, then letters, digits and - : . / _",
    ]


def test_a_refused_pack_has_one_fault_and_no_records():
    pack = decode(b'[{"n":"nest","u":"Cel","v":34.1},{"x_":1}]', None, NOW_S)
    assert pack.records == []
    assert pack.faults == [Fault(None, "must understand", "record 2: 'x_' is not understood")]


def test_reasons_are_a_closed_set():
    assert len(REASONS) == len(set(REASONS)) == 12


def test_the_same_bytes_with_the_same_now_give_the_same_readings():
    payload = b'[{"n":"nest","u":"Cel","v":34.1,"t":-30.5}]'
    first = decode(payload, None, NOW_S)
    assert decode(payload, "application/senml+json", NOW_S) == first
    assert first.records[0].time_ms == NOW_MS - 30_500
