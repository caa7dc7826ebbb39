"""What was written since a number: findings, alerts and inspections, in the order of their writing.

The rows are written by triggers, in the transaction that writes the thing itself, so that none is
missed, whichever process wrote it. Of readings only those are news by a row that came out of a file
or of quarantine, and are older than what was heard: of all others, the time of hearing tells.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import Connection, delete, func, insert, select

from hivewatch.store.schema import news


class News(NamedTuple):
    """Something that was written."""

    id: int
    what: str
    about: str
    hive: str | None
    yard: str | None


def since(connection: Connection, after: int, limit: int) -> list[News]:
    """Read what was written after a number, the first first."""
    c = news.c
    query = select(c.id, c.what, c.about, c.hive, c.yard).where(c.id > after)
    return [News(*row) for row in connection.execute(query.order_by(c.id).limit(limit))]


def span(connection: Connection) -> tuple[int, int]:
    """Give the first number that is kept and the last one; (1, 0) when there are none."""
    low, high = connection.execute(select(func.min(news.c.id), func.max(news.c.id))).one()
    return (1, 0) if high is None else (int(low), int(high))


def last(connection: Connection) -> int:
    """Give the last number; 0 when there is none."""
    return int(connection.execute(select(func.max(news.c.id))).scalar() or 0)


def tell_readings(connection: Connection, hives: Iterable[tuple[str, str]]) -> None:
    """Note that old readings of hives came, each with its yard; once for each, as the last."""
    for hive, yard in hives:
        connection.execute(delete(news).where(news.c.what == "readings", news.c.about == hive))
        told = {"what": "readings", "about": hive, "hive": hive, "yard": yard}
        connection.execute(insert(news).values(told))
