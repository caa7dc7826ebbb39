"""Will it swarm: `swarm_risk`, from the queen cells that people saw.

A prime swarm leaves, as a rule, when the first queen cells are capped, so the stage of the furthest
cell says by when. Once it has left, the same cells may send after-swarms. Crowding and a backfilled
nest are judged from the outlook in the round; what is said here rests on cells alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.days import DAY_S
from hivewatch.signals.departures import departures_of
from hivewatch.signals.steps import steps_of
from hivewatch.signals.window import HiveWindow

# Days until the furthest cell is capped, 7.5 to 8 days after its egg was laid: the table of castes
# in tests/published/test_comb_stages.py. That a swarm leaves then: common practice, no source.
CAPPED_IN_DAYS = {"eggs": 8, "open": 5, "capped": 0}
CONFIDENCE = {"eggs": 0.6, "open": 0.8, "capped": 0.9}  # own choice: cells are torn down again
OVER_DAYS = 10  # own choice: after the day named, so long; then the cells have emerged or are gone
# A capped queen cell opens 7.5 to 8 days later, by the same table; that a cast goes about a week
# after the prime swarm, and that a week later the rest is settled: common practice, no source.
CAST_IN_DAYS, CASTS_OVER_DAYS = 8, 16
CAST_CONFIDENCE = 0.5  # own choice: many hives that have swarmed send no cast
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
        until_s = visit.at_s + (CAPPED_IN_DAYS[cells.stage] + OVER_DAYS) * DAY_S
        left_s = _left_s(window, visit.at_s)
        if left_s is not None:
            until_s = min(until_s, left_s + CASTS_OVER_DAYS * DAY_S)
        ends = [until_s, *_losses_s(window, visit.at_s), *([later.at_s] if later else [])]
        end_s = min(ends)
        over = end_s <= window.as_of_s
        risk = _risk(window, visit, cells.count, cells.stage, end_s if over else None)
        found.append(risk if left_s is None else _of_casts(window, risk, left_s))
    return found


def _left_s(window: HiveWindow, at_s: int) -> int | None:
    """Give when a swarm left shortly before a visit, whose cells may send another [s]."""
    gone = [one for one in departures_of(window) if at_s - CASTS_OVER_DAYS * DAY_S < one < at_s]
    return gone[-1] if gone else None


def _of_casts(window: HiveWindow, risk: Finding, left_s: int) -> Finding:
    """Say of a hive that has swarmed what its cells may do yet."""
    zone = ZoneInfo(window.yard.timezone)
    left, by = (
        datetime.fromtimestamp(moment_s, UTC).astimezone(zone)
        for moment_s in (left_s, left_s + CAST_IN_DAYS * DAY_S)
    )
    words = (
        f"a swarm left on {left.day} {left:%B}: after-swarms may follow once the first young queen "
        f"is out, about {by.day} {by:%B}"
    )
    return replace(
        risk,
        confidence=min(risk.confidence, CAST_CONFIDENCE),
        evidence=(risk.evidence[0], words),
    )


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
