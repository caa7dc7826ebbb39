"""Will it swarm: `swarm_risk`, from queen cells that people saw, and from a nest without room.

A prime swarm leaves, as a rule, when the first queen cells are capped, so the stage of the furthest
cell says by when. Not every queen cell is one of those: cells that are left after a swarm send
after-swarms in half of the cases, which the calendar dates; and where the queen has laid nothing
for a week, or neither she nor an egg is found, they were raised in need, not for a swarm; from late
summer on, where there is a winter, they are raised to replace her.

Before cells a visit can see why there will be some: bees over all combs, and honey and pollen where
brood has hatched, so that the queen finds few cells to lay in. Both together, in the season, are
worth a look within the time that a cell takes; no more, for most crowded hives do not swarm. One
that swarmed in an earlier season is likelier to. Crowding that is only reckoned is left to the
outlook, which says by when a super must be on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.frames import FRAMES
from hivewatch.inspections import Inspection
from hivewatch.inspections.model import brood_counts
from hivewatch.moments import spoken
from hivewatch.signals.days import DAY_S
from hivewatch.signals.departures import departures_of
from hivewatch.signals.nest_room import nest_room
from hivewatch.signals.season import is_laying_season, northern_day, seasons_weight
from hivewatch.signals.steps import steps_of
from hivewatch.signals.window import HiveWindow

# Days until the furthest cell is capped, 7.5 to 8 days after its egg was laid: the table of castes
# in tests/published/test_comb_stages.py. That a swarm leaves then: common practice, no source.
CAPPED_IN_DAYS = {"eggs": 8, "open": 5, "capped": 0}
CONFIDENCE = {"eggs": 0.6, "open": 0.8, "capped": 0.9}  # own choice: cells are torn down again
OVER_DAYS = 10  # own choice: after the day named, so long; then the cells have emerged or are gone
SETTLED_DAYS = 16  # after a swarm, common practice, no source: in two weeks all is settled
# Of a queen that laid till d days ago (9 > d > 3) there are (9 - d) days of open brood to 12 of
# capped (3, 6 and 12 days: common practice, no source); she stops about three days before a swarm
# (HoPoMo 2007; Winston 1987). Less than a quarter: she stopped six days ago, or more.
OPEN_TO_CAPPED = 0.25
# [d] own choice: of the year, in the north at 47 degrees: 20 August, a month after the day of
# after-swarms in Winston (1980), 18 July; no swarm that leaves later has a winter's stores
LATE_DAY = 232.0
GONE = ("not seen", "absent")  # of a queen, where not one egg was counted either
SWARM_KG = (0.8, 4.5)  # [kg] common practice, no source: what a swarm weighs
COVERED = 0.85  # [share of the sides] own choice, near the practice of room at eight combs of ten
STORED = 0.4  # [share of the nest's sides] own choice: a good brood comb has a third, around it
FREE = 0.2  # [the same] own choice: of a nest with room more is empty, or has an egg
# Own choice: not enough to ring a phone; that a hive which swarmed does so again is common practice
NO_ROOM_CONFIDENCE, SWARMED_CONFIDENCE = 0.35, 0.45
EARLIER_DAYS = 60  # own choice: a swarm so long ago was one of another season
MADE_ROOM = ("super added", "split", "harvested")


def find(window: HiveWindow, inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say by when a hive may swarm, from what inspections saw.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`; its weight shows if a swarm has left since.
    inspections : Sequence[Inspection]
        Those that looked for queen cells count, and those that judged the sides of the nest; a
        later one ends what an earlier one showed.

    Returns
    -------
    list[Finding]
        Of kind `swarm_risk`; `measures` are `days_until_capped` from the visit on, and `cells`,
        or the shares of comb with bees and with stores.
    """
    visits = sorted(inspections, key=lambda one: one.at_s)
    cells = [
        _ended(window, _by_cells(window, visit, stage), visits[i + 1 :], _looks_for_cells)
        for i, visit in enumerate(visits)
        if (stage := _furthest(visit)) is not None and _means_a_swarm(window, visit)
    ]
    crowds = [
        _ended(window, _by_room(window, visit), visits[i + 1 :], _judges_room)
        for i, visit in enumerate(visits)
        if _lacks_room(window, visit) and not any(_lasts(one, visit.at_s) for one in cells)
    ]
    return sorted([*cells, *crowds], key=lambda one: one.start_s)


def _lasts(risk: Finding, at_s: int) -> bool:
    """Say whether a risk is known of at a moment, and not over."""
    return risk.start_s <= at_s and (risk.end_s is None or at_s < risk.end_s)


def _looks_for_cells(visit: Inspection) -> bool:
    """Say whether a visit looked for queen cells."""
    return visit.queen_cells is not None


def _judges_room(visit: Inspection) -> bool:
    """Say whether a visit judged the nest anew, gave it room, or found cells instead."""
    is_given = any(action.what in MADE_ROOM for action in visit.actions)
    return is_given or nest_room(visit).stored is not None or _furthest(visit) is not None


def _furthest(visit: Inspection) -> str | None:
    """Give the stage of the furthest queen cell; None where none is on its way."""
    cells = visit.queen_cells
    if cells is None or cells.count == 0 or cells.stage not in CAPPED_IN_DAYS:
        return None
    return cells.stage


