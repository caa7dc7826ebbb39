"""Air and rain are the whole yard's: a hive that measures none takes them from a device nearby.

Of the devices at the other hives of its yard that measure what is missing, the one placed first
lends it for as long as it stands there, and after it the next; so that a new device changes nothing
of what is known already.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sqlalchemy import Connection

from hivewatch.apiary import Apiary, Stood
from hivewatch.store import apiary as apiary_rows
from hivewatch.store.stays import Span
from hivewatch.wire.quantities import QUANTITIES

SHARED = (("ambient",), ("rain", "rain-total"))


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
    near = [
        one
        for one in apiary.stood_in(apiary.hive[hive_id].yard)
        if one.hive != hive_id and one.from_s <= as_of_s
    ]
    if not own or not near:
        return []
    if numbers is None:
        numbers = apiary_rows.numbers(connection, {one.device for one in near})
    spans = [
        Span(one.device, numbers[one.device], one.from_s * 1000, *_end(one, as_of_s))
        for one in near
        if one.device in numbers
    ]
    asked = {one.number for one in (*own, *spans)}
    lent: list[Span] = []
    for names in SHARED:
        measure = _measure(connection, asked, names, as_of_s, received_by_s)
        if not any(one.number in measure for one in own):
            lent += _in_turn([one for one in spans if one.number in measure], names)
    return lent


def _end(stood: Stood, as_of_s: int) -> tuple[int, bool]:
    """Say until when a device stood there, and whether it left. [ms]."""
    if stood.until_s is not None and stood.until_s <= as_of_s:
        return stood.until_s * 1000, True
    return as_of_s * 1000 + 1000, False


def _in_turn(spans: Sequence[Span], names: tuple[str, ...]) -> Iterator[Span]:
    """Let one device after the other lend what it measures, each once the one before has left."""
    free_ms = 0
    for one in spans:
        if one.until_ms > free_ms:
            yield one._replace(from_ms=max(one.from_ms, free_ms), lends=names)
            free_ms = one.until_ms


def _measure(
    connection: Connection,
    devices: set[int],
    names: tuple[str, ...],
    as_of_s: int,
    received_by_s: int | None,
) -> set[int]:
    """Say which devices, by their numbers, have measured something."""
    kinds = [QUANTITIES[name].number for name in names]
    query = (
        f"SELECT number FROM device WHERE number IN ({','.join('?' * len(devices))})"  # noqa: S608
        " AND EXISTS (SELECT 1 FROM reading WHERE reading.device = device.number"
        f" AND quantity IN ({','.join('?' * len(kinds))}) AND time_ms <= ?"
    )
    values = (*devices, *kinds, as_of_s * 1000 + 999)
    if received_by_s is not None:
        query += " AND received_s <= ?"
        values += (received_by_s,)
    return set(connection.exec_driver_sql(query + ")", values).scalars())
