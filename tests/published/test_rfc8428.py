"""SenML against its own standard.

Source: C. Jennings, Z. Shelby, J. Arkko, A. Keranen, C. Bormann, "Sensor Measurement Lists
(SenML)", RFC 8428, August 2018. The packs are copied from sections 5.1.1 to 5.1.7 and 6; what
they resolve to is printed in section 5.1.4 for the pack of 5.1.3, in section 6 for its dump, and
said in the words between the examples for the rest ("the last record would use the Base Name from
the 3rd record but the Base Time from the first record").

The standard's examples measure voltages and living rooms. So for these tests, and here only, any
name that section 4.5.1 allows counts as a quantity in any unit; what is tested is the product's
own decoder, from the bytes to the name, unit, time and value of each record.
"""

from datetime import UTC, datetime

import pytest

from hivewatch.wire import senml
from hivewatch.wire.payload import CBOR_LABELS
from hivewatch.wire.quantities import Conversion, Quantity

NOW_S = 1_320_078_429.0  # "The current time is 1320078429", section 5.1.7


class AnyQuantity:
    """Takes any name and unit, and remembers which number it gave them."""

    def __init__(self):
        self.known = []

    def units(self, name):
        return Units(self, name) if senml._NAME.fullmatch(name) else None

    def resolve(self, payload, content_type=None):
        pack = senml.decode(payload, content_type, NOW_S)
        resolved = [
            (*self.known[record.quantity], record.time_ms, record.value) for record in pack.records
        ]
        return resolved, [(fault.index, fault.reason) for fault in pack.faults]


class Units:
    def __init__(self, quantities, name):
        self.quantities, self.name = quantities, name

    def get(self, unit):
        self.quantities.known.append((self.name, unit))
        number = len(self.quantities.known) - 1
        quantity = Quantity(self.name, number, unit or "", -1e9, 1e9, "level", "of an example")
        return Conversion(quantity, 1.0, 1.0, 0.0)


@pytest.fixture
def rfc(monkeypatch):
    quantities = AnyQuantity()
    monkeypatch.setattr(senml, "_units", quantities.units)
    return quantities


def test_a_single_data_point_is_of_now(rfc):  # section 5.1.1
    resolved, faults = rfc.resolve(
        b"""[
     {"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}
   ]"""
    )
    assert resolved == [("urn:dev:ow:10e2073a01080063", "Cel", 1_320_078_429_000, 23.1)]
    assert faults == []


def test_multiple_data_points_share_a_base_name(rfc):  # section 5.1.2, first
    resolved, faults = rfc.resolve(
        b"""[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
  {"n":"current","u":"A","v":1.2}
]"""
    )
    assert resolved == [
        ("urn:dev:ow:10e2073a01080063:voltage", "V", 1_320_078_429_000, 120.1),
        ("urn:dev:ow:10e2073a01080063:current", "A", 1_320_078_429_000, 1.2),
    ]
    assert faults == []


# Section 5.1.2, second: "current at Tue Jun 8 18:01:16.001 UTC 2010 and at each second for the
# previous 5 seconds".
CURRENTS_JSON = b"""[
     {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
      "bu":"A","bver":5,
      "n":"voltage","u":"V","v":120.1},
     {"n":"current","t":-5,"v":1.2},
     {"n":"current","t":-4,"v":1.3},
     {"n":"current","t":-3,"v":1.4},
     {"n":"current","t":-2,"v":1.5},
     {"n":"current","t":-1,"v":1.6},
     {"n":"current","v":1.7}
   ]"""
CURRENTS = [
    ("urn:dev:ow:10e2073a0108006:voltage", "V", 1_276_020_076_001, 120.1),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1_276_020_071_001, 1.2),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1_276_020_072_001, 1.3),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1_276_020_073_001, 1.4),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1_276_020_074_001, 1.5),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1_276_020_075_001, 1.6),
    ("urn:dev:ow:10e2073a0108006:current", "A", 1_276_020_076_001, 1.7),
]

# Section 6: "a dump of the CBOR example for the same sensor measurement as in Section 5.1.2".
CURRENTS_CBOR = bytes.fromhex(
    """
    87 a7 21 78 1b 75 72 6e 3a 64 65 76 3a 6f 77 3a
    31 30 65 32 30 37 33 61 30 31 30 38 30 30 36 3a
    22 fb 41 d3 03 a1 5b 00 10 62 23 61 41 20 05 00
    67 76 6f 6c 74 61 67 65 01 61 56 02 fb 40 5e 06
    66 66 66 66 66 a3 00 67 63 75 72 72 65 6e 74 06
    24 02 fb 3f f3 33 33 33 33 33 33 a3 00 67 63 75
    72 72 65 6e 74 06 23 02 fb 3f f4 cc cc cc cc cc
    cd a3 00 67 63 75 72 72 65 6e 74 06 22 02 fb 3f
    f6 66 66 66 66 66 66 a3 00 67 63 75 72 72 65 6e
    74 06 21 02 f9 3e 00 a3 00 67 63 75 72 72 65 6e
    74 06 20 02 fb 3f f9 99 99 99 99 99 9a a3 00 67
    63 75 72 72 65 6e 74 06 00 02 fb 3f fb 33 33 33
    33 33 33
    """
)


