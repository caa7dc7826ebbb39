"""Yards, hives, devices and their placements in the store."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, Table, delete, false, func, insert, select, update

from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.store import stale
from hivewatch.store.schema import device, hive, placement, yard

_PLACEMENTS = (
    select(device.c.id, placement.c.hive, placement.c.since_s)
    .join_from(placement, device)
    .order_by(device.c.id, placement.c.since_s)
)
_YARDS = select(yard).order_by(yard.c.id)
_HIVES = select(hive).order_by(hive.c.id)


class DeviceRow(NamedTuple):
    """A device, where it stands now, and when it was last heard."""

    id: str
    number: int
    heard_s: int | None
    status: str | None
    status_s: int | None
    hive: str | None
    since_s: int | None


def read(connection: Connection, devices: Collection[str] | None = None) -> Apiary:
    """Read the whole apiary; where `devices` are named, no stays but theirs."""
    stays = _PLACEMENTS if devices is None else _PLACEMENTS.where(device.c.id.in_(devices))
    return _read(connection, _YARDS, _HIVES, stays)


def read_around(connection: Connection, hive_id: str) -> Apiary:
    """Read one hive, its yard, and all stays of the devices that ever stood at it."""
    there = select(placement.c.device).where(placement.c.hive == hive_id)
    home = select(hive.c.yard).where(hive.c.id == hive_id)
    return _read(
        connection,
        _YARDS.where(yard.c.id.in_(home)),
        _HIVES.where(hive.c.id == hive_id),
        _PLACEMENTS.where(placement.c.device.in_(there)),
    )


def read_device(connection: Connection, device_id: str) -> Apiary:
    """Read where one device stood and stands, and nothing else."""
    none = _YARDS.where(false()), _HIVES.where(false())
    return _read(connection, *none, _PLACEMENTS.where(device.c.id == device_id))


def known_hives(connection: Connection, names: Collection[str]) -> set[str]:
    """Give those of the names that are hives'."""
    return set(connection.execute(select(hive.c.id).where(hive.c.id.in_(names))).scalars())


def _read(
    connection: Connection, yards: Select[Any], hives: Select[Any], placements: Select[Any]
) -> Apiary:
    """Put together what three queries give."""
    return Apiary(
        yards=tuple(Yard(*row) for row in connection.execute(yards).all()),
        hives=tuple(Hive(*row) for row in connection.execute(hives).all()),
        placements=tuple(Placement(*row) for row in connection.execute(placements).all()),
    )


def load(connection: Connection, given: Apiary) -> list[str]:
    """Bring the store to what a file says; what the file does not name stays.

    For each device in the file, the file's placements replace those in the store.

    Returns
    -------
    list[str]
        What changed, a line each; empty when nothing did.
    """
    before = _before(connection, given)
    said = _load_rows(connection, yard, "yard", before.yards, given.yards)
    hives = _load_rows(connection, hive, "hive", before.hives, given.hives)
    yards = {line.split()[1].rstrip(":") for line in said}  # where the sun stands is theirs
    touched = {one.id for one in [*before.hives, *given.hives] if one.yard in yards}
    touched |= {line.split()[1].rstrip(":") for line in hives}
    said += hives
    old, new = _by_device(before.placements), _by_device(given.placements)
    for name, places in new.items():
        if places == old.get(name, []):
            continue
        number = number_of(connection, name)
        connection.execute(delete(placement).where(placement.c.device == number))
        connection.execute(
            insert(placement),
            [{"device": number, "since_s": one.since_s, "hive": one.hive} for one in places],
        )
        touched |= {one.hive for one in [*places, *old.get(name, [])] if one.hive}
        said.append(f"device {name}: placed at {places[-1].hive or 'no hive'}")
    stale.mark(connection, [(f"hive:{one}", 0) for one in sorted(touched)])
    return said


def _before(connection: Connection, given: Apiary) -> Apiary:
    """Read what the store has of what is given: the whole, or all that there is of one device."""
    names = {one.device for one in given.placements}
    if len(names) == 1 and not given.yards and not given.hives:
        return read_device(connection, names.pop())
    return read(connection)


