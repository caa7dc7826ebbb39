"""The decoder against ten thousand payloads: random, mutated, and right ones in other clothes.

Example counts add up to 10,000: 3,500 random (three times each), 4,500 mutated, 1,000 of odd
objects, 500 in two encodings, 500 resolved by hand.
"""

import base64
import json
import pathlib
import string

import cbor2
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hivewatch.wire.payload import CBOR_LABELS
from hivewatch.wire.quantities import BY_NUMBER, CONVERSIONS, QUANTITIES
from hivewatch.wire.senml import EARLIEST_S, MAX_NAME_LENGTH, REASONS, Pack, Record, decode

NOW_S = 1_779_368_400.0  # 2026-05-21T13:00:00Z
CORPUS = pathlib.Path(__file__).parents[1] / "data" / "senml-near-miss"
NUMBERS_OF = {label: number for number, label in CBOR_LABELS.items()}


def examples(count):
    return settings(
        max_examples=count,
        deadline=None,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.large_base_example],
    )


def check(pack):
    """Hold a pack to all that is promised of any."""
    assert type(pack) is Pack
    for record in pack.records:
        assert [type(part) for part in record] == [int, int, float]
        quantity = BY_NUMBER[record.quantity]
        assert quantity.low <= record.value <= quantity.high
        assert EARLIEST_S * 1000 <= record.time_ms <= (NOW_S + 86_400) * 1000
    for fault in pack.faults:
        assert fault.reason in REASONS
        assert fault.detail.isascii()
        assert fault.detail.isprintable()
        assert 0 < len(fault.detail) <= 300
    assert pack.records or pack.faults
    if any(fault.index is None for fault in pack.faults):
        assert len(pack.faults) == 1
        assert pack.records == []


@given(payload=st.binary(max_size=200))
@examples(3_500)
def test_random_bytes_are_decoded_or_refused(payload):
    for content_type in (None, "application/senml+json", "application/senml+cbor"):
        pack = decode(payload, content_type, NOW_S)
        check(pack)


# Packs as a device would send them.

names = st.sampled_from(list(QUANTITIES))
prefixes = st.sampled_from(["", "scale-17/", "urn:dev:ow:10e2073a01080063:", "hive_", "0/a:b_c/"])
ages = st.one_of(st.integers(-8_000_000, 3_600), st.floats(-1e6, 3_600))
plain_numbers = st.one_of(
    st.integers(-100, 1_000), st.floats(-100, 1_000, allow_nan=False), st.just(0)
)


@st.composite
def good_items(draw):
    items = []
    for _ in range(draw(st.integers(1, 6))):
        name = draw(names)
        units = [unit for unit in CONVERSIONS[name] if unit is not None]
        fields = {"n": name, "u": draw(st.sampled_from(units)), "v": draw(plain_numbers)}
        if draw(st.booleans()):
            fields["t"] = draw(ages)
        if draw(st.booleans()):
            fields["s"] = draw(st.integers(0, 10**9))
        for label, values in (
            ("bn", prefixes),
            ("bt", st.one_of(st.just(0), st.just(NOW_S - 86_400.5), ages)),
            ("bu", st.sampled_from(["kg", "Cel", "count"])),
            ("bv", plain_numbers),
            ("bs", st.integers(0, 10**9)),
            ("ut", st.integers(0, 3_600)),
        ):
            if draw(st.integers(0, 4)) == 0:
                fields[label] = draw(values)
        if draw(st.integers(0, 5)) == 0:
            del fields[draw(st.sampled_from(["n", "u", "v"]))]
        items.append(fields)
    if draw(st.integers(0, 3)) == 0:
        items[0]["bver"] = draw(st.sampled_from([1, 5, 10, 26]))
    return items


def as_json(items):
    return json.dumps(items).encode()


def as_cbor(items):
    return cbor2.dumps(
        [{NUMBERS_OF.get(label, label): said for label, said in each.items()} for each in items]
    )