def test_times_count_from_the_base_time(rfc):
    assert rfc.resolve(CURRENTS_JSON) == (CURRENTS, [])


@pytest.mark.parametrize("content_type", [None, "application/senml+cbor"])
def test_the_cbor_dump_says_what_the_json_says(rfc, content_type):
    assert len(CURRENTS_CBOR) == 0xC3
    assert rfc.resolve(CURRENTS_CBOR, content_type) == (CURRENTS, [])


def test_a_stream_is_read_like_a_pack(rfc):  # section 5.1.2, third; the dots are ours to close
    resolved, faults = rfc.resolve(
        b"""[
     {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
      "bu":"%RH","v":21.2},
     {"t":10,"v":21.3},
     {"t":20,"v":21.4},
     {"t":30,"v":21.4},
     {"t":40,"v":21.5},
     {"t":50,"v":21.5},
     {"t":60,"v":21.5},
     {"t":70,"v":21.6},
     {"t":80,"v":21.7}
   ]""",
        "application/sensml+json",
    )
    values = [21.2, 21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7]
    assert resolved == [
        ("urn:dev:ow:10e2073a01080063", "%RH", 1_320_067_464_000 + 10_000 * place, value)
        for place, value in enumerate(values)
    ]
    assert faults == []


def test_multiple_measurements_resolve_as_printed(rfc):  # sections 5.1.3 and 5.1.4
    pack = b"""[
     {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
      "bu":"%RH","v":20},
     {"u":"lon","v":24.30621},
     {"u":"lat","v":60.07965},
     {"t":60,"v":20.3},
     {"u":"lon","t":60,"v":24.30622},
     {"u":"lat","t":60,"v":60.07965},
     {"t":120,"v":20.7},
     {"u":"lon","t":120,"v":24.30623},
     {"u":"lat","t":120,"v":60.07966},
     {"u":"%EL","t":150,"v":98},
     {"t":180,"v":21.2},
     {"u":"lon","t":180,"v":24.30628},
     {"u":"lat","t":180,"v":60.07967}
   ]"""
    printed = b"""[
     {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,
      "v":20},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,
      "v":24.30621},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,
      "v":60.07965},
     {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,
      "v":20.3},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,
      "v":24.30622},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,
      "v":60.07965},
     {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,
      "v":20.7},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,
      "v":24.30623},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,
      "v":60.07966},
     {"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,
      "v":98},
     {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,
      "v":21.2},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,
      "v":24.30628},
     {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,
      "v":60.07967}
   ]"""
    resolved, faults = rfc.resolve(pack)
    assert (resolved, faults) == rfc.resolve(printed)
    assert faults == []
    name = "urn:dev:ow:10e2073a01080063"
    assert resolved[0] == (name, "%RH", 1_320_067_464_000, 20.0)
    assert resolved[9] == (name, "%EL", 1_320_067_614_000, 98.0)
    assert resolved[12] == (name, "lat", 1_320_067_644_000, 60.07967)


def test_other_data_types_are_told_from_numbers(rfc):  # section 5.1.5
    resolved, faults = rfc.resolve(
        b"""[
    {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
    {"n":"label","vs":"Machine Room"},
    {"n":"open","vb":false},
    {"n":"nfv-reader","vd":"aGkgCg"}
  ]"""
    )
    assert resolved == [("urn:dev:ow:10e2073a01080063:temp", "Cel", 1_320_078_429_000, 23.1)]
    assert faults == [(1, "value"), (2, "value"), (3, "value")]


def test_a_second_base_name_leaves_the_base_time(rfc):  # section 5.1.6
    resolved, faults = rfc.resolve(
        b"""[
     {"bn":"2001:db8::2/","bt":1.320078429e+09,
      "n":"temperature","u":"Cel","v":25.2},
     {"n":"humidity","u":"%RH","v":30},
     {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
     {"n":"humidity","u":"%RH","v":67}
   ]"""
    )
    assert resolved == [
        ("2001:db8::2/temperature", "Cel", 1_320_078_429_000, 25.2),
        ("2001:db8::2/humidity", "%RH", 1_320_078_429_000, 30.0),
        ("2001:db8::1/temperature", "Cel", 1_320_078_429_000, 12.3),
        ("2001:db8::1/humidity", "%RH", 1_320_078_429_000, 67.0),
    ]
    assert faults == []


def test_a_record_of_base_fields_alone_measures_nothing(rfc):  # section 5.1.7, first
    resolved, faults = rfc.resolve(
        b"""[
     {"bn":"urn:dev:ow:10e2073a01080063:"},
     {"n":"temp","u":"Cel","v":23.1},
     {"n":"heat","u":"/","v":1},
     {"n":"fan","u":"/","v":0}
   ]"""
    )
    assert resolved == [
        ("urn:dev:ow:10e2073a01080063:temp", "Cel", 1_320_078_429_000, 23.1),
        ("urn:dev:ow:10e2073a01080063:heat", "/", 1_320_078_429_000, 1.0),
        ("urn:dev:ow:10e2073a01080063:fan", "/", 1_320_078_429_000, 0.0),
    ]
    assert faults == []


