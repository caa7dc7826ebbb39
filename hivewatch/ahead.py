"""Three weeks back, three weeks ahead, for one hive of the store."""

from __future__ import annotations

from collections.abc import Iterable, MutableMapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from hivewatch.apiary import Apiary
from hivewatch.comb.held import Held, held_of
from hivewatch.comb.outlook import Hive, Outlook, look_ahead
from hivewatch.comb.sensed import REACH_DAYS, sensed_of
from hivewatch.comb.start import Visit
from hivewatch.comb.visits import hive_of, visit_of
from hivewatch.detect.finding import Finding
from hivewatch.detect.run import detect, detect_yard
from hivewatch.frames import FRAMES, Frame
from hivewatch.inspections import Inspection, stores_kg
from hivewatch.settings import Alerts
from hivewatch.signals.dawn import DawnDepartures, dawn_departures_of
from hivewatch.signals.days import DAY_S, Days, days_of
from hivewatch.signals.departures import is_weighed
from hivewatch.signals.larder import SEEN_LONG_DAYS
from hivewatch.signals.weighed import as_weighed
from hivewatch.signals.window import HiveWindow
from hivewatch.store import findings, inspections, stale
from hivewatch.store.windows import read_part, read_window
from hivewatch.timeline.gone import of_this_colony

TAKEN = ("swarm", "forager_loss", "queen_trouble", "brood_end", "brood_onset")
READ = ("weight", "ambient", "rain", "bees-out", "nest")
REACH_S = (REACH_DAYS + 8) * DAY_S  # a day's income rests on the days before it
MARGIN_S = 3 * DAY_S  # own choice: dawns before a visit or a box that say what it weighed
HOUR_S = 3600  # own choice: an outlook goes by days; who asks twice within an hour hears the same
SOON_S = 300  # own choice: but for a visit within the hour, whose weights are still coming in

Beside = MutableMapping[tuple[str, int], Days]
"""Days that were worked out of a hive up to a moment, for its neighbours' outlooks."""


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
    dawn: DawnDepartures
    findings: Sequence[Finding]
    held: Held


def outlook_of(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    *,
    recorded_by_s: int | None = None,
    is_watched: bool = False,
    beside: Beside | None = None,
) -> Outlook | None:
    """Look three weeks back and ahead, from what people counted and sensors measured since.

    Parameters
    ----------
    apiary : Apiary
        With the hive in it.
    as_of_s : int
        The moment; no later visit or reading counts, and of readings none since `moment_s`. [s]
    recorded_by_s : int or None
        For a replay: nothing written down or received later counts. [s]
    is_watched : bool
        Whether the watch runs: then what it found is taken, and what it has not looked at yet
        changes the outlook when it has.
    beside : Beside or None
        Kept by who asks for the outlooks of many hives at one moment.

    Returns
    -------
    Outlook or None
        None when nothing that it could start from was counted in the last sixty days.
    """
    facts = facts_of(
        connection, apiary, hive_id, as_of_s,
        recorded_by_s=recorded_by_s, is_watched=is_watched, beside=beside,
    )  # fmt: skip
    return look_from(facts) if facts else None


def facts_of(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    as_of_s: int,
    *,
    recorded_by_s: int | None = None,
    is_watched: bool = False,
    beside: Beside | None = None,
) -> Facts | None:
    """Gather what an outlook rests on; None where no visit counted anything."""
    hive = next(one for one in apiary.hives if one.id == hive_id)
    yard = next(one for one in apiary.yards if one.id == hive.yard)
    zone = ZoneInfo(yard.timezone)
    frame = FRAMES[hive.frame]
    told = inspections.read(connection, hive=hive_id, recorded_by_s=recorded_by_s)
    known = [stored for stored in told if stored.at_s <= as_of_s]
    noted = [stored.inspection for stored in of_this_colony(known)]
    visits = [visit_of(one, frame, zone) for one in noted]
    if not any(one.can_start for one in visits):
        return None
    as_of_s = moment_s([one.at_s for one in noted], as_of_s)
    is_found = recorded_by_s is None and (
        is_watched or not _is_waiting(connection, apiary, hive_id)
    )
    if is_found:
        window, found = _as_found(connection, apiary, hive_id, noted, as_of_s)
    else:
        window = read_window(connection, apiary, hive_id, as_of_s, recorded_by_s)
        found = detect(window, noted, Alerts(), as_of_s)
        kept = {} if beside is None else beside
        found += _told_by_yard(connection, apiary, window, recorded_by_s, kept)
    left = [one for one in found if one.kind in TAKEN and one.status != "withdrawn"]
    described = hive_of(
        hive.id, yard.latitude, frame, hive.frames * hive.boxes, box_combs=hive.frames
    )
    today = datetime.fromtimestamp(as_of_s, UTC).astimezone(zone).date()
    days, dawn = days_of(window), dawn_departures_of(window)
    held = held_of(window, noted, frame, hive.frames, zone, today)
    return Facts(described, zone, today, visits, days, dawn, left, held)


