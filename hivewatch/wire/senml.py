"""Bytes from a device to records and faults: SenML, RFC 8428, in JSON and CBOR.

Section numbers are those of RFC 8428 unless another is named. Where it leaves room, or where we
leave it, this is what we do:

- A record of base fields alone sets the base and measures nothing (the actuator example of
  section 5.1.7); any other record needs `v` or a sum, and a base value alone is not a value.
- A missing unit is refused, though section 4.5.2 allows it, except for counts: see `quantities`.
- `s` of a count is its running total. Section 4.2 calls `s` an integral over seconds, and section
  10 would have a running count sent as a value; that is understood too, under the name of the
  total (`bees-in-total`). Base sums add as in section 4.5.4; for a level, only a sum of its own is
  a fault, a base sum is not meant for it.
- A base field of the wrong type refuses the pack: nobody knows what the records after it mean.
- Version 26, secondary units (RFC 9100 section 4), is understood, as are all up to 10; secondary
  units are converted under any version.
- Types of unknown fields and of `ut` are not looked at. `vs`, `vb` and `vd` measure nothing here.
- Records may stand in any order. Fields unknown to us are ignored, unless they end in `_`.
- In one JSON record the last of two equal labels counts, but see `payload` for `n` and `v`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any, NamedTuple

from hivewatch.wire.payload import items_of
from hivewatch.wire.quantities import CONVERSIONS, TOTAL_OF, Conversion, units_of
from hivewatch.wire.refusals import REASONS, PackError, WrongRecord, brief, show

__all__ = ["REASONS", "Fault", "Pack", "Record", "decode"]

RELATIVE_BELOW_S = 2.0**28  # section 4.5.3: below it, a time counts from now
AHEAD_MAX_S = 86_400.0  # the contract with those who build devices: a day
# Own choice: clocks that lost their power start at 1970, 1980, 2000 or 2004 and count on, and
# satellite receivers that missed their week number fall back twenty years. test_senml.py.
EARLIEST_S = 1_262_304_000.0  # 2010-01-01T00:00:00Z
MAX_NAME_LENGTH = 255  # own choice
_OLD_VERSION_MAX = 10  # section 4.1
_SECONDARY_UNITS_VERSION = 26  # RFC 9100 section 4

_PLAIN = frozenset({"n", "u", "v", "t", "ut"})
_VALUES = ("v", "vs", "vb", "vd")
_MORE_THAN_V = frozenset({"s", "vs", "vb", "vd"})
_BASE_TEXTS = ("bn", "bu")
_BASE_NUMBERS = ("bt", "bv", "bs")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", re.ASCII)  # section 4.5.1
_BEFORE_QUANTITY = re.compile(r".*[/:_]")

_Fields = dict[object, object]


class Record(NamedTuple):
    """One reading: the number of its quantity, Unix milliseconds, the value in canonical unit."""

    quantity: int
    time_ms: int
    value: float


class Fault(NamedTuple):
    """Why something was refused: the record's place in the pack, or None for all of it."""

    index: int | None  # type: ignore[assignment]  # hides a tuple's index(), of no use here
    reason: str
    detail: str


class Pack(NamedTuple):
    """What a payload holds."""

    records: list[Record]
    faults: list[Fault]


class _Base(NamedTuple):
    """The base fields in force (section 4.1), under their labels."""

    bn: str = ""
    bt: float = 0.0
    bu: str | None = None
    bv: float = 0.0
    bs: float | None = None
    bver: float = 10.0


def decode(payload: bytes, content_type: str | None, now_s: float) -> Pack:
    """Turn one message into readings and faults; whatever the bytes, it does not raise.

    Parameters
    ----------
    payload : bytes
        The message as it came.
    content_type : str | None
        As the broker passed it on, if it did.
    now_s : float
        When it came, Unix time: what relative times count from. [s]

    Returns
    -------
    Pack
        A refused pack has one fault with index None and no records.
    """
    try:
        return _resolve(items_of(payload, content_type), now_s)
    except PackError as error:
        return Pack([], [Fault(None, error.reason, brief(error.detail))])


