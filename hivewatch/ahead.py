"""Three weeks back, three weeks ahead, for one hive of the store."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from hivewatch.apiary import Apiary
from hivewatch.comb.outlook import Hive, Outlook, look_ahead
from hivewatch.comb.sensed import REACH_DAYS, sensed_of
from hivewatch.comb.start import Visit
from hivewatch.comb.visits import hive_of, visit_of
from hivewatch.detect.finding import Finding
from hivewatch.detect.run import detect
from hivewatch.frames import FRAMES
from hivewatch.inspections import Inspection
from hivewatch.settings import Alerts
from hivewatch.signals.days import DAY_S, Days, days_of
from hivewatch.store import findings, inspections, stale
from hivewatch.store.windows import read_part, read_window

TAKEN = ("swarm", "forager_loss")
READ = ("weight", "ambient", "rain", "bees-in", "bees-out")
REACH_S = (REACH_DAYS + 8) * DAY_S  # a day's income rests on the days before it


@dataclass(frozen=True)
class Facts:
    """What an outlook rests on: the hive, what people counted, its days, and what was found.

    All of it as known at a moment, so that a replay says what was said.
    """

    hive: Hive
    zone: ZoneInfo
    today: date
    visits: Sequence[Visit]
    days: Days
    findings: Sequence[Finding]


def outlook_of(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    *,
    recorded_by_s: int | None = None,
) -> Outlook | None:
    """Look three weeks back and ahead, from what people counted and sensors measured since.

    Parameters
    ----------
    apiary : Apiary
        With the hive in it.
    as_of_s : int
        The moment; no later visit or reading counts. [s]
    recorded_by_s : int or None
        For a replay: nothing written down or received later counts. [s]

    Returns
    -------
    Outlook or None
        None when nothing that it could start from was counted in the last sixty days.
    """
    facts = facts_of(connection, apiary, hive_id, as_of_s, recorded_by_s=recorded_by_s)
    return look_from(facts) if facts else None


def facts_of(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    *,
    recorded_by_s: int | None = None,
) -> Facts | None:
    """Gather what an outlook rests on; None where no visit counted anything."""
    hive = next(one for one in apiary.hives if one.id == hive_id)
    yard = next(one for one in apiary.yards if one.id == hive.yard)
    zone = ZoneInfo(yard.timezone)
    frame = FRAMES[hive.frame]
    noted = [
        stored.inspection
        for stored in inspections.read(connection, hive=hive_id, recorded_by_s=recorded_by_s)
        if stored.at_s <= as_of_s
    ]
    visits = [visit_of(one, frame, zone) for one in noted]
    if not any(one.can_start for one in visits):
        return None
    days, found = _sensed(connection, apiary, hive_id, noted, as_of_s, recorded_by_s)
    described = hive_of(hive.id, yard.latitude, frame, hive.frames * hive.boxes)
    today = datetime.fromtimestamp(as_of_s, UTC).astimezone(zone).date()
    return Facts(described, zone, today, visits, days, found)


def _sensed(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    noted: Sequence[Inspection],
    as_of_s: int,
    recorded_by_s: int | None,
) -> tuple[Days, list[Finding]]:
    """Give a hive's days, and which bees left.

    Where the watch has looked at all that is stored of it, what it found is taken; for a replay, or
    where nobody has looked yet, the findings are worked out anew, which says the same.
    """
    own = {f"device:{one.device}" for one in apiary.placements if one.hive == hive_id}
    waiting = {one.subject for one in stale.read(connection)} & (own | {f"hive:{hive_id}"})
    if recorded_by_s is None and not waiting:
        since_s = as_of_s - REACH_S
        window = read_part(connection, apiary, hive_id, dict.fromkeys(READ, since_s), as_of_s)
        found = findings.read(connection, hive=hive_id, since_s=since_s, until_s=as_of_s + 1)
    else:
        window = read_window(connection, apiary, hive_id, as_of_s, recorded_by_s)
        found = detect(window, noted, Alerts(), as_of_s)
    taken = [one for one in found if one.kind in TAKEN and one.status != "withdrawn"]
    return days_of(window), taken


def look_from(facts: Facts) -> Outlook | None:
    """Look ahead from facts; pure."""
    sensed = sensed_of(facts.days, facts.findings, facts.zone, facts.today)
    return look_ahead(facts.hive, facts.visits, facts.today, sensed)
