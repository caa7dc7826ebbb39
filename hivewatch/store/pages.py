"""Readings of one device page by page, by time: for whatever takes the whole history out."""

from __future__ import annotations

from collections.abc import Collection
from functools import cache

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
    query = _query(tuple(sorted(quantities)))
    asked = {"device": device, "from_ms": from_ms, "until_ms": until_ms, "limit": limit}
    rows = [tuple(row) for row in connection.exec_driver_sql(query, asked)]
    if len(rows) < limit:
        return rows, None
    next_ms = rows[-1][0]
    while rows[-1][0] == next_ms:
        rows.pop()
    return rows, next_ms


@cache
def _query(quantities: tuple[int, ...]) -> str:
    """Read one run of the key a quantity; SQLite merges the runs as they come, nothing is sorted.

    Only whole numbers of the table of quantities stand in the text.
    """
    runs = (
        f"SELECT time_ms, quantity, value FROM reading WHERE device = :device"  # noqa: S608
        f" AND quantity = {int(one)} AND time_ms >= :from_ms AND time_ms < :until_ms"
        for one in quantities
    )
    return " UNION ALL ".join(runs) + " ORDER BY time_ms, quantity LIMIT :limit"
