"""JSON or CBOR, and the bounds: hostile bytes cost neither memory nor time."""

import json
import struct
import time
import tracemalloc

import cbor2
import pytest

from hivewatch.wire import payload as payload_room
from hivewatch.wire import senml
from hivewatch.wire.payload import (
    MAX_CBOR_BYTES,
    MAX_CBOR_DEPTH,
    MAX_PAYLOAD_BYTES,
    MAX_RECORDS,
    items_of,
)
from hivewatch.wire.refusals import PackError, brief, show
from hivewatch.wire.senml import decode

NOW_S = 1_779_368_400.0
RECORD = {"n": "nest", "u": "Cel", "v": 34.75}
JSON = json.dumps([RECORD]).encode()
CBOR = cbor2.dumps([{0: "nest", 1: "Cel", 2: 34.75}])


def reason(payload, content_type=None):
    (fault,) = decode(payload, content_type, NOW_S).faults
    assert fault.index is None
    return fault.reason


@pytest.mark.parametrize(
    "content_type",
    [
        "application/senml+json",
        "Application/SenML+JSON",
        "application/senml+json; charset=utf-8",
        " application/sensml+json ;version=1",
        "application/json",
        "text/plain",  # none of ours: the first byte decides
        "",
        None,
    ],
)
def test_json_is_known_by_its_type_or_first_byte(content_type):
    assert items_of(JSON, content_type) == [RECORD]


@pytest.mark.parametrize(
    "content_type",
    [
        "application/senml+cbor",
        "APPLICATION/SENML+CBOR",
        "application/senml+cbor;x=y",
        "application/sensml+cbor",
        "application/cbor",
        "application/octet-stream",
        None,
    ],
)
def test_cbor_is_known_by_its_type_or_first_byte(content_type):
    assert items_of(CBOR, content_type) == [RECORD]


@pytest.mark.parametrize("form", ["application/senml+{}", " Application/SenSML+{} ; v=1 "])
def test_the_content_type_is_believed_over_the_first_byte(form):
    assert reason(CBOR, form.format("json")) == "malformed"
    assert reason(CBOR, form.format("JSON")) == "malformed"
    assert reason(JSON, form.format("cbor")) == "malformed"
    assert reason(JSON, form.format("CBOR")) == "malformed"


def test_cbor_is_followed_some_way_down_and_no_further():
    def nested(depth):
        return (
            cbor2.dumps([{0: "nest", 1: "Cel", 2: 34.75, "x": b""}])[:-1]
            + b"\x81" * depth
            + b"\x00"
        )

    assert decode(nested(MAX_CBOR_DEPTH - 2), None, NOW_S).faults == []
    assert reason(nested(MAX_CBOR_DEPTH - 1)) == "malformed"


def test_white_space_before_the_pack_is_json():
    assert items_of(b" \r\n\t" + JSON, None) == [RECORD]


def test_too_many_bytes_are_not_looked_at():
    assert reason(b"[" + b" " * MAX_PAYLOAD_BYTES + b"]") == "too large"
    at_the_bound = b" " * (MAX_PAYLOAD_BYTES - len(JSON)) + JSON
    assert items_of(at_the_bound, None) == [RECORD]
    longest = cbor2.dumps([{0: "nest", 9: b"x" * (MAX_CBOR_BYTES - 14)}])
    assert len(longest) == MAX_CBOR_BYTES
    assert len(items_of(longest, None)) == 1
    assert reason(cbor2.dumps([{0: "nest", 9: b"x" * (MAX_CBOR_BYTES - 13)}])) == "too large"


@pytest.mark.parametrize("dumps", [lambda items: json.dumps(items).encode(), cbor2.dumps])
def test_too_many_records_refuse_the_pack(dumps):
    assert len(items_of(dumps([RECORD] * MAX_RECORDS), None)) == MAX_RECORDS
    assert reason(dumps([RECORD] * (MAX_RECORDS + 1))) == "too large"


