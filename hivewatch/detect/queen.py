"""Is the queen well: `queen_trouble`. Laying has stopped or failed; since when, what to look for.

When laying stops the last brood comes out after three weeks, and with it goes the warmth: so the
nest tells it about 18 days late, and a visit sooner. A hive that has swarmed, or was split or given
a queen, has no eggs either: there it is trouble only when the time that a new queen needs is over.
Autumn's end of brood is not, nor that of bees who starve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.detect.queen_counts import HUNGRY_KG
from hivewatch.detect.queen_visits import Sign, signs_of
from hivewatch.frames import FRAMES
from hivewatch.inspections import Inspection, stores_kg
from hivewatch.signals.bare import stepped_kg
from hivewatch.signals.brood import as_days_stay
from hivewatch.signals.carried import first_after
from hivewatch.signals.days import DAY_S, days_of
from hivewatch.signals.departures import departures_of, is_watched
from hivewatch.signals.larder import larder_of
from hivewatch.signals.levels import middle_before
from hivewatch.signals.nest_bound import brood_nest_cel, is_autumn, light_hours, probe_share
from hivewatch.signals.season import laying_level
from hivewatch.signals.warmth import Warmth, warmth_of
from hivewatch.signals.window import Floats, HiveWindow

FALL_K = 2.0  # [K] own choice: so far below its own weeks before, on two days ...
GRADUAL_K = 0.7  # [K] own choice: ... after a day that was on the way; a chill comes at once
OFF_CENTRE_K = 1.5  # [K] own choice: more for a probe off the centre
USUAL_FROM, USUAL_TO, USUAL_LEAST = 21, 6, 5  # [d] own choice: the days before that are usual
BROOD_CEL = 33.3  # [Cel] published range of brood from 33 Cel: a nest that is usually so has some
BACK_K = 1.0  # [K] own choice: two days within this of the usual, and there is brood again
LATE_DAY_H = 13.5  # [h] own choice: shorter, and shortening, and brood may go of itself (Montreal)
AUTUMN_VISIT_H = 12.5  # [h] own choice: the same for a visit that found no eggs
FAILING_LEVEL = 0.15  # own choice: of the most by season; later few eggs are usual
SHORT_DAY_H = 11.5  # [h] own choice: no colony must have brood yet
FAILS_AFTER_D = 18  # [d] published: capped brood comes out 9 to 21 days after the last egg
EMERGES_D, LAYS_D = 12, 20  # [d] published: emergency queens, the queen's calendar
WAIT_D = 21  # [d] published: the bad-mating limit is three to four weeks from emergence
SWARM_WAIT_D = 35  # [d] published: weather, too; a virgin is out on day 8, and has 4 weeks
CAST_WAIT_D = 26  # [d] the same from the last cast, with which the queen that stays is out
GIVEN_WAIT_D = 21  # [d] own choice: a queen that was given lays by then
OVERDUE_D = 7  # [d] own choice: trouble is dated back that far when the time is over
LAID_D = 6  # [d] own choice: eggs seen so long after laying should have stopped speak against it
AROUND_D = 14  # [d] own choice: a departure so long before laying seems to have stopped explains it
TROUBLE, EGGS = ("stopped", "failing"), ("lays", "lays little", "failing")


@dataclass(frozen=True, slots=True)
class _Fall:
    """Brood-nest warmth that went, as a sign, and when it was back. [s]."""

    sign: Sign
    back_s: int | None


def find(window: HiveWindow, inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when a hive's queen was lost or failed.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Takes `nest`, with `ambient` where there is any; `weight`
        and the counter to know of swarms.
    inspections : Sequence[Inspection]
        Visits that counted brood or looked for the queen.

    Returns
    -------
    list[Finding]
        Of kind `queen_trouble`, one at a time. `start_s` is about when laying stopped or failed, or
        when a new queen should have laid. It ends when there are eggs or warmth again.

    References
    ----------
    Days of workers and queens: the table of development (QDPI, as quoted), worker 3, 9, 21 days,
    queen 3, 7.5, 16 days, laying from day 23.
    """
    visits = signs_of(window, inspections)
    falls = as_days_stay(window, "falls", _falls) if window.has("nest") else []
    if falls:
        falls = [one for one in falls if not _starved(window, inspections, visits, one.sign)]
    seen = [one for one in visits if one.what in TROUBLE and _in_season(window, one)]
    signs = [_settled(window, visits, one, None) for one in seen]
    signs += [_settled(window, visits, one.sign, one) for one in falls]
    found: list[Finding] = []
    free_s = 0
    told = sorted((one for one in signs if one is not None), key=lambda one: one.told_s)
    for sign in told:
        if sign.told_s >= free_s:
            end_s = _end_s(sign, visits, falls, told)
            found.append(_trouble(window, sign, end_s))
            free_s = window.as_of_s + 1 if end_s is None else end_s + 1
    return found