def moment_s(visits_at_s: Iterable[int], now_s: int) -> int:
    """Give the moment that an outlook is told of: the last full hour, or a visit since."""
    hour_s = now_s // HOUR_S * HOUR_S
    last_s = max((one for one in visits_at_s if hour_s < one <= now_s), default=None)
    return hour_s if last_s is None else max(last_s, now_s // SOON_S * SOON_S)


def _is_waiting(connection: Connection, apiary: Apiary, hive_id: str) -> bool:
    """Say whether something is stored of a hive that the watch has not looked at yet."""
    own = {f"device:{one.device}" for one in apiary.placements if one.hive == hive_id}
    return bool({one.subject for one in stale.read(connection)} & (own | {f"hive:{hive_id}"}))


def _as_found(
    connection: Connection,
    apiary: Apiary,
    hive_id: str,
    noted: Sequence[Inspection],
    as_of_s: int,
) -> tuple[HiveWindow, list[Finding]]:
    """Give what was measured of a hive lately, and what the watch found.

    For a replay, and where nobody has looked yet, findings are worked out anew instead, which says
    the same.
    """
    since_s = as_of_s - REACH_S
    frame = FRAMES[next(one.frame for one in apiary.hives if one.id == hive_id)]
    from_s = dict.fromkeys(READ, since_s) | {"weight": _weighed_from_s(noted, frame, since_s)}
    window = read_part(connection, apiary, hive_id, from_s, as_of_s)
    if not is_weighed(window):  # a counter alone tells by both ways who left
        window = read_part(connection, apiary, hive_id, from_s | {"bees-in": since_s}, as_of_s)
    told = findings.read(connection, hive=hive_id, since_s=since_s, until_s=as_of_s + 1)
    return window, [one for one in told if one.detected_s <= as_of_s]


def _told_by_yard(
    connection: Connection,
    apiary: Apiary,
    window: HiveWindow,
    recorded_by_s: int | None,
    beside: Beside,
) -> list[Finding]:
    """Say what a hive's neighbours tell of it, as the watch's look at the yard does."""
    as_of_s, yard = window.as_of_s, window.yard
    beside[window.hive.id, as_of_s] = as_weighed(days_of(window))
    for name in apiary.hives_of[yard.id]:
        if (name, as_of_s) not in beside:
            other = read_window(connection, apiary, name, as_of_s, recorded_by_s)
            beside[name, as_of_s] = as_weighed(days_of(other))
    days = {name: beside[name, as_of_s] for name in apiary.hives_of[yard.id]}
    return [one for one in detect_yard(yard, days) if one.subject == f"hive:{window.hive.id}"]


def _weighed_from_s(noted: Sequence[Inspection], frame: Frame, since_s: int) -> int:
    """Say from when on weights are needed: since the boxes went on, and the stores were judged.

    Not from longer ago than a visit that judged the stores counts.
    """
    told = [
        one.at_s - MARGIN_S
        for one in noted
        if stores_kg(one, frame) is not None
        or any(action.what == "super added" for action in one.actions)
    ]
    oldest_s = since_s + REACH_S - SEEN_LONG_DAYS * DAY_S
    return min(since_s, max(oldest_s, min(told, default=since_s)))


def look_from(facts: Facts) -> Outlook | None:
    """Look ahead from facts; pure."""
    sensed = sensed_of(facts.days, facts.findings, facts.zone, facts.today, facts.dawn)
    return look_ahead(facts.hive, facts.visits, facts.today, sensed, held=facts.held)