def _resolve(items: list[object], now_s: float) -> Pack:
    """Apply the base fields to the records after them (section 4.6), and check each."""
    records: list[Record] = []
    faults: list[Fault] = []
    base = _Base()
    for index, fields in enumerate(items):
        if not isinstance(fields, dict):
            faults.append(Fault(index, "field", f"{show(fields)}: a record must be an object"))
            continue
        has_more_than_v = False
        if not fields.keys() <= _PLAIN:
            base = _follow(base, fields, index)
            if _is_base_only(fields):
                continue
            has_more_than_v = not _MORE_THAN_V.isdisjoint(fields)
        try:
            conversion, time_ms = _place(base, fields, now_s)
            if "v" in fields and base.bs is None and not has_more_than_v:
                records.append(_reading(conversion, base.bv, fields["v"], time_ms))
                continue
            for total_or_value, base_value, said in _parts(base, fields, conversion):
                try:
                    records.append(_reading(total_or_value, base_value, said, time_ms))
                except WrongRecord as wrong:
                    faults.append(Fault(index, wrong.reason, wrong.detail))
        except WrongRecord as wrong:
            faults.append(Fault(index, wrong.reason, wrong.detail))
    if not records and not faults:
        raise PackError("malformed", "nothing but base fields")
    return Pack(records, faults)


def _is_base_only(fields: _Fields) -> bool:
    return "v" not in fields and all(
        isinstance(label, str) and label.startswith("b") for label in fields
    )


def _follow(base: _Base, fields: _Fields, index: int) -> _Base:
    """Take over the base fields of a record; refuse the pack for what section 4.4 forbids."""
    changed: dict[str, Any] = {}
    for label, said in fields.items():
        if not isinstance(label, str):
            continue
        if label.endswith("_"):
            raise PackError(
                "must understand", f"record {index + 1}: {show(label)} is not understood"
            )
        if label in _BASE_TEXTS:
            if not isinstance(said, str):
                raise PackError("field", f"record {index + 1}: {label} = {show(said)}: not a text")
            changed[label] = said
        elif label in _BASE_NUMBERS:
            try:
                changed[label] = _number(said, "field")
            except WrongRecord as wrong:
                raise PackError("field", f"record {index + 1}: {label} = {wrong.detail}") from wrong
        elif label == "bver":
            changed[label] = _version(said, base.bver if index else None, index)
    return base._replace(**changed)


def _version(said: object, before: float | None, index: int) -> float:
    """Check a version: up to 10 (section 4.4) or 26 (RFC 9100 section 4), one for all records."""
    version = said if isinstance(said, int | float) and not isinstance(said, bool) else 0
    is_known = version in range(1, _OLD_VERSION_MAX + 1) or version == _SECONDARY_UNITS_VERSION
    if not is_known:
        wrong = f"record {index + 1}: version {show(said)}; understood: 1 to 10, and 26"
        raise PackError("version", wrong)
    if before is not None and version != before:
        wrong = f"record {index + 1} is of version {version:g}, the pack of {before:g}"
        raise PackError("version", wrong)
    return float(version)


def _place(base: _Base, fields: _Fields, now_s: float) -> tuple[Conversion, int]:
    """Find out what a record measures, in which unit, and when (sections 4.5.1 to 4.5.3)."""
    own_name = fields.get("n", "")
    if not isinstance(own_name, str):
        raise WrongRecord("field", f"n = {show(own_name)}: not a text")
    name = base.bn + own_name
    units = _units(name) if len(name) <= MAX_NAME_LENGTH else None
    if units is None:
        raise _wrong_name(name)

    unit = fields.get("u", base.bu)
    conversion = units.get(unit) if unit is None or isinstance(unit, str) else None
    if conversion is None:
        raise _wrong_unit(name, unit)

    own_time = fields.get("t", 0.0)
    time_s = base.bt + (own_time if type(own_time) is float else _number(own_time, "field", "t = "))
    if time_s < RELATIVE_BELOW_S:
        time_s += now_s
    if not EARLIEST_S <= time_s <= now_s + AHEAD_MAX_S:
        raise _wrong_time(time_s)
    return conversion, round(time_s * 1000)