def _in_season(window: HiveWindow, sign: Sign) -> bool:
    """Say whether a queen should lay, or lay well, on the day of a visit.

    In autumn the eggs may end of themselves; bees that then raise a queen have lost theirs.
    """
    if sign.is_sure:
        return True
    start_s, light_h = days_of(window).start_s, light_hours(window)
    day = int(np.clip(np.searchsorted(start_s, sign.at_s, side="right") - 1, 0, len(light_h) - 1))
    if sign.what == "failing":
        first = datetime.fromtimestamp(int(start_s[day]), UTC).date()
        return laying_level(first, window.yard.latitude) >= FAILING_LEVEL
    is_late = bool(is_autumn(window, AUTUMN_VISIT_H)[day])
    return bool(light_h[day] >= SHORT_DAY_H) and (not is_late or sign.has_cells)


def _falls(window: HiveWindow) -> list[_Fall]:
    """Find where the nest fell from its own usual warmth within days, in the season of brood."""
    warmth, nest_cel = warmth_of(window), brood_nest_cel(window)
    off_centre = probe_share(window) < 1
    light_h = light_hours(window)
    in_season = (light_h >= SHORT_DAY_H) & ~is_autumn(window, LATE_DAY_H)
    normals = middle_before(nest_cel, USUAL_FROM, USUAL_TO, USUAL_LEAST)
    asked_k = np.where(off_centre, FALL_K + OFF_CENTRE_K, FALL_K)
    with np.errstate(invalid="ignore"):
        is_low = in_season & (normals >= BROOD_CEL) & (normals - nest_cel >= asked_k)
    days = np.flatnonzero(~np.isnan(nest_cel))
    first = int(np.searchsorted(days, np.argmax(is_low))) if is_low.any() else len(days)
    falls: list[_Fall] = []
    low: list[int] = []
    known: list[int] = days[:first].tolist()[-1:]
    usual: float | None = None  # of the fall that lasts
    for day in days[first:].tolist():
        if usual is not None:
            if known and min(nest_cel[known[-1]], nest_cel[day]) >= usual - BACK_K:
                back_s = int(warmth.told_s[day])
                falls[-1] = replace(falls[-1], back_s=back_s)
                usual, low = None, []
            known.append(day)
            continue
        normal = None if np.isnan(normals[day]) else float(normals[day])
        low = [*low, day] if is_low[day] else []
        if len(low) == 1 and not _was_on_the_way(nest_cel, known, normal):
            low = []
        if len(low) > 1 and normal is not None:
            falls.append(_Fall(_fallen(warmth, nest_cel, low, normal), None))
            usual = normal
        known.append(day)
    return falls


def _was_on_the_way(nest_cel: Floats, known: Sequence[int], usual: float | None) -> bool:
    """Say whether the day before was cooler than usual already."""
    return bool(known and usual is not None and usual - nest_cel[known[-1]] >= GRADUAL_K)


def _fallen(warmth: Warmth, nest_cel: Floats, low: Sequence[int], usual: float) -> Sign:
    """Put a fall into a sign."""
    at_s, told_s = int(warmth.start_s[low[0]]), int(warmth.told_s[low[-1]])
    words = f"the brood nest fell from {usual:.1f} to {nest_cel[low[-1]]:.1f} Cel within days"
    return Sign("stopped", at_s, told_s, at_s - FAILS_AFTER_D * DAY_S, words, 0.85)


def _starved(
    window: HiveWindow, inspections: Sequence[Inspection], visits: Sequence[Sign], sign: Sign
) -> bool:
    """Say whether the bees had no food while the brood went: then they raise none, queen or not.

    A visit says it, the stores by the scale, or what the last visit judged less what went since.
    """
    if any(one.what == "hungry" and sign.since_s <= one.at_s <= sign.told_s for one in visits):
        return True
    if not window.has("weight"):
        return False
    days, frame = days_of(window), FRAMES.get(window.hive.frame or "")
    left_kg = larder_of(window, inspections).stores_kg.copy()
    bare_kg = days.dawn_kg - stepped_kg(days, days.dawn_s)
    for one in inspections:
        judged_kg = stores_kg(one, frame) if frame else None
        at = int(np.searchsorted(days.dawn_s, one.at_s))
        if judged_kg is None or not 0 < at < len(days) or one.at_s > sign.told_s:
            continue
        fed = [step.before_s for step in days.steps if step.size_kg > HUNGRY_KG]
        until_s = min((moment for moment in fed if moment > one.at_s), default=sign.told_s)
        later = slice(at, int(np.searchsorted(days.dawn_s, until_s)))
        left_kg[later] = np.fmin(left_kg[later], judged_kg + bare_kg[later] - bare_kg[at - 1])
    during = (days.dawn_s >= sign.since_s) & (days.dawn_s <= sign.told_s)
    return bool((left_kg[during] < HUNGRY_KG).any())


