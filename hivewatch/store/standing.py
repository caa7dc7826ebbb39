"""How hives stand now: their last readings, their devices, what their weight did.

A query a kind of thing, however many hives are asked for.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, func, select, text

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
    low = f"max(place.since_ms, place.last_ms - {ago_ms + SLACK_S * 1000})"
    between = f"BETWEEN {low} AND place.last_ms - {ago_ms}"
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
), found AS MATERIALIZED (
  SELECT place.*, (SELECT max(time_ms) {_OF_PLACE} BETWEEN place.since_ms AND :now_s * 1000 + 999)
    AS last_ms FROM asked AS place
)
SELECT hive, quantity, last_ms, (SELECT value {_OF_PLACE} = place.last_ms),
  {_before(1)}, {_before(7)}
FROM found AS place WHERE last_ms IS NOT NULL ORDER BY since_ms
"""  # noqa: S608 - our own numbers


@dataclass(frozen=True, slots=True)
class Last:
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
    asked = {"now_s": now_s, "hives": json.dumps(hives)}
    for row in connection.execute(text(_QUERY), asked):
        of_hive = found.setdefault(row[0], {})
        of_hive[BY_NUMBER[row[1]].name] = Last(row[2] // 1000, *row[3:])
    return found


@dataclass(frozen=True, slots=True)
class Kit:
    """What stands at a hive now, since when anything has, and when any of it was last heard."""

    devices: tuple[str, ...]
    since_s: int | None
    heard_s: int | None


NO_KIT = Kit((), None, None)

_KIT = """
SELECT one.hive, device.id, device.heard_s, one.since_s, NOT EXISTS (
  SELECT 1 FROM placement WHERE device = one.device
    AND since_s > one.since_s AND since_s <= :now_s)
FROM placement AS one JOIN device ON device.number = one.device
WHERE one.hive IN (SELECT value FROM json_each(:hives)) AND one.since_s <= :now_s
ORDER BY device.id
"""


def kit(connection: Connection, now_s: int, hives: Sequence[str]) -> dict[str, Kit]:
    """Read which devices stand at these hives; a hive that never had one is absent."""
    asked = {"now_s": now_s, "hives": json.dumps(hives)}
    standing: defaultdict[str, list[tuple[str, int | None]]] = defaultdict(list)
    first: dict[str, int] = {}
    for hive, device, heard_s, since_s, is_last in connection.execute(text(_KIT), asked):
        first[hive] = min(since_s, first.get(hive, since_s))
        if is_last:
            standing[hive].append((device, heard_s))
    found = {}
    for hive, since_s in first.items():
        heard = [heard_s for _, heard_s in standing[hive] if heard_s is not None]
        names = tuple(device for device, _ in standing[hive])
        found[hive] = Kit(names, since_s, max(heard, default=None))
    return found


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
