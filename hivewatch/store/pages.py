"""Readings of one device page by page, by time: for whatever takes the whole history out."""

from __future__ import annotations

from collections.abc import Collection
from functools import cache
from typing import cast

from sqlalchemy import Connection

from hivewatch.wire.quantities import BY_NUMBER

END_MS = 1 << 62  # later than any reading


def read_page(
    connection: Connection,
    device: int,
    from_ms: int,
    limit: int,
    *,
    until_ms: int = END_MS,
    quantities: Collection[int] = tuple(BY_NUMBER),
) -> tuple[list[tuple[int, int, float]], int | None]:
    """Read the next readings of a device.

    Parameters
    ----------
    device : int
        Its number.
    from_ms, until_ms : int
        Unix time, UTC: from included, until excluded. [ms]
    limit : int
        How many at most; several times the number of quantities, so that a page gets on.
    quantities : collection of int
        Their numbers.

    Returns
    -------
    list of (time_ms, quantity, value)
        By time, each moment whole.
    int or None
        Where the next page starts; None when this was the last. [ms]
    """
    asked = {"device": device, "from_ms": from_ms, "until_ms": until_ms, "limit": limit}
    rows, next_ms = _read(connection, "time_ms, quantity, value", tuple(sorted(quantities)), asked)
    return cast("list[tuple[int, int, float]]", rows), next_ms


def read_page_received(
    connection: Connection,
    device: int,
    from_ms: int,
    limit: int,
    *,
    until_ms: int = END_MS,
    quantities: Collection[int] = tuple(BY_NUMBER),
) -> tuple[list[tuple[int, int, float, int]], int | None]:
    """Read the next readings of a device as `read_page` does, each with when it came, in s."""
    asked = {"device": device, "from_ms": from_ms, "until_ms": until_ms, "limit": limit}
    columns = "time_ms, quantity, value, received_s"
    rows, next_ms = _read(connection, columns, tuple(sorted(quantities)), asked)
    return cast("list[tuple[int, int, float, int]]", rows), next_ms


def _read(
    connection: Connection, columns: str, quantities: tuple[int, ...], asked: dict[str, int]
) -> tuple[list[tuple[float, ...]], int | None]:
    """Read one page; the last moment of a full one is left to the next, which has it whole."""
    query = _query(columns, quantities)
    rows = [tuple(row) for row in connection.exec_driver_sql(query, asked)]
    if len(rows) < asked["limit"]:
        return rows, None
    next_ms = rows[-1][0]
    while rows[-1][0] == next_ms:
        rows.pop()
    return rows, next_ms


@cache
def _query(columns: str, quantities: tuple[int, ...]) -> str:
    """Read one run of the key a quantity; SQLite merges the runs as they come, nothing is sorted.

    Only names of columns and whole numbers of the table of quantities stand in the text.
    """
    runs = (
        f"SELECT {columns} FROM reading WHERE device = :device"  # noqa: S608
        f" AND quantity = {int(one)} AND time_ms >= :from_ms AND time_ms < :until_ms"
        for one in quantities
    )
    return " UNION ALL ".join(runs) + " ORDER BY time_ms, quantity LIMIT :limit"