def _settled(
    window: HiveWindow, visits: Sequence[Sign], sign: Sign, fall: _Fall | None
) -> Sign | None:
    """Give a sign as it is to be told, when what explains it has had its time; else None."""
    if fall is not None and any(
        sign.since_s + LAID_D * DAY_S < one.at_s <= sign.at_s for one in visits if one.what in EGGS
    ):
        return None  # eggs were seen since: she lays again, and it will be warm again
    wait = _explained(window, visits, sign)
    last_s = window.last_s
    if sign.told_s > max(last_s, sign.at_s):
        return None
    if wait is None or wait[0] <= sign.told_s:
        return sign
    until_s, words = wait
    if fall is None or sign.what == "failing":
        return None  # a later visit, or the nest, tells whether it lasts
    well = [one.at_s for one in visits if one.what in (*EGGS, "requeened") and one.at_s > sign.at_s]
    well += [fall.back_s] if fall.back_s is not None else []
    if min(well, default=until_s) < until_s or until_s > window.over_s("nest"):
        return None
    return Sign(
        "stopped",
        until_s,
        first_after(window, "nest", until_s),
        until_s - OVERDUE_D * DAY_S,
        f"{sign.words}; {words}",
        0.8,
    )


def _explained(window: HiveWindow, visits: Sequence[Sign], sign: Sign) -> tuple[int, str] | None:
    """Give until when a sign is explained, and by what; None if by nothing."""
    laid = [one.at_s for one in visits if one.what in EGGS and one.at_s < sign.at_s]
    gone = [
        one
        for one in departures_of(window)
        if sign.since_s - AROUND_D * DAY_S <= one <= sign.told_s
        and not any(eggs >= one + AROUND_D * DAY_S / 2 for eggs in laid)
        and not any(here.what == "all here" and here.since_s < one < here.at_s for here in visits)
    ]
    given = [one.at_s for one in visits if one.what == "requeened" and one.at_s < sign.at_s]
    if gone:
        until_s = max(gone[0] + SWARM_WAIT_D * DAY_S, gone[-1] + CAST_WAIT_D * DAY_S)
        return until_s, f"many bees left on {_day(window, gone[0])}, and no young queen lays yet"
    if given and sign.at_s - given[-1] < GIVEN_WAIT_D * DAY_S:
        until_s = given[-1] + GIVEN_WAIT_D * DAY_S
        return until_s, f"a queen was given on {_day(window, given[-1])}, and does not lay yet"
    if sign.is_sure or is_watched(window, sign.since_s - AROUND_D * DAY_S, sign.at_s):
        return None
    until_s = sign.since_s + SWARM_WAIT_D * DAY_S
    return until_s, "had a swarm left unseen, a young queen would lay by now"


def _end_s(
    sign: Sign, visits: Sequence[Sign], falls: Sequence[_Fall], told: Sequence[Sign]
) -> int | None:
    """Give when it was over: eggs, another queen, warmth again; or she who failed is gone. [s]."""
    well = ("lays",) if sign.what == "failing" else ("lays", "lays little")
    ends = [
        one.at_s
        for one in visits
        if (one.what in well and one.at_s > sign.told_s)
        or (one.what == "requeened" and one.at_s >= sign.told_s)
    ]
    ends += [one.back_s for one in falls if one.back_s is not None and one.back_s > sign.told_s]
    if sign.what == "failing":
        ends += [
            one.told_s - 1 for one in told if one.what == "stopped" and one.told_s > sign.told_s
        ]
    return min(ends, default=None)


def _trouble(window: HiveWindow, sign: Sign, end_s: int | None) -> Finding:
    """Put a sign into words and figures, with the days on which to look."""
    since, eggs = _day(window, sign.since_s), _day(window, sign.since_s, LAYS_D)
    latest = _day(window, sign.since_s, EMERGES_D + WAIT_D)
    evidence = [sign.words, f"laying has stopped or failed since about {since}"]
    if sign.what == "failing":
        evidence.append(
            "look for queen cells and for drone brood in worker cells at the next visit"
        )
    else:
        evidence.append(
            f"if the bees raise a queen there are eggs from about {eggs}; none by {latest}: "
            "give a comb with eggs, give a queen, or unite the hive"
        )
    return Finding(
        kind="queen_trouble",
        subject=f"hive:{window.hive.id}",
        start_s=sign.since_s,
        end_s=end_s,
        detected_s=sign.told_s,
        confidence=sign.confidence,
        measures={"since_day": since, "eggs_from_day": eggs, "eggs_by_day": latest},
        evidence=tuple(evidence),
        status="open" if end_s is None else "ended",
    )


def _day(window: HiveWindow, time_s: int, later_d: int = 0) -> str:
    """Give the yard's day of a moment, or one so many days later."""
    moment = datetime.fromtimestamp(time_s + later_d * DAY_S, UTC)
    return moment.astimezone(ZoneInfo(window.yard.timezone)).date().isoformat()
