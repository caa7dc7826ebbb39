"""Readings: the one hot insert, and one hive's window as arrays."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain
from typing import NamedTuple, cast

import numpy as np
from sqlalchemy import Connection

from hivewatch.signals.window import Ints, Series
from hivewatch.store.open import rows
from hivewatch.wire.quantities import Quantity

Row = tuple[int, int, int, float, int]
"""A reading on its way in: device, quantity, time_ms, value, received_s. A plain tuple: it is made
a hundred thousand times a second."""


class Step(NamedTuple):
    """The readings of one step of time, summed up."""

    time_s: int
    mean: float
    low: float
    high: float
    total: float
    readings: int


SAME_VALUE = 1e-6  # own choice: a value sent again in another encoding differs by less

_STEPS = (
    "SELECT time_ms / ?1 * ?1 / 1000 AS step,"
    " avg(value), min(value), max(value), sum(value), count(*)"
    " FROM reading WHERE quantity = ?2 AND device = ?3 AND time_ms >= ?4 AND time_ms < ?5"
    " GROUP BY step ORDER BY step"
)
_INSERT = (
    "INSERT INTO reading (device, quantity, time_ms, value, received_s) VALUES (?, ?, ?, ?, ?)"
    " ON CONFLICT DO NOTHING"
)


def insert(connection: Connection, rows: Sequence[Row]) -> int:
    """Store readings; what is there already stays as it is.

    Returns
    -------
    int
        How many were new.
    """
    if not rows:
        return 0
    return connection.exec_driver_sql(_INSERT, list(rows)).rowcount


def conflicting(connection: Connection, rows: Sequence[Row]) -> list[int]:
    """Find the readings whose key is stored with another value; gives their places in `rows`.

    Asked only when `insert` found fewer new ones than it was given.
    """
    connection.exec_driver_sql(
        "CREATE TEMP TABLE IF NOT EXISTS given (place, device, quantity, time_ms, value)"
    )
    connection.exec_driver_sql("DELETE FROM given")
    connection.exec_driver_sql(
        "INSERT INTO given VALUES (?, ?, ?, ?, ?)",
        [(place, *row[:4]) for place, row in enumerate(rows)],
    )
    found = connection.exec_driver_sql(
        "SELECT place FROM given JOIN reading USING (device, quantity, time_ms)"
        " WHERE abs(given.value - reading.value) > ? ORDER BY place",
        (SAME_VALUE,),
    )
    return [place for (place,) in found]


def read_series(
    connection: Connection,
    device: int,
    quantity: int,
    from_ms: int,
    to_ms: int,
    received_by_s: int | None = None,
) -> Series:
    """Read one quantity of one device as arrays, by its key alone.

    Parameters
    ----------
    device, quantity : int
        Their numbers.
    from_ms, to_ms : int
        Unix time, UTC: from included, to excluded. [ms]
    received_by_s : int or None
        Only what had been received by then. [s]

    Returns
    -------
    Series
        Of two readings within one second the first counts.
    """
    query = (
        "SELECT time_ms, value FROM reading"
        " WHERE device = ? AND quantity = ? AND time_ms >= ? AND time_ms < ?"
    )
    values: tuple[int, ...] = (device, quantity, from_ms, to_ms)
    if received_by_s is not None:
        query += " AND received_s <= ?"
        values += (received_by_s,)
    rows = connection.exec_driver_sql(query + " ORDER BY time_ms", values)
    cursor = cast("Iterable[tuple[int, float]]", rows.cursor)  # skips a row object each
    cells = chain.from_iterable(cursor)
    pairs = np.fromiter(cells, np.float64).reshape(-1, 2)
    time_s = pairs[:, 0].astype(np.int64) // 1000
    first = np.ones(len(time_s), np.bool_)
    np.not_equal(time_s[1:], time_s[:-1], out=first[1:])
    if first.all():
        return Series(time_s, np.ascontiguousarray(pairs[:, 1]))
    return Series(time_s[first], pairs[first, 1])


def read_new(
    connection: Connection, device: int, quantities: Sequence[int], from_ms: int, to_ms: int
) -> dict[int, dict[int, float]]:
    """Read the few readings that are new of some quantities of one device, at once.

    Parameters
    ----------
    from_ms, to_ms : int
        Unix time, UTC: from included, to excluded. [ms]

    Returns
    -------
    dict[int, dict[int, float]]
        By quantity, those that have any, and time [s]; of two within one second the first counts.
    """
    read = rows(
        connection,
        "SELECT quantity, time_ms / 1000, value FROM reading WHERE device = ? AND quantity IN"  # noqa: S608
        f" ({','.join('?' * len(quantities))}) AND time_ms >= ? AND time_ms < ?"
        " ORDER BY quantity, time_ms",
        (device, *quantities, from_ms, to_ms),
    )
    found: dict[int, dict[int, float]] = {}
    for quantity, time_s, value in read:
        found.setdefault(quantity, {}).setdefault(time_s, value)
    return found


def read_ahead(connection: Connection, device: int, from_ms: int, to_ms: int) -> tuple[Ints, Ints]:
    """Read the readings dated after they were received: their times and by how much, in s."""
    read = rows(
        connection,
        "SELECT time_ms / 1000, max(time_ms / 1000 - received_s) FROM reading"
        " WHERE device = ? AND time_ms >= ? AND time_ms < ?"
        " AND time_ms > received_s * 1000 + 300000 GROUP BY 1 ORDER BY 1",
        (device, from_ms, to_ms),
    )
    pairs = np.array(read, np.int64).reshape(-1, 2)
    return pairs[:, 0], pairs[:, 1]


def read_steps(
    connection: Connection,
    spans: Sequence[tuple[int, int, int]],
    quantity: Quantity,
    step_s: int,
) -> list[Step]:
    """Sum up one quantity by steps of time, in the store.

    Parameters
    ----------
    spans : sequence of (device number, from_ms, to_ms)
        Which device speaks when; they do not overlap.
    quantity : Quantity
        What to read.
    step_s : int
        Length of a step, counted from the Unix epoch. [s]
    """
    steps: list[Step] = []
    for span in spans:
        rows = connection.exec_driver_sql(_STEPS, (step_s * 1000, quantity.number, *span))
        cursor = cast("Iterable[tuple[int, float, float, float, float, int]]", rows.cursor)
        steps += [Step(row[0], *row[1:]) for row in cursor]
    return steps
