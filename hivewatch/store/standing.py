"""How every hive stands now: its last readings and what its weight did, in one query."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, text

from hivewatch.wire.quantities import BY_NUMBER, QUANTITIES

DAY_S = 86_400
SLACK_S = 3 * 3600  # [s] own choice: how much older the earlier weight may be; loggers send hourly

_SHOWN = tuple(QUANTITIES[name].number for name in ("weight", "nest"))
_NEWEST = (
    "SELECT max(time_ms) FROM reading WHERE device = {place}.device AND quantity = {place}.quantity"
    " AND time_ms BETWEEN {low} AND {high}"
)
_VALUE = (
    "SELECT value FROM reading WHERE device = found.device AND quantity = found.quantity"
    " AND time_ms = found.{at}"
)


def _before(days: int) -> str:
    """Find a weight so many days before the last one, not from before the device stood there."""
    ago_ms = days * DAY_S * 1000
    low = f"max(last.since_ms, last.last_ms - {ago_ms + SLACK_S * 1000})"
    newest = _NEWEST.format(place="last", low=low, high=f"last.last_ms - {ago_ms}")
    return f"CASE WHEN last.quantity = {_SHOWN[0]} THEN ({newest}) END"


_QUERY = f"""
WITH place AS (
  SELECT one.device, one.hive, one.since_s * 1000 AS since_ms FROM placement AS one
  WHERE one.hive IS NOT NULL AND one.since_s = (
    SELECT max(since_s) FROM placement WHERE device = one.device AND since_s <= :now_s)
    AND (:hive IS NULL OR one.hive = :hive)
), each AS (
  SELECT place.*, shown.quantity FROM place
  CROSS JOIN (SELECT {_SHOWN[0]} AS quantity UNION ALL SELECT {_SHOWN[1]}) AS shown
), last AS MATERIALIZED (
  SELECT each.*, ({_NEWEST.format(place="each", low="each.since_ms", high=":now_s * 1000 + 999")})
    AS last_ms FROM each
), found AS MATERIALIZED (
  SELECT last.*, {_before(1)} AS day_ms, {_before(7)} AS week_ms FROM last
  WHERE last_ms IS NOT NULL
)
SELECT hive, quantity, since_ms, last_ms, ({_VALUE.format(at="last_ms")}),
  ({_VALUE.format(at="day_ms")}), ({_VALUE.format(at="week_ms")})
FROM found ORDER BY since_ms
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


def read(connection: Connection, now_s: int, hive: str | None = None) -> dict[str, dict[str, Last]]:
    """Read the last weight and nest temperature of every hive, or of one.

    Of two devices that report the same quantity, the one placed last speaks.

    Returns
    -------
    dict
        By hive, then by quantity; what was never reported is absent.
    """
    found: dict[str, dict[str, Last]] = {}
    for row in connection.execute(text(_QUERY), {"now_s": now_s, "hive": hive}):
        of_hive = found.setdefault(row[0], {})
        of_hive[BY_NUMBER[row[1]].name] = Last(row[3] // 1000, *row[4:])
    return found