def _load_rows(
    connection: Connection,
    table: Table,
    what: str,
    before: Iterable[Yard | Hive],
    given: Iterable[Yard | Hive],
) -> list[str]:
    """Insert or update the rows of one table; say which changed."""
    old = {one.id: one for one in before}
    said = []
    for one in given:
        if old.get(one.id) == one:
            continue
        values: dict[str, Any] = {name: getattr(one, name) for name in table.c.keys()}  # noqa: SIM118
        if one.id in old:
            connection.execute(update(table).where(table.c.id == one.id).values(values))
        else:
            connection.execute(insert(table).values(values))
        said.append(f"{what} {one.id}: {'changed' if one.id in old else 'new'}")
    return said


def _by_device(placements: Iterable[Placement]) -> dict[str, list[Placement]]:
    by_device: dict[str, list[Placement]] = defaultdict(list)
    for one in sorted(placements, key=lambda place: place.since_s):
        by_device[one.device].append(one)
    return by_device


def number_of(connection: Connection, device_id: str) -> int:
    """Give a device's number; a new device gets one."""
    query = select(device.c.number).where(device.c.id == device_id)
    number = connection.execute(query).scalar()
    if number is None:
        connection.execute(insert(device).values(id=device_id))
        number = connection.execute(query).scalar_one()
    return int(number)


def numbers(connection: Connection, names: Collection[str] | None = None) -> dict[str, int]:
    """Give the number of every device, or of those named."""
    query = select(device.c.id, device.c.number)
    if names is not None:
        query = query.where(device.c.id.in_(names))
    return {row.id: row.number for row in connection.execute(query)}


_ITS = placement.alias("its")
_LATEST = placement.c.since_s == (
    select(func.max(_ITS.c.since_s))
    .where(_ITS.c.device == device.c.number)
    .correlate(device)
    .scalar_subquery()
)


def devices(
    connection: Connection,
    *,
    unplaced: bool = False,
    after: str | None = None,
    limit: int | None = None,
) -> list[DeviceRow]:
    """List the devices by their id with their latest placement; `unplaced`: those without one."""
    query = (
        select(
            device.c.id,
            device.c.number,
            device.c.heard_s,
            device.c.status,
            device.c.status_s,
            placement.c.hive,
            placement.c.since_s,
        )
        .join_from(
            device, placement, (placement.c.device == device.c.number) & _LATEST, isouter=True
        )
        .order_by(device.c.id)
        .limit(limit)
    )
    if unplaced:
        query = query.where(placement.c.hive.is_(None))
    if after is not None:
        query = query.where(device.c.id > after)
    return [DeviceRow(*row) for row in connection.execute(query)]


def heard_hives(connection: Connection) -> dict[str, int]:
    """Say when each hive was last heard, by the devices that stand at it. [s]."""
    query = (
        select(placement.c.hive, func.max(device.c.heard_s))
        .join_from(placement, device, (placement.c.device == device.c.number) & _LATEST)
        .where(placement.c.hive.is_not(None), device.c.heard_s.is_not(None))
        .group_by(placement.c.hive)
    )
    return {row[0]: row[1] for row in connection.execute(query)}


def heard(connection: Connection, devices_heard: Mapping[int, int]) -> set[int]:
    """Note when devices were last heard: number -> Unix time in s; gives those heard since."""
    if not devices_heard:
        return set()
    query = select(device.c.number, device.c.heard_s).where(device.c.number.in_(devices_heard))
    before = {row.number: row.heard_s or 0 for row in connection.execute(query)}
    later = {number for number, at_s in devices_heard.items() if at_s < before[number]}
    rows = [(at_s, number) for number, at_s in devices_heard.items() if number not in later]
    if rows:
        connection.exec_driver_sql("UPDATE device SET heard_s = ? WHERE number = ?", rows)
    return later


def stood(connection: Connection, device_number: int, until_s: int) -> list[tuple[str, str]]:
    """Name the hives that a device stood at by a time, each with its yard."""
    query = (
        select(hive.c.id, hive.c.yard)
        .join(placement, placement.c.hive == hive.c.id)
        .where(placement.c.device == device_number, placement.c.since_s <= until_s)
    )
    return [(row.id, row.yard) for row in connection.execute(query.distinct())]


def note_status(connection: Connection, device_id: str, status: str, at_s: int) -> None:
    """Note what the broker keeps about a device: online or offline."""
    number = number_of(connection, device_id)
    connection.execute(
        update(device).where(device.c.number == number).values(status=status, status_s=at_s)
    )
