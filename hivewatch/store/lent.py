"""Air and rain are the whole yard's: a hive that measures none takes them from a device nearby.

Of the devices at the other hives of its yard that measure what is missing, the one placed first
lends it for as long as it stands there, and after it the next; so that a new device changes nothing
of what is known already.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sqlalchemy import Connection

from hivewatch.apiary import Apiary
from hivewatch.store import apiary as apiary_rows
from hivewatch.store.open import rows
from hivewatch.store.stays import Span, span_of
from hivewatch.wire.quantities import QUANTITIES

Names = tuple[str, ...]
SHARED: Sequence[Names] = (("ambient",), ("rain", "rain-total"))


def lent_to(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    own: Sequence[Span],
    as_of_s: int,
    *,
    numbers: Mapping[str, int] | None = None,
    received_by_s: int | None = None,
) -> list[Span]:
    """List the stays of other hives' devices that lend a hive what its own do not measure.

    Parameters
    ----------
    own : sequence of Span
        The stays of its own devices; a hive without any borrows nothing.
    as_of_s : int
        Nothing measured later counts. [s]
    numbers : Mapping or None
        Number of each device, where that is known; else it is read.
    received_by_s : int or None
        Nothing received later counts; None for all there is. [s]

    Returns
    -------
    list[Span]
        By quantity and start; `lends` names what they lend.
    """
    yard = apiary.hive[hive_id].yard
    near = [one for one in apiary.stood_in(yard) if one.hive != hive_id and one.from_s <= as_of_s]
    if not own or not near:
        return []
    measured = _measured(connection, [one.number for one in own], SHARED, as_of_s, received_by_s)
    missing = [names for names in SHARED if not any(names in one for one in measured.values())]
    if not missing:
        return []
    if numbers is None:
        numbers = apiary_rows.numbers(connection, {one.device for one in near})
    asked = [numbers[one.device] for one in near if one.device in numbers]
    measured = _measured(connection, asked, missing, as_of_s, received_by_s)
    spans = [
        span_of(one.device, number, one.from_s, one.until_s, as_of_s)
        for one in near
        if (number := numbers.get(one.device)) in measured and number is not None
    ]
    return [
        span
        for names in missing
        for span in _in_turn([one for one in spans if names in measured[one.number]], names)
    ]


def _in_turn(spans: Sequence[Span], names: Names) -> Iterator[Span]:
    """Let one device after the other lend what it measures, each once the one before has left."""
    free_ms = 0
    for one in spans:
        if one.until_ms > free_ms:
            yield one._replace(from_ms=max(one.from_ms, free_ms), lends=names)
            free_ms = one.until_ms


def _measured(
    connection: Connection,
    devices: Sequence[int],
    shared: Sequence[Names],
    as_of_s: int,
    received_by_s: int | None,
) -> dict[int, set[Names]]:
    """Say which devices, by their numbers, have measured what, of those that have any of it."""
    query = (
        f"SELECT number FROM device WHERE number IN ({','.join('?' * len(devices))})"  # noqa: S608
        " AND EXISTS (SELECT 1 FROM reading WHERE reading.device = device.number"
        " AND quantity IN ({kinds}) AND time_ms <= ?{received})"
    )
    received = () if received_by_s is None else (received_by_s,)
    measured: dict[int, set[Names]] = {}
    for names in shared:
        kinds = ",".join(str(QUANTITIES[name].number) for name in names)
        asked = query.format(kinds=kinds, received=" AND received_s <= ?" if received else "")
        for (number,) in rows(connection, asked, (*devices, as_of_s * 1000 + 999, *received)):
            measured.setdefault(number, set()).add(names)
    return measured