def _is_late(window: HiveWindow, at_s: int) -> bool:
    """Say whether the year is so far on that cells are raised to replace a queen."""
    day, latitude = _local_day(window, at_s), window.yard.latitude
    return seasons_weight(latitude) >= 1 and northern_day(day, latitude) >= LATE_DAY


def _has_left(window: HiveWindow, at_s: int) -> bool:
    """Say whether a swarm left shortly before a visit: the cells seen then are what it left."""
    return any(at_s - SETTLED_DAYS * DAY_S < one < at_s for one in departures_of(window))


def _means_a_swarm(window: HiveWindow, visit: Inspection) -> bool:
    """Say whether cells seen at a visit are those of a swarm to come."""
    if _is_late(window, visit.at_s) or _has_left(window, visit.at_s):
        return False
    return not _lays_no_more(window, visit)


def _lays_no_more(window: HiveWindow, visit: Inspection) -> bool:
    """Say whether what was seen shows a hive whose queen is gone, or stopped laying a week ago.

    Before a swarm she lays until some three days before it, and is there until then: with no egg
    left and no queen found the cells were raised in need, or a swarm has left them.
    """
    brood = brood_counts(visit, FRAMES[window.hive.frame])
    if brood.eggs == 0 and visit.queen in GONE:
        return True
    if brood.eggs is None or brood.open is None or not brood.capped:
        return False
    return brood.eggs == 0 and brood.open < OPEN_TO_CAPPED * brood.capped


def _losses_s(window: HiveWindow, since_s: int) -> list[int]:
    """Give when something as heavy as a swarm went after a moment: then the risk is over."""
    low_kg, high_kg = SWARM_KG
    return [
        step.after_s
        for step in steps_of(window)
        if step.before_s > since_s and low_kg <= -step.size_kg <= high_kg
    ]


def _lacks_room(window: HiveWindow, visit: Inspection) -> bool:
    """Say whether a visit found, and left, a crowded nest with honey where brood should be."""
    room = nest_room(visit)
    if room.covered is None or room.stored is None or room.free is None:
        return False
    day = _local_day(window, visit.at_s)
    if not is_laying_season(day, window.yard.latitude) or _is_late(window, visit.at_s):
        return False
    if visit.queen in GONE or any(action.what in MADE_ROOM for action in visit.actions):
        return False
    if _has_left(window, visit.at_s):
        return False
    return room.covered >= COVERED and room.stored >= STORED and room.free <= FREE


def _by_cells(window: HiveWindow, visit: Inspection, stage: str) -> Finding:
    """Put the risk that queen cells show into words."""
    days = CAPPED_IN_DAYS[stage]
    furthest = "with an egg" if stage == "eggs" else stage
    look = f"look again by {spoken(_local_day(window, visit.at_s + days * DAY_S))}"
    count = visit.queen_cells.count if visit.queen_cells else 0
    return _risk(
        window,
        visit,
        CONFIDENCE[stage],
        {"cells": count, "days_until_capped": days},
        f"{count} queen cells were seen, the furthest {furthest}",
        "a prime swarm leaves when they are capped: "
        + (look if days else "the first fine hour is enough"),
    )


def _by_room(window: HiveWindow, visit: Inspection) -> Finding:
    """Put the risk of a nest without room into words."""
    room, days = nest_room(visit), CAPPED_IN_DAYS["eggs"]
    covered, stored = float(room.covered or 0), float(room.stored or 0)
    before = [one for one in departures_of(window) if one < visit.at_s - EARLIER_DAYS * DAY_S]
    return _risk(
        window,
        visit,
        SWARMED_CONFIDENCE if before else NO_ROOM_CONFIDENCE,
        {
            "bees_share": round(covered, 2),
            "stored_share": round(stored, 2),
            "days_until_capped": days,
        },
        f"bees covered {covered:.0%} of the combs, stores {stored:.0%} of the brood combs",
        "most crowded hives do not swarm; a cell begun now is capped in "
        f"{days} days: give room, and look for cells by "
        + spoken(_local_day(window, visit.at_s + days * DAY_S)),
        *(["a swarm left it in an earlier season"] if before else []),
    )


def _local_day(window: HiveWindow, at_s: int) -> date:
    """Give the day at the yard."""
    return datetime.fromtimestamp(at_s, UTC).astimezone(ZoneInfo(window.yard.timezone)).date()


def _risk(
    window: HiveWindow,
    visit: Inspection,
    confidence: float,
    measures: dict[str, float],
    *evidence: str,
) -> Finding:
    """Give one risk, that lasts."""
    return Finding(
        kind="swarm_risk",
        subject=f"hive:{window.hive.id}",
        start_s=visit.at_s,
        end_s=None,
        detected_s=visit.at_s,
        confidence=confidence,
        status="open",
        measures=measures,
        evidence=evidence,
    )


def _ended(
    window: HiveWindow,
    risk: Finding,
    later: Sequence[Inspection],
    settles: Callable[[Inspection], bool],
) -> Finding:
    """End a risk with the day named, with a swarm, or with the next visit that settles it."""
    capped_s = risk.start_s + float(risk.measures["days_until_capped"] or 0) * DAY_S
    until_s = int(capped_s) + OVER_DAYS * DAY_S
    visits_s = [one.at_s for one in later if settles(one)]
    end_s = min([until_s, *_losses_s(window, risk.start_s), *visits_s])
    if end_s > window.as_of_s:
        return risk
    return replace(risk, end_s=end_s, status="ended")
