"""Units against their registries.

Sources: RFC 8428 (August 2018), section 12.1, table 6, the SenML units; C. Bormann, "Additional
Units for Sensor Measurement Lists (SenML)", RFC 8798 (June 2020), section 3, the secondary units
with scale and offset, read in the working group's text of 2019-10-07, which lacks the row for
`cm`: that one is from the unit list of the RIOT operating system's SenML module, which gives it
as "RFC 8798, 1/100 m". C. Bormann, "SenML Features and Versions", RFC 9100 (August 2021),
sections 2 and 4, read in the working group's text of 2021-02-21. The kelvin: the SI brochure,
9th edition (2019), from memory: 0 Cel = 273.15 K (RFC 8428 section 12.1, guideline 5, misprints it
as 275.15).
"""

import json
from fractions import Fraction

import pytest

from hivewatch.wire.quantities import CONVERSIONS, QUANTITIES
from hivewatch.wire.senml import decode

# "Quantities expressed in the secondary unit can be converted into the SenML unit by first
# multiplying their value with the scale number and then adding the offset."
SECONDARY = [  # secondary unit, SenML unit, scale, offset, quantity measured in it here
    ("mV", "V", Fraction(1, 1000), 0, "battery"),
    ("dBm", "dBW", Fraction(1), -30, "signal"),
    ("mm", "m", Fraction(1, 1000), 0, "rain"),
    ("cm", "m", Fraction(1, 100), 0, "rain"),
]


@pytest.mark.parametrize(("secondary", "primary", "scale", "offset", "name"), SECONDARY)
@pytest.mark.parametrize("said", [0.0, 1.0, 12.5, 4137.0, -71.0])
def test_a_secondary_unit_means_its_row(secondary, primary, scale, offset, name, said):
    by_the_row = float(Fraction(said) * scale + offset)
    value = CONVERSIONS[name][secondary].of(said)
    value_by_the_row = CONVERSIONS[name][primary].of(by_the_row)
    assert value == pytest.approx(value_by_the_row, rel=1e-15, abs=1e-12)  # rounding of doubles


def test_the_worked_example_of_the_standard():
    # "The value of a quantity given as 10 dBm ... leading to a quantity of -20 dBW."
    assert CONVERSIONS["signal"]["dBW"].of(-20.0) == 10.0
    assert CONVERSIONS["signal"]["dBm"].of(10.0) == 10.0


@pytest.mark.parametrize(
    ("name", "unit", "said", "value"),
    [  # RFC 8428 table 6: gram beside kilogram, kelvin beside degrees Celsius, metre, volt, dBW
        ("weight", "kg", 42.17, 42.17),
        ("weight", "g", 42170.0, 42.17),
        ("nest", "Cel", 34.8, 34.8),
        ("nest", "K", 273.15, 0.0),
        ("nest", "K", 308.15, 35.0),
        ("ambient", "K", 258.15, -15.0),
        ("rain", "m", 0.0042, 4.2),
        ("battery", "V", 3.71, 3.71),
        ("battery", "mV", 3710.0, 3.71),
        ("nest-humidity", "%RH", 61.5, 61.5),
        ("bees-in", "count", 120.0, 120.0),
    ],
)
def test_a_unit_of_table_6_means_itself(name, unit, said, value):
    conversion = CONVERSIONS[name][unit]
    assert conversion.quantity is QUANTITIES[name]
    assert conversion.of(said) == pytest.approx(value, rel=1e-14)


def test_percent_of_energy_chooses_the_battery_level():
    # Table 6: "%EL percentage (remaining battery energy level)", "V volt".
    for name in ("battery", "battery-level"):
        conversion = CONVERSIONS[name]["%EL"]
        assert (conversion.quantity.name, conversion.of(87.0)) == ("battery-level", 87.0)


def refusal(name, unit):
    pack = decode(json.dumps([{"n": name, "u": unit, "v": 1.0}]).encode(), None, 1_779_368_700.0)
    (fault,) = pack.faults
    return fault.reason


TABLE_6 = """m kg g s A K cd mol Hz rad sr N Pa J W C V F Ohm S Wb T H Cel lm lx Bq Gy Sv kat m2 m3
    l m/s m/s2 m3/s l/s W/m2 cd/m2 bit bit/s lat lon pH dB dBW Bspl count / % %RH %EL EL 1/s 1/min
    beat/min beats S/m"""
SECONDARY_NAMES = """ms min h kW kVA kvar Ah Wh kWh varh kvarh kVAh Wh/km KiB mV mA dBm ug/m3 mm/h
    ppm hPa mm cm km km/h"""


def test_only_registered_units_are_read():
    read = {unit for units in CONVERSIONS.values() for unit in units if unit is not None}
    assert read <= set(TABLE_6.split()) | set(SECONDARY_NAMES.split())


@pytest.mark.parametrize("name", QUANTITIES)
def test_every_other_registered_unit_is_refused(name):
    others = set(TABLE_6.split() + SECONDARY_NAMES.split()) - set(CONVERSIONS[name])
    for unit in others:
        assert refusal(name, unit) == "unit"


@pytest.mark.parametrize(
    "almost",
    # RFC 8428 section 12.1, guidelines 8 and 9: case counts; degF and the like are no SenML units.
    ["KG", "Kg", "kgs", "cel", "CEL", "°C", "degC", "degF", "F", "C", "k", "%rh", "v", "mv", "DBM"],
)
def test_units_are_compared_byte_by_byte(almost):
    for name in ("weight", "nest", "nest-humidity", "battery", "signal"):
        assert refusal(name, almost) == "unit"


@pytest.mark.parametrize(
    ("version", "is_understood"),
    [  # RFC 9100: the sum of 2 to the power of each feature; 10 is the base, 26 adds feature 4
        (5, True),  # RFC 8428 section 5.1.2 has it: lower than ours, section 4.4
        (10, True),
        (2**1 + 2**3, True),
        (2**1 + 2**3 + 2**4, True),
        (11, False),  # Reserved0 is always absent
        (14, False),  # Reserved2 is always absent
        (16, False),  # Reserved1 and Reserved3 are always present
        (42, False),  # feature 5: nobody has told us what it is
        (58, False),
        (2**53 - 1, False),
    ],
)
def test_a_version_is_a_set_of_features(version, is_understood):
    pack = decode(b'[{"bver":%d,"n":"battery","u":"mV","v":3710}]' % version, None, 1.78e9)
    assert bool(pack.records) is is_understood
    assert [fault.reason for fault in pack.faults] == ([] if is_understood else ["version"])