def test_a_base_unit_and_a_base_time_reach_all_records(rfc):  # section 5.1.7, second
    resolved, faults = rfc.resolve(
        b"""[
     {"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":1},
     {"n":"2001:db8::4","v":1}
   ]"""
    )
    assert resolved == [
        ("2001:db8::3", "/", 1_320_078_429_000, 1.0),
        ("2001:db8::4", "/", 1_320_078_429_000, 1.0),
    ]
    assert faults == []


def test_a_tenth_of_a_second_is_kept(rfc):  # section 5.1.7, third
    resolved, faults = rfc.resolve(
        b"""[
     {"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5},
     {"n":"2001:db8::4","v":0.5},
     {"n":"2001:db8::3","t":0.1,"v":0},
     {"n":"2001:db8::4","t":0.1,"v":0}
   ]"""
    )
    assert resolved == [
        ("2001:db8::3", "/", 1_320_078_429_000, 0.5),
        ("2001:db8::4", "/", 1_320_078_429_000, 0.5),
        ("2001:db8::3", "/", 1_320_078_429_100, 0.0),
        ("2001:db8::4", "/", 1_320_078_429_100, 0.0),
    ]
    assert faults == []


@pytest.mark.parametrize(
    ("time_s", "moment"),
    [  # section 4.5.3: "the smallest absolute Time value that can be expressed (2**28) is
        # 1978-07-04 21:24:16 UTC"; one second less counts from now, eight years ahead
        (2**28, "1978-07-04T21:24:16Z is before 2010"),
        (2**28 - 1, "2020-05-03T13:51:24Z is more than a day ahead"),
    ],
)
@pytest.mark.usefixtures("rfc")
def test_absolute_time_begins_at_two_to_the_28(time_s, moment):
    pack = senml.decode(b'[{"n":"a","t":%d,"v":1}]' % time_s, None, NOW_S)
    assert pack.records == []
    assert pack.faults == [(0, "clock", moment)]


@pytest.mark.parametrize(
    ("second", "reason"),
    [  # sections 4.4 and 12.3.1: labels that end in "_" have to be understood, others are ignored;
        # and one version for all records of a pack
        (b'{"n":"b","v":2,"hue":"amber"}', None),
        (b'{"n":"b","v":2,"hue_":"amber"}', "must understand"),
        (b'{"n":"b","v":2,"bver":5}', None),
        (b'{"n":"b","v":2,"bver":10}', "version"),
    ],
)
def test_what_is_not_understood_is_ignored_or_refuses_the_pack(rfc, second, reason):
    resolved, faults = rfc.resolve(b'[{"bver":5,"n":"a","v":1},' + second + b"]")
    assert [row[3] for row in resolved] == ([] if reason else [1.0, 2.0])
    assert faults == ([(None, reason)] if reason else [])


def test_cbor_labels_are_those_of_table_4():
    table = """bver -1, bn -2, bt -3, bu -4, bv -5, bs -6, n 0, u 1, v 2, vs 3, vb 4, s 5, t 6,
        ut 7, vd 8"""
    rows = [row.split() for row in table.split(",")]
    assert {int(number): label for label, number in rows} == CBOR_LABELS


@pytest.mark.parametrize(  # section 5: any number an IEEE double can hold; 1.1 means 1.10
    ("said", "value"),
    [("1.1", 1.1), ("1.10", 1.1), ("0.11e1", 1.1), ("11e-1", 1.1), ("-0", 0.0), ("5e-324", 5e-324)],
)
def test_the_writing_of_a_number_does_not_matter(rfc, said, value):
    resolved, _ = rfc.resolve(b'[{"n":"a","v":%s}]' % said.encode())
    assert [each[3] for each in resolved] == [value]


@pytest.mark.parametrize(
    ("name", "is_allowed"),
    [  # section 4.5.1
        ("A", True),
        ("z9-:./_", True),
        ("0", True),
        ("-a", False),
        (":a", False),
        (".a", False),
        ("/a", False),
        ("_a", False),
        ("a b", False),
        ("a~", False),
        ("[2001:db8::1]", False),
        ("waage-ä", False),
        ("a\\n", False),
        ("", False),
    ],
)
def test_names_are_of_the_set_in_section_4_5_1(rfc, name, is_allowed):
    resolved, faults = rfc.resolve(f'[{{"n":"{name}","v":1}}]'.encode())
    assert len(resolved) == is_allowed
    assert faults == ([] if is_allowed else [(0, "name")])


def test_a_date_of_2010_is_the_one_in_words():
    # Our own row: the words of section 5.1.2 against the standard library.
    said = datetime(2010, 6, 8, 18, 1, 16, 1000, tzinfo=UTC)
    assert round(said.timestamp() * 1000) == CURRENTS[0][2]
