"""What phones were told of the calendar, so that what vanishes can be struck out there.

It follows from what was read, not from what the store says of the bees: a replay has no need of it,
and a store that an export was taken into has another link, which nobody follows yet.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from datetime import date

from sqlalchemy import Connection, delete, select
from sqlalchemy.dialects.sqlite import insert

from hivewatch.store.schema import appointment
from hivewatch.timeline.agenda import Appointment

_NEW = insert(appointment)
_WRITE = _NEW.on_conflict_do_update(
    index_elements=["name"],
    set_={column.name: _NEW.excluded[column.name] for column in appointment.c},
)


def read(connection: Connection) -> dict[str, Appointment]:
    """Read all that was told, by name."""
    c = appointment.c
    query = select(*(c.name, c.summary, c.text, c.first, c.last, c.stamp_s, c.yard, c.is_cancelled))
    day = date.fromisoformat
    return {
        name: Appointment(name, summary, text, day(first), day(last), stamp_s, yard, bool(over))
        for name, summary, text, first, last, stamp_s, yard, over in connection.execute(query)
    }


def write(connection: Connection, told: Iterable[Appointment], gone: Iterable[str]) -> None:
    """Keep what is told now, and forget what is long past."""
    rows = [
        asdict(one) | {"first": one.first.isoformat(), "last": one.last.isoformat()} for one in told
    ]
    if rows:
        connection.execute(_WRITE, rows)
    connection.execute(delete(appointment).where(appointment.c.name.in_(list(gone))))