TOKENS = [
    b'"',
    b",",
    b"[",
    b"]",
    b"{}",
    b":",
    b"-",
    b"e99",
    b"null",
    b"true",
    b"\\u0000",
    b"1e400",
    b'"v":',
    b'"_":1,',
    b"\x80",
    b"\xff",
    b"\x9f",
    b"\xbf",
    b"\xc2",
    b"\xc4\x82",
    b"\xd8\x1c",
    b"\xf9\x7e\x00",
    b"\xfb",
    b"\x7f",
    b"\x00",
]


def whole_packs():
    """Give the packs to be spoilt: what a device may send, and the corpus of near misses."""
    item = {"bn": "scale-17/", "bt": NOW_S - 60, "n": "weight", "u": "kg", "v": 42.17}
    packs = [
        [item],
        [item, {"n": "nest", "u": "Cel", "v": 34.9}, {"n": "ambient", "u": "K", "v": 291, "t": -5}],
        [{"n": "bees-in", "u": "count", "v": 12, "s": 812_345}, {"n": "bees-out", "bs": 5, "s": 2}],
        [{"bver": 26, "bn": "d/", "bu": "mV", "bv": 3000}, {"n": "battery", "v": 710, "ut": 60}],
        [{"n": f"{n}/nest", "u": "Cel", "v": n / 4, "t": -n} for n in range(40)],
        [{"n": "label", "vs": "Machine Room"}, {"n": "open", "vb": False}, {"n": "d", "vd": "aGk"}],
    ]
    spoilt = [path.read_bytes() for path in CORPUS.glob("*.json") if path.stat().st_size < 2_000]
    return [as_json(pack) for pack in packs] + [as_cbor(pack) for pack in packs] * 4 + spoilt


WHOLE = whole_packs()
CONTENT_TYPES = [None, "application/senml+json", "application/senml+cbor; x=1", "text/plain", "é;"]


PLAIN_BYTES = b"0123456789.eE-+nuvtsb_kgCl/%: \x00\x01\x02\x05\x06\x20\x21\x22\xf9\xfb"


def spoil(payload, script):
    """Change a payload as a script says, four bytes a change: how, where (two), with what."""
    raw = bytearray(payload)
    for how, high, low, what in zip(*[iter(script)] * 4, strict=False):
        place = (256 * high + low) % max(1, len(raw))
        match how % 12:
            case 0 | 1 | 2 | 3 | 4 if raw:
                raw[place] = PLAIN_BYTES[what % len(PLAIN_BYTES)]
            case 5 if raw:
                raw[place] ^= 1 << (what % 8)
            case 6 | 7:
                raw[place:place] = TOKENS[what % len(TOKENS)]
            case 8 | 9:
                del raw[place : place + what % 12]
            case 10:
                raw[place:place] = raw[what : what + 20]
            case _:
                del raw[place:]
    return bytes(raw)


@given(script=st.binary(min_size=6, max_size=14))
@examples(4_500)
def test_a_mutated_pack_is_decoded_or_refused(script):
    content_type = CONTENT_TYPES[script[0] % len(CONTENT_TYPES)]
    check(decode(spoil(WHOLE[script[1] % len(WHOLE)], script[2:]), content_type, NOW_S))


# Objects of any kind: every one is a reading or a fault.

scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(2**70), 2**70),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=8),
    st.sampled_from(["kg", "Cel", "weight", "nest", "bees-in", "d/"]),
)
labels = st.one_of(
    st.sampled_from(["n", "u", "v", "t", "s", "vs", "vb", "vd", "ut", "x", "note"]),
    st.text(string.ascii_letters, min_size=1, max_size=3).filter(lambda s: s[0] != "b"),
)
odd_values = st.one_of(scalars, st.lists(scalars, max_size=2), st.dictionaries(labels, scalars))
odd_items = st.lists(
    st.one_of(
        st.dictionaries(labels, odd_values, max_size=5),
        st.fixed_dictionaries(
            {"n": names, "u": st.sampled_from(["kg", "Cel", "count", "V"]), "v": odd_values},
            optional={"t": odd_values, "s": odd_values},
        ),
        scalars,
    ),
    min_size=1,
    max_size=6,
)


