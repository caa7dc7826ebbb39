"""The one list of what a device can measure: names, units, believable ranges.

Wire, store, code, API and pages use these names and, inside, these units. Units are the names
registered by RFC 8428 section 12.1 and RFC 8798 section 3, in their exact spelling: `C` is a
coulomb, degrees Celsius are `Cel`.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Mapping

Kind = Literal["level", "count", "total"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that is measured.

    `number` stands for it in the store and is never given to another. A `level` is what is so at
    that moment, a `count` what came since the previous record, a `total` a running sum as sent.
    Values are believed from `low` to `high`, both included, in `unit`.
    """

    name: str
    number: int
    unit: str
    low: float
    high: float
    kind: Kind
    about: str


class Conversion(NamedTuple):
    """How a value in some unit becomes one of `quantity`, in the unit of that."""

    quantity: Quantity
    times: float
    over: float
    plus: float

    def of(self, value: float) -> float:
        """Convert a value."""
        return value * self.times / self.over + self.plus


# Ranges: the contract with those who build devices, except where a line says own choice.
_LIST = (
    Quantity("weight", 1, "kg", -5.0, 300.0, "level", "gross weight on the scale"),
    Quantity("nest", 2, "Cel", -40.0, 60.0, "level", "warmth between the centre combs"),
    Quantity("ambient", 3, "Cel", -50.0, 60.0, "level", "shaded outside air"),
    Quantity("nest-humidity", 4, "%RH", 0.0, 105.0, "level", "relative humidity in the nest"),
    Quantity("ambient-humidity", 5, "%RH", 0.0, 105.0, "level", "relative humidity outside"),
    Quantity("bees-in", 6, "count", 0.0, 60_000.0, "count", "bees in since the previous record"),
    Quantity("bees-out", 7, "count", 0.0, 60_000.0, "count", "bees out since the previous record"),
    Quantity("rain", 8, "mm", 0.0, 300.0, "count", "rain since the previous record"),
    Quantity("battery", 9, "V", 0.0, 60.0, "level", "supply voltage"),
    Quantity("battery-level", 10, "%EL", 0.0, 100.0, "level", "charge left in the battery"),
    # Own choice: below the noise floor of any radio in use up to one watt at the aerial.
    Quantity("signal", 11, "dBm", -160.0, 30.0, "level", "strength of the radio signal"),
    # Totals, own choice: a 32-bit counter fits two hundred times; a kilometre of rain.
    Quantity("bees-in-total", 12, "count", 0.0, 1e12, "total", "bees in, running total as sent"),
    Quantity("bees-out-total", 13, "count", 0.0, 1e12, "total", "bees out, running total as sent"),
    Quantity("rain-total", 14, "mm", 0.0, 1e6, "total", "rain, running total as sent"),
)

QUANTITIES: Mapping[str, Quantity] = MappingProxyType({each.name: each for each in _LIST})
BY_NUMBER: Mapping[int, Quantity] = MappingProxyType({each.number: each for each in _LIST})

# Unit -> other units that mean the same by the standard: (times, over, plus).
# g and kg, K and Cel, m, V, dBW: RFC 8428 section 12.1. mm, cm, mV, dBm: RFC 8798 section 3.
# 0 Cel = 273.15 K: definition of the degree Celsius, SI brochure, 9th edition, from memory.
_OTHER_UNITS: dict[str, dict[str, tuple[float, float, float]]] = {
    "kg": {"g": (1.0, 1000.0, 0.0)},
    "Cel": {"K": (1.0, 1.0, -273.15)},
    "mm": {"cm": (10.0, 1.0, 0.0), "m": (1000.0, 1.0, 0.0)},
    "V": {"mV": (1.0, 1000.0, 0.0)},
    "dBm": {"dBW": (1.0, 1.0, 30.0)},
}


def _conversions(quantity: Quantity) -> dict[str | None, Conversion]:
    units: dict[str | None, Conversion] = {quantity.unit: Conversion(quantity, 1.0, 1.0, 0.0)}
    for unit, factors in _OTHER_UNITS.get(quantity.unit, {}).items():
        units[unit] = Conversion(quantity, *factors)
    if quantity.name == "battery":
        units["%EL"] = Conversion(QUANTITIES["battery-level"], 1.0, 1.0, 0.0)
    if quantity.unit == "count":
        units[None] = units["count"]
    return units


CONVERSIONS: Mapping[str, Mapping[str | None, Conversion]] = MappingProxyType(
    {each.name: MappingProxyType(_conversions(each)) for each in _LIST}
)
"""Quantity name -> unit as sent -> what becomes of the value.

A unit that is not in the table is refused, and so is a missing one (`None`), which RFC 8428
would allow: 47 may be kilograms or pounds, 50 may be degrees of either kind, and a wrong history
is worse than a pack in quarantine, where its bytes and the reason are kept. Only bees may come
without a unit, because there is nothing to confuse a count with. `/` is refused for humidity and
battery: the standard does not tie it to `%RH` or `%EL`.
"""

TOTAL_OF: Mapping[str, Quantity] = MappingProxyType(
    {each.name: QUANTITIES[f"{each.name}-total"] for each in _LIST if each.kind == "count"}
)
"""Name of a count -> the quantity that keeps its running total."""


def units_of(name: str) -> tuple[str, ...]:
    """Name the units a quantity may be sent in, its own unit first."""
    return tuple(unit for unit in CONVERSIONS[name] if unit is not None)
