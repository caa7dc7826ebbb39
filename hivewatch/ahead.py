"""Three weeks back, three weeks ahead, for one hive of the store."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from hivewatch.apiary import Apiary
from hivewatch.comb.outlook import Outlook, look_ahead
from hivewatch.comb.visits import hive_of, visit_of
from hivewatch.frames import FRAMES
from hivewatch.store import inspections


def outlook_of(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    *,
    recorded_by_s: int | None = None,
) -> Outlook | None:
    """Look three weeks back and ahead from what people counted at a hive.

    Parameters
    ----------
    apiary : Apiary
        With the hive in it.
    as_of_s : int
        The moment; no later visit counts. [s]
    recorded_by_s : int or None
        For a replay: no visit written down later counts. [s]

    Returns
    -------
    Outlook or None
        None when nothing that it could start from was counted in the last sixty days.
    """
    hive = next(one for one in apiary.hives if one.id == hive_id)
    yard = next(one for one in apiary.yards if one.id == hive.yard)
    zone = ZoneInfo(yard.timezone)
    frame = FRAMES[hive.frame]
    visits = [
        visit_of(stored.inspection, frame, zone)
        for stored in inspections.read(connection, hive=hive_id, recorded_by_s=recorded_by_s)
        if stored.at_s <= as_of_s
    ]
    described = hive_of(hive.id, yard.latitude, frame, hive.frames * hive.boxes)
    today = datetime.fromtimestamp(as_of_s, UTC).astimezone(zone).date()
    return look_ahead(described, visits, today)