@given(items=odd_items)
@examples(1_000)
def test_every_item_of_an_array_is_a_reading_or_a_fault(items):
    pack = decode(as_json(items), None, NOW_S)
    check(pack)
    if any(fault.index is None for fault in pack.faults):
        assert len(items) == 0  # nothing above refuses the pack: no base field, no `_`
    # One by one the same comes out, and something always does.
    alone = [decode(as_json([item]), None, NOW_S) for item in items]
    assert all(each.records or each.faults for each in alone)
    assert pack.records == [record for each in alone for record in each.records]
    assert [(fault.index, fault.reason) for fault in pack.faults] == [
        (index, fault.reason) for index, each in enumerate(alone) for fault in each.faults
    ]


@given(items=good_items())
@examples(500)
def test_json_and_cbor_say_the_same(items):
    said_in_json = decode(as_json(items), "application/senml+json", NOW_S)
    said_in_cbor = decode(as_cbor(items), "application/senml+cbor", NOW_S)
    assert said_in_json == said_in_cbor
    check(said_in_json)


def resolved(items):
    """Resolve a pack as section 4.6 of RFC 8428 says, in the plainest way."""
    name, time_s, unit, value, total = "", 0.0, None, 0.0, None
    out = []
    for item in items:
        name, unit = item.get("bn", name), item.get("bu", unit)
        time_s, value = float(item.get("bt", time_s)), float(item.get("bv", value))
        total = item.get("bs", total)
        plain = {"n": name + item.get("n", ""), "t": time_s + item.get("t", 0)}
        if plain["t"] < 2**28:
            plain["t"] += NOW_S
        if item.get("u", unit) is not None:
            plain["u"] = item.get("u", unit)
        if "v" in item:
            plain["v"] = value + item["v"]
        if "s" in item or (
            total is not None and plain["n"].endswith(("bees-in", "bees-out", "rain"))
        ):
            plain["s"] = float(total or 0) + item.get("s", 0)
        out.append(plain)
    return out


@given(items=good_items())
@examples(500)
def test_a_pack_and_its_resolved_records_say_the_same(items):
    whole = decode(as_json(items), None, NOW_S)
    check(whole)
    by_hand = decode(as_json(resolved(items)), None, NOW_S)
    one_by_one = [decode(as_json([each]), None, NOW_S) for each in resolved(items)]
    assert whole.records == by_hand.records
    assert [(each.index, each.reason) for each in whole.faults] == [
        (each.index, each.reason) for each in by_hand.faults
    ]
    assert whole.records == [record for each in one_by_one for record in each.records]


@given(name=st.text(string.ascii_letters + string.digits + "-:./_ é\n", max_size=12))
@settings(max_examples=300, deadline=None, database=None)
def test_a_name_is_taken_exactly_when_the_standard_allows_it(name):
    full = f"{name}/nest"
    allowed = set(string.ascii_letters + string.digits + "-:./_")
    is_allowed = set(full) <= allowed and full[0] in string.ascii_letters + string.digits
    pack = decode(as_json([{"n": full, "u": "Cel", "v": 34.5}]), None, NOW_S)
    assert len(full) <= MAX_NAME_LENGTH
    if is_allowed:
        assert pack == ([Record(2, round(NOW_S * 1000), 34.5)], [])
    else:
        assert [fault.reason for fault in pack.faults] == ["name"]


@given(data=st.binary(max_size=64))
@settings(max_examples=100, deadline=None, database=None)
def test_data_values_are_no_numbers_in_either_encoding(data):
    text = base64.urlsafe_b64encode(data).decode().rstrip("=")  # RFC 8428 section 5
    for payload in (
        as_json([{"n": "nest", "vd": text, "u": "Cel"}]),
        as_cbor([{"n": "nest", "vd": data, "u": "Cel"}]),
    ):
        assert [fault.reason for fault in decode(payload, None, NOW_S).faults] == ["value"]
