"""Will it swarm: `swarm_risk`, from the queen cells that people saw.

A prime swarm leaves, as a rule, when the first queen cells are capped, so the stage of the furthest
cell says by when. Not every queen cell is one of those: cells that are left after a swarm send
after-swarms in half of the cases, which the calendar dates; and where the queen has laid nothing
for a week, or neither she nor an egg is found, they were raised in need, not for a swarm; from late
summer on, where there is a winter, they are raised to replace her. Crowding alone is left to the
outlook: of crowded hives, however full of brood and in the weeks in which most swarm, nineteen in
twenty raise no cells within ten days, and nobody should be sent out for nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.frames import FRAMES
from hivewatch.inspections import Inspection
from hivewatch.inspections.model import brood_counts
from hivewatch.signals.days import DAY_S
from hivewatch.signals.departures import departures_of
from hivewatch.signals.season import northern_day, seasons_weight
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


def find(window: HiveWindow, inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say by when a hive may swarm, from the queen cells seen at inspections.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`; its weight shows if a swarm has left since.
    inspections : Sequence[Inspection]
        Those with `queen_cells` count; a later one without cells ends it.

    Returns
    -------
    list[Finding]
        Of kind `swarm_risk`; `measures` are `cells` and `days_until_capped` from the visit on.
    """
    visits = sorted(
        (one for one in inspections if one.queen_cells is not None), key=lambda i: i.at_s
    )
    found: list[Finding] = []
    for visit, later in zip(visits, [*visits[1:], None], strict=False):
        cells = visit.queen_cells
        if cells is None or cells.count == 0 or cells.stage not in CAPPED_IN_DAYS:
            continue
        if _is_late(window, visit.at_s):
            continue
        if _has_left(window, visit.at_s) or _lays_no_more(window, visit):
            continue
        until_s = visit.at_s + (CAPPED_IN_DAYS[cells.stage] + OVER_DAYS) * DAY_S
        ends = [until_s, *_losses_s(window, visit.at_s), *([later.at_s] if later else [])]
        end_s = min(ends)
        over = end_s <= window.as_of_s
        found.append(_risk(window, visit, cells.count, cells.stage, end_s if over else None))
    return found


def _is_late(window: HiveWindow, at_s: int) -> bool:
    """Say whether the year is so far on that cells are raised to replace a queen."""
    day = datetime.fromtimestamp(at_s, UTC).astimezone(ZoneInfo(window.yard.timezone)).date()
    latitude = window.yard.latitude
    return seasons_weight(latitude) >= 1 and northern_day(day, latitude) >= LATE_DAY


def _has_left(window: HiveWindow, at_s: int) -> bool:
    """Say whether a swarm left shortly before a visit: the cells seen then are what it left."""
    return any(at_s - SETTLED_DAYS * DAY_S < one < at_s for one in departures_of(window))


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


def _risk(
    window: HiveWindow, visit: Inspection, count: int, stage: str, end_s: int | None
) -> Finding:
    """Put one risk into words."""
    days = CAPPED_IN_DAYS[stage]
    zone = ZoneInfo(window.yard.timezone)
    by = datetime.fromtimestamp(visit.at_s + days * DAY_S, UTC).astimezone(zone)
    furthest = "with an egg" if stage == "eggs" else stage
    when = "the first fine hour is enough" if days == 0 else f"look again by {by.day} {by:%B}"
    return Finding(
        kind="swarm_risk",
        subject=f"hive:{window.hive.id}",
        start_s=visit.at_s,
        end_s=end_s,
        detected_s=visit.at_s,
        confidence=CONFIDENCE[stage],
        status="open" if end_s is None else "ended",
        measures={"cells": count, "days_until_capped": days},
        evidence=(
            f"{count} queen cells were seen, the furthest {furthest}",
            f"a prime swarm leaves when they are capped: {when}",
        ),
    )
