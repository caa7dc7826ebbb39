"""How hives stand now: their last readings, their devices, what their weight did.

A query a kind of thing, however many hives are asked for.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from operator import itemgetter
from typing import Any, NamedTuple

from sqlalchemy import Connection, func, select

from hivewatch.apiary import Hive, Yard
from hivewatch.store.schema import hive as hive_table
from hivewatch.store.schema import yard as yard_table
from hivewatch.wire.quantities import BY_NUMBER, QUANTITIES

DAY_S = 86_400
SLACK_S = 3 * 3600  # [s] own choice: how much older the earlier weight may be; loggers send hourly

_SHOWN = tuple(QUANTITIES[name].number for name in ("weight", "nest"))
_OF_PLACE = "FROM reading WHERE device = place.device AND quantity = place.quantity AND time_ms"


def _before(days: int) -> str:
    """Find the weight of so many days before the last one, since the device stood there."""
    ago_ms = days * DAY_S * 1000
    low = f"max(place.since_ms, last.time_ms - {ago_ms + SLACK_S * 1000})"
    between = f"BETWEEN {low} AND last.time_ms - {ago_ms}"
    newest = f"SELECT value {_OF_PLACE} {between} ORDER BY time_ms DESC LIMIT 1"
    return f"CASE WHEN place.quantity = {_SHOWN[0]} THEN ({newest}) END"


_QUERY = f"""
WITH stay AS (
  SELECT one.device, one.hive, one.since_s * 1000 AS since_ms FROM placement AS one
  WHERE one.hive IS NOT NULL AND one.since_s = (
    SELECT max(since_s) FROM placement WHERE device = one.device AND since_s <= :now_s)
    AND one.hive IN (SELECT value FROM json_each(:hives))
), asked AS (
  SELECT stay.*, shown.quantity FROM stay
  CROSS JOIN (SELECT {_SHOWN[0]} AS quantity UNION ALL SELECT {_SHOWN[1]}) AS shown
)
SELECT place.since_ms, hive, place.quantity, last.time_ms, last.value, {_before(1)}, {_before(7)}
FROM asked AS place CROSS JOIN reading AS last ON last.device = place.device
  AND last.quantity = place.quantity AND last.time_ms = (
    SELECT max(time_ms) {_OF_PLACE} BETWEEN place.since_ms AND :now_s * 1000 + 999)
"""  # noqa: S608 - our own numbers


class Last(NamedTuple):
    """A hive's last reading of one quantity; for weight also what it was before.

    `day_before` and `week_before` are None where the same device has no weight from then.
    """

    time_s: int
    value: float
    day_before: float | None
    week_before: float | None


def read(connection: Connection, now_s: int, hives: Sequence[str]) -> dict[str, dict[str, Last]]:
    """Read the last weight and nest temperature of these hives.

    Of two devices that report the same quantity, the one placed last speaks.

    Returns
    -------
    dict
        By hive, then by quantity; what was never reported is absent.
    """
    found: dict[str, dict[str, Last]] = {}
    rows = sorted(_rows(connection, _QUERY, now_s, hives), key=itemgetter(0))
    for _, hive, quantity, time_ms, value, day_before, week_before in rows:
        last = Last(time_ms // 1000, value, day_before, week_before)
        found.setdefault(hive, {})[BY_NUMBER[quantity].name] = last
    return found


class Kit(NamedTuple):
    """What stands at a hive now, since when anything has, and when any of it was last heard."""

    devices: tuple[str, ...]
    since_s: int | None
    heard_s: int | None


NO_KIT = Kit((), None, None)

_KIT = """
SELECT hive, group_concat(CASE WHEN is_last THEN id END), min(since_s),
  max(CASE WHEN is_last THEN heard_s END)
FROM (
  SELECT one.hive, device.id, device.heard_s, one.since_s, NOT EXISTS (
    SELECT 1 FROM placement WHERE device = one.device
      AND since_s > one.since_s AND since_s <= :now_s) AS is_last
  FROM placement AS one JOIN device ON device.number = one.device
  WHERE one.hive IN (SELECT value FROM json_each(:hives)) AND one.since_s <= :now_s
)
GROUP BY hive
"""


def kit(connection: Connection, now_s: int, hives: Sequence[str]) -> dict[str, Kit]:
    """Read which devices stand at these hives; a hive that never had one is absent."""
    return {
        hive: Kit(tuple(sorted(names.split(","))) if names else (), since_s, heard_s)
        for hive, names, since_s, heard_s in _rows(connection, _KIT, now_s, hives)
    }


_GIVEN = """
SELECT last.hive, last.at_s FROM json_each(:hives) AS one JOIN inspection AS last ON last.id = (
  SELECT id FROM inspection WHERE hive = one.value AND at_s <= :now_s AND withdrawn = 0
    AND NOT instr(body, '"opened":false') ORDER BY at_s DESC, id DESC LIMIT 1)
WHERE instr(last.body, '"what":"given away"')
"""  # of the last visit; the quotation marks of a note are escaped in its body


def given_away(connection: Connection, now_s: int, hives: Sequence[str]) -> dict[str, int]:
    """Read which of these hives were given away or sold, and when [s].

    A visit that somebody wrote down since says that there is a colony again.
    """
    return dict(_rows(connection, _GIVEN, now_s, hives))


def _rows(
    connection: Connection, query: str, now_s: int, hives: Sequence[str]
) -> list[tuple[Any, ...]]:
    """Read the rows of many hives as plain tuples."""
    cursor = connection.exec_driver_sql(query, {"now_s": now_s, "hives": json.dumps(hives)}).cursor
    return [] if cursor is None else list(cursor.fetchall())


def hives(
    connection: Connection,
    *,
    only: str | None = None,
    yard: str | None = None,
    after: str | None = None,
    limit: int | None = None,
) -> list[Hive]:
    """Read hives by their id."""
    query = select(hive_table).order_by(hive_table.c.id).limit(limit)
    for column, wanted in (("id", only), ("yard", yard)):
        if wanted is not None:
            query = query.where(hive_table.c[column] == wanted)
    if after is not None:
        query = query.where(hive_table.c.id > after)
    return [Hive(*row) for row in connection.execute(query)]


def yards(
    connection: Connection, *, after: str | None = None, limit: int | None = None
) -> list[tuple[Yard, int]]:
    """Read yards by their id, each with how many hives it has."""
    counted = select(func.count()).where(hive_table.c.yard == yard_table.c.id)
    query = select(*yard_table.c, counted.scalar_subquery()).order_by(yard_table.c.id).limit(limit)
    if after is not None:
        query = query.where(yard_table.c.id > after)
    return [(Yard(*row[:-1]), row[-1]) for row in connection.execute(query)]


def zone_of(
    connection: Connection, *, hive: str | None = None, yard: str | None = None
) -> str | None:
    """Read the time zone of a yard, or of a hive's yard; None when there is none."""
    query = select(yard_table.c.timezone)
    if hive is not None:
        query = query.join(hive_table).where(hive_table.c.id == hive)
    else:
        query = query.where(yard_table.c.id == yard)
    return connection.execute(query).scalar()
