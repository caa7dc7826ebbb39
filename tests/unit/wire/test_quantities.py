"""The list of quantities: what the rest of the program and every stored reading lean on."""

import pytest

from hivewatch.wire.quantities import (
    BY_NUMBER,
    CONVERSIONS,
    QUANTITIES,
    TOTAL_OF,
)

# Numbers stand in every store ever written: a line may be added here, never changed.
NUMBERS = {
    "weight": 1,
    "nest": 2,
    "ambient": 3,
    "nest-humidity": 4,
    "ambient-humidity": 5,
    "bees-in": 6,
    "bees-out": 7,
    "rain": 8,
    "battery": 9,
    "battery-level": 10,
    "signal": 11,
    "bees-in-total": 12,
    "bees-out-total": 13,
    "rain-total": 14,
}


def test_numbers_never_change():
    assert {each.name: each.number for each in QUANTITIES.values()} == NUMBERS
    assert {number: each.name for number, each in BY_NUMBER.items()} == {
        number: name for name, number in NUMBERS.items()
    }


@pytest.mark.parametrize(
    ("name", "unit", "low", "high"),
    [  # the table of the contract with those who build devices
        ("weight", "kg", -5, 300),
        ("nest", "Cel", -40, 60),
        ("ambient", "Cel", -50, 60),
        ("nest-humidity", "%RH", 0, 105),
        ("ambient-humidity", "%RH", 0, 105),
        ("bees-in", "count", 0, 60_000),
        ("bees-out", "count", 0, 60_000),
        ("rain", "mm", 0, 300),
        ("battery", "V", 0, 60),
        ("battery-level", "%EL", 0, 100),
    ],
)
def test_ranges_are_those_promised_to_devices(name, unit, low, high):
    quantity = QUANTITIES[name]
    assert (quantity.unit, quantity.low, quantity.high) == (unit, low, high)


def test_each_count_has_a_total_in_its_unit():
    counts = [each for each in QUANTITIES.values() if each.kind == "count"]
    assert [each.name for each in counts] == ["bees-in", "bees-out", "rain"]
    for count in counts:
        total = TOTAL_OF[count.name]
        assert (total.name, total.kind) == (f"{count.name}-total", "total")
        assert total.unit == count.unit
        assert total.high > 1000 * count.high
        assert CONVERSIONS[total.name].keys() == CONVERSIONS[count.name].keys()


def test_only_a_count_of_bees_may_come_without_a_unit():
    without = {name for name, units in CONVERSIONS.items() if None in units}
    assert without == {"bees-in", "bees-out", "bees-in-total", "bees-out-total"}


@pytest.mark.parametrize("name", QUANTITIES)
def test_the_own_unit_leaves_a_value_as_it_is(name):
    quantity = QUANTITIES[name]
    for value in (quantity.low, quantity.high, 21.4, 0.1 + 0.2):
        conversion = CONVERSIONS[name][quantity.unit]
        assert (conversion.quantity, conversion.of(value)) == (quantity, value)