@lru_cache(maxsize=4096)
def _units(name: str) -> Mapping[str | None, Conversion] | None:
    """Find the units of the quantity a name ends in; None when the name will not do."""
    if not _NAME.fullmatch(name):
        return None
    return CONVERSIONS.get(_quantity_in(name))


def _quantity_in(name: str) -> str:
    return _BEFORE_QUANTITY.sub("", name)


def _parts(
    base: _Base, fields: _Fields, conversion: Conversion
) -> Iterator[tuple[Conversion, float, object]]:
    """Give what a record says: a value, a running total, or both (sections 4.2 and 4.5.4)."""
    values = [label for label in _VALUES if label in fields]
    if values and values != ["v"]:
        raise WrongRecord("value", f"{', '.join(values)}: send one number, as v")
    if values:
        yield conversion, base.bv, fields["v"]

    total = TOTAL_OF.get(conversion.quantity.name)
    if total is not None and ("s" in fields or base.bs is not None):
        yield conversion._replace(quantity=total), base.bs or 0.0, fields.get("s", 0.0)
    elif "s" in fields:
        raise WrongRecord("sum", f"{conversion.quantity.name}: has no running total")
    elif not values:
        raise WrongRecord("value", f"{conversion.quantity.name}: no v")


def _reading(conversion: Conversion, base_value: float, said: object, time_ms: int) -> Record:
    quantity = conversion.quantity
    own_value = said if type(said) is float else _number(said, "value", f"{quantity.name} = ")
    value = conversion.of(base_value + own_value)
    if not quantity.low <= value <= quantity.high:
        if not math.isfinite(own_value):
            raise WrongRecord("value", f"{quantity.name} = {own_value}: not a number")
        believed = f"believed from {quantity.low:g} to {quantity.high:g}"
        raise WrongRecord(
            "out of range", f"{quantity.name} = {value:g} {quantity.unit}: {believed}"
        )
    return Record(quantity.number, time_ms, value)


def _number(said: object, reason: str, label: str = "") -> float:
    """Read a JSON or CBOR number as a double (section 5), or say that it is none."""
    if isinstance(said, int | float) and not isinstance(said, bool):
        try:
            number = float(said)
        except OverflowError:
            number = math.inf
        if math.isfinite(number):
            return number
    raise WrongRecord(reason, f"{label}{show(said)}: not a number")


def _wrong_name(name: str) -> WrongRecord:
    if not name:
        return WrongRecord("name", "no name")
    if len(name) > MAX_NAME_LENGTH:
        return WrongRecord("name", f"{len(name)} characters; at most {MAX_NAME_LENGTH}")
    if not _NAME.fullmatch(name):
        allowed = "a letter or digit, then letters, digits and - : . / _"
        return WrongRecord("name", f"{show(name)}: allowed: {allowed}")
    known = ", ".join(CONVERSIONS)
    return WrongRecord("quantity", f"{show(name)} ends in none of {known}")


def _wrong_unit(name: str, unit: object) -> WrongRecord:
    quantity = _quantity_in(name)
    said = "no unit" if unit is None else f"unit {show(unit)}"
    return WrongRecord("unit", f"{quantity}: {said}; allowed: {', '.join(units_of(quantity))}")


def _wrong_time(time_s: float) -> WrongRecord:
    if math.isnan(time_s):
        return WrongRecord("field", "t = nan: not a number")
    try:
        when = datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except (ValueError, OverflowError, OSError):
        when = f"{time_s:g} s"
    if time_s < EARLIEST_S:
        return WrongRecord("clock", f"{when} is before 2010")
    return WrongRecord("clock", f"{when} is more than a day ahead")