def full_cbor(head, rest):
    """Repeat up to the bound: what is longer is refused for its length."""
    return head + rest * ((MAX_CBOR_BYTES - len(head)) // len(rest))


def big(length):
    return b"\xc2\x5a" + struct.pack(">I", length) + b"\xff" * length


HOSTILE = {
    "brackets": b"[" * MAX_PAYLOAD_BYTES,
    "empty lists": b"[" + b"[]," * 300_000 + b"[]]",
    "empty objects": b"[" + b"{}," * 300_000 + b"{}]",
    "objects in objects": b'{"a":' * 200_000,
    "a number without end": b"[" + b"9" * 1_000_000 + b"]",
    "a number of a million places": b"[0." + b"3" * 1_000_000 + b"]",
    "a name without end": b'[{"n":"' + b"a" * 1_000_000 + b'","u":"Cel","v":1}]',
    "a label without end": b'[{"' + b"a" * 1_000_000 + b'_":1}]',
    "a unit without end": b'[{"n":"nest","u":"' + b"a" * 1_000_000 + b'","v":1}]',
    "labels without end": b"[{" + b",".join(b'"%d":1' % n for n in range(90_000)) + b"}]",
    "escapes": b'["' + b"\\u0061" * 170_000 + b'"]',
    "cbor arrays in arrays": full_cbor(b"", b"\x81"),
    "cbor tags on tags": full_cbor(b"\x81", b"\xc6"),
    "cbor empty lists": b"\x9a\x00\x03\x00\x00" + b"\x80" * 0x030000,
    "cbor empty maps": b"\x9a\x00\x03\x00\x00" + b"\xa0" * 0x030000,
    "cbor length of a terabyte": b"\x81\x5b\x00\x00\x01\x00\x00\x00\x00\x00",
    "cbor array of all": b"\x9b\xff\xff\xff\xff\xff\xff\xff\xff",
    "cbor map of all": b"\x81\xbb\xff\xff\xff\xff\xff\xff\xff\xff",
    "cbor big number": b"\x81" + big(250_000),
    "cbor decimal of a big number": b"\x81\xc4\x82\x01" + big(250_000),
    "cbor decimal to a big power": b"\x81\xc4\x82" + big(250_000) + b"\x01",
    "cbor big float to a big power": b"\x81\xc5\x82\x1a\x7f\xff\xff\xff\x01",
    "cbor ratio of big numbers": b"\x81\xd8\x1e\x82" + big(120_000) + big(120_000),
    "cbor expression": b"\x81\xd8\x23\x78\x20" + b"(a+)+(b+)+(c+)+(d+)+(e+)+(f+)+$$",
    "cbor shared with itself": b"\x81\xd8\x1c\x81\xd8\x1d\x00",
    "cbor texts by reference": b"\x81\xd9\x01\x00\x82\x78\x20" + b"a" * 32 + b"\xd8\x19\x00",
    "cbor pieces": b"\x81\x7f" + b"\x61a" * 125_000 + b"\xff",
    "cbor mail": b"\x81\xd8\x24\x78\x20" + b"Content-Type: multipart/mixed;\n\n",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_pack_is_refused_soon(name):
    started = time.perf_counter()
    pack = decode(HOSTILE[name], None, NOW_S)
    took_s = time.perf_counter() - started
    assert pack.records == []
    assert pack.faults
    assert all(len(fault.detail) <= 300 for fault in pack.faults)
    # Alone on this machine the slowest takes 0.2 s; the decimal of a big number took cbor2 10 s.
    assert took_s < 5.0


GREEDY = ("empty objects", "labels without end", "a name without end", "cbor empty maps")


def test_memory_stays_flat():
    for name in GREEDY:  # what is built once is built
        decode(HOSTILE[name], None, NOW_S)
    tracemalloc.start()
    try:
        before, _ = tracemalloc.get_traced_memory()
        for name in GREEDY:
            decode(HOSTILE[name], None, NOW_S)
        after, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert after - before < 100_000
    assert peak - before < 80 * MAX_PAYLOAD_BYTES  # a million empty maps, for a moment


def test_names_do_not_pile_up():
    for start in range(0, 50_000, 5_000):
        items = [{"n": f"{start + n}/nest", "u": "Cel", "v": 34.0} for n in range(5_000)]
        assert len(decode(json.dumps(items).encode(), None, NOW_S).records) == 5_000
    assert senml._units.cache_info().currsize <= 4096


BODIES = [
    b"\x82\x01\x02",
    b"\x62ab",
    b"\x44\x01\x02\x03\x04",
    b"\x05",
    b"\xf9\x3c\x00",
    b"\xa1\x01\x02",
]


def test_no_tag_but_the_decimal_fraction_means_anything():
    known = 0
    for tag in range(65_536):
        if tag == 4:
            continue
        head = bytes([0xC0 | tag]) if tag < 24 else b"\xd9" + struct.pack(">H", tag)
        for body in BODIES if tag in payload_room._TAG_READERS or tag < 300 else BODIES[:2]:
            (item,) = items_of(b"\x81" + head + body, None)
            assert isinstance(item, payload_room.ForeignTag)
            known += 1
    assert known > 131_000


@pytest.mark.parametrize(
    ("exponent", "mantissa", "value"),
    [(-2, 3490, 34.9), (0, 21, 21.0), (1, -3, -30.0), (-400, 1, 0.0), (-3, 2**63, 2.0**63 / 1000)],
)
def test_a_decimal_fraction_is_read_to_the_nearest_double(exponent, mantissa, value):
    payload = cbor2.dumps([{2: cbor2.CBORTag(4, [exponent, mantissa])}])
    assert items_of(payload, None) == [{"v": value}]


def test_two_measurements_in_one_object_are_not_halved():
    payload = b'[{"n":"weight","u":"kg","v":42.17,"n":"nest","u":"Cel","v":34.9}]'
    with pytest.raises(PackError, match="stands twice"):
        items_of(payload, None)
    assert len(items_of(b'[{"n":"v","u":"n","v":1},{"n":"v"}]', None)) == 2


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("kg", "'kg'"),
        ("a" * 50, "'" + "a" * 40 + "...'"),
        ("°C\n", "'\\xb0C\\n'"),
        (10**50, "a very long number"),
        (-(10**50), "a very long number"),
        (2.5, "2.5"),
        (True, "True"),
        (None, "None"),
        ([], "a list"),
        ({}, "an object"),
        (b"x", "neither text nor number"),
    ],
)
def test_what_came_is_quoted_short_and_plain(said, shown):
    assert show(said) == shown


def test_a_number_too_long_to_print_can_be_quoted():
    assert show(10**5000) == "a very long number"


def test_what_a_library_says_is_cut():
    assert brief("a\tb" + "ü" * 500) == "a\\tb" + "\\xfc" * 197


def test_what_is_no_json_is_said_once():
    with pytest.raises(PackError) as refused:
        items_of(b"garbage", None)
    assert refused.value.detail == "JSON: invalid character (byte 0)"
