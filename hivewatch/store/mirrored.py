"""How far the mirror has come: what of each device is still to be sent, and whither.

Intake marks `mirror:DEVICE` as it stores. The mirror takes the marks over into its cursors, which
it moves on page by page; so what is new while it sends is never taken for sent. Rows of `cursor`:

    mirror            findings changed up to then are sent (Unix s)
    mirror-target     which server, organisation and bucket the others speak of
    mirror-from-N     readings of device number N are still to be sent from then on (Unix ms)
    mirror-places-N   where device N stood when its readings were sent
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import NamedTuple

from sqlalchemy import Connection, delete, select
from sqlalchemy.dialects.sqlite import insert

from hivewatch.apiary import Apiary
from hivewatch.store import apiary as apiary_rows
from hivewatch.store import stale
from hivewatch.store.schema import cursor
from hivewatch.store.schema import stale as stale_table

MARK = "mirror:"  # before a device's name in the table of what has changed
FINDINGS, TARGET, FROM, PLACES = "mirror", "mirror-target", "mirror-from-", "mirror-places-"


class Place(NamedTuple):
    """From `since_s` on a device stood at a hive of a yard, or at none."""

    since_s: int
    hive: str | None
    yard: str | None


class Waiting(NamedTuple):
    """A device with readings to send from a time on."""

    device: str
    number: int
    from_ms: int


def places(apiary: Apiary) -> dict[str, list[Place]]:
    """Say of each device where it stood from when on, by time."""
    yard_of = {one.id: one.yard for one in apiary.hives}
    stood: dict[str, list[Place]] = {}
    for one in sorted(apiary.placements, key=lambda placement: placement.since_s):
        yard = yard_of[one.hive] if one.hive is not None else None
        stood.setdefault(one.device, []).append(Place(one.since_s, one.hive, yard))
    return stood


def marks(connection: Connection) -> list[stale.Mark]:
    """Give what intake has marked."""
    return [one for one in stale.read(connection) if one.subject.startswith(MARK)]


def moved(connection: Connection, target: str) -> dict[int, int]:
    """Find the devices to be sent from their first reading on, by number: where they stand.

    That is who was never sent, or stands elsewhere than it was sent; all, when the target is new.
    """
    known = _cursors(connection, PLACES)
    is_new = _cursors(connection, TARGET).get("") != _digest(target)
    stood = places(apiary_rows.read(connection))
    found = {}
    for name, number in apiary_rows.numbers(connection).items():
        digest = _digest(repr(stood.get(name, [])))
        if is_new or known.get(str(number)) != digest:
            found[number] = digest
    return found


def take_over(connection: Connection, target: str) -> None:
    """Turn marks into cursors, in the caller's transaction."""
    if _cursors(connection, TARGET).get("") != _digest(target):
        connection.execute(delete(cursor).where(cursor.c.name.startswith(FINDINGS)))
        put(connection, TARGET, _digest(target))
    numbers = apiary_rows.numbers(connection)
    anew, marked = moved(connection, target), marks(connection)
    from_ms = {
        numbers[name]: one.from_ms
        for one in marked
        if (name := one.subject.removeprefix(MARK)) in numbers
    } | dict.fromkeys(anew, 0)
    for number, new_ms in from_ms.items():
        query = insert(cursor).values(name=f"{FROM}{number}", value=new_ms)
        connection.execute(
            query.on_conflict_do_update(
                index_elements=["name"],
                set_={"value": query.excluded.value},
                where=query.excluded.value < cursor.c.value,
            )
        )
    for number, digest in anew.items():
        put(connection, f"{PLACES}{number}", digest)
    stale.clear(connection, marked)


def waiting(connection: Connection) -> list[Waiting]:
    """List the devices with something to send."""
    known = _cursors(connection, FROM)
    if not known:
        return []
    return [
        Waiting(name, number, known[str(number)])
        for name, number in apiary_rows.numbers(connection).items()
        if str(number) in known
    ]


def advance(connection: Connection, moved: Mapping[int, int | None]) -> None:
    """Note what was sent: device number -> where the rest starts, or None when there is none."""
    for number, from_ms in moved.items():
        if from_ms is None:
            connection.execute(delete(cursor).where(cursor.c.name == f"{FROM}{number}"))
        else:
            put(connection, f"{FROM}{number}", from_ms)


def findings_s(connection: Connection) -> int:
    """Give the time up to which changed findings are sent; 0 for none."""
    query = select(cursor.c.value).where(cursor.c.name == FINDINGS)
    return int(connection.execute(query).scalar() or 0)


def put(connection: Connection, name: str, value: int) -> None:
    """Set a cursor."""
    query = insert(cursor).values(name=name, value=value)
    connection.execute(query.on_conflict_do_update(index_elements=["name"], set_={"value": value}))


def forget(connection: Connection) -> None:
    """Note that there is no mirror: one that comes later is sent everything."""
    connection.execute(delete(cursor).where(cursor.c.name.startswith(FINDINGS)))
    connection.execute(delete(stale_table).where(stale_table.c.subject.startswith(MARK)))


def _cursors(connection: Connection, start: str) -> dict[str, int]:
    """Read the cursors whose name starts so, by the rest of their name."""
    query = select(cursor.c.name, cursor.c.value).where(cursor.c.name.startswith(start))
    return {row.name.removeprefix(start): row.value for row in connection.execute(query)}


def _digest(what: str) -> int:
    """Shorten a text to a number that fits a column."""
    return int.from_bytes(hashlib.blake2b(what.encode(), digest_size=7).digest(), "big")
