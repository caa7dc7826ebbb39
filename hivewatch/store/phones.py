"""Phones that asked to ring: their subscriptions, and how each was reached last.

A subscription holds for this server's key and its pages' address alone: it is no part of an export.
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass, field

from sqlalchemy import Connection, delete, select, update
from sqlalchemy.dialects.sqlite import insert

from hivewatch.store.schema import phone

PHONES_MAX = 20  # own choice: more than a bee club's committee carries
ERROR_CHARS_MAX = 500  # own choice


@dataclass(frozen=True, slots=True)
class Phone:
    """One browser that asked to ring; whoever has its secrets can ring it."""

    name: str
    endpoint: str = field(repr=False)
    p256dh: str = field(repr=False)
    auth: str = field(repr=False)
    label: str
    since_s: int
    heard_s: int | None = None
    error: str | None = None
    error_s: int | None = None
    ended_s: int | None = None


def name_of(endpoint: str) -> str:
    """Name a phone after its endpoint; nobody can tell the endpoint from it."""
    return f"phone-{hashlib.sha256(endpoint.encode()).hexdigest()[:12]}"


def read(connection: Connection) -> list[Phone]:
    """Read all phones, those that ring no more too, in the order in which they asked."""
    query = select(phone).order_by(phone.c.since_s, phone.c.name)
    return [Phone(**row._mapping) for row in connection.execute(query)]  # noqa: SLF001 - its API


def by_name(connection: Connection, name: str) -> Phone | None:
    """Read one."""
    return next((one for one in read(connection) if one.name == name), None)


def keep(connection: Connection, one: Phone) -> bool:
    """Keep a phone; one that is known already stays as old as it is. False: there are too many."""
    others = [other for other in read(connection) if other.name != one.name]
    if len(others) >= PHONES_MAX:
        gone = [other.name for other in others if other.ended_s is not None]
        if not gone:
            return False
        connection.execute(delete(phone).where(phone.c.name.in_(gone)))
    fresh = {"error": None, "error_s": None, "ended_s": None}
    told = {name: getattr(one, name) for name in ("endpoint", "p256dh", "auth", "label")}
    query = insert(phone).values(**asdict(one))
    connection.execute(query.on_conflict_do_update(index_elements=["name"], set_=told | fresh))
    return True


def remove(connection: Connection, name: str) -> bool:
    """Forget a phone; False: there is none of that name."""
    return connection.execute(delete(phone).where(phone.c.name == name)).rowcount > 0


def heard(connection: Connection, name: str, now_s: int) -> None:
    """Note that its push service took a message."""
    _change(connection, name, heard_s=now_s, error=None, error_s=None)


def failed(connection: Connection, name: str, now_s: int, why: str, *, is_gone: bool) -> None:
    """Note why it was not reached; one that is gone loses its secrets and rings no more."""
    _change(connection, name, error=why[:ERROR_CHARS_MAX], error_s=now_s)
    if is_gone:
        _change(connection, name, ended_s=now_s, endpoint="", p256dh="", auth="")


def _change(connection: Connection, name: str, **values: object) -> None:
    connection.execute(update(phone).where(phone.c.name == name).values(**values))
