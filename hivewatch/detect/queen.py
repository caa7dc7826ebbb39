"""Is the queen well: `queen_trouble`. Laying has stopped or failed; since when, what to look for.

When laying stops the last brood comes out after three weeks, and with it goes the warmth: so the
nest tells it about 18 days late, and a visit sooner. A hive that has swarmed, or was split or given
a queen, has no eggs either: there it is trouble only when the time that a new queen needs is over.
Autumn's end of brood is not, nor that of bees who starve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.detect.queen_counts import HUNGRY_KG, Sign
from hivewatch.detect.queen_falls import SHORT_DAY_H, Fall, falls_of
from hivewatch.detect.queen_visits import signs_of
from hivewatch.frames import FRAMES
from hivewatch.inspections import Inspection, stores_kg
from hivewatch.signals.bare import stepped_kg
from hivewatch.signals.brood import as_days_stay, over_bound_k
from hivewatch.signals.carried import first_after
from hivewatch.signals.days import DAY_S, days_of
from hivewatch.signals.departures import departures_of, is_watched
from hivewatch.signals.larder import larder_of
from hivewatch.signals.nest_bound import is_autumn, light_hours
from hivewatch.signals.season import laying_level, northern_day
from hivewatch.signals.warmth import warmth_of
from hivewatch.signals.window import HiveWindow

AUTUMN_VISIT_H = 12.5  # [h] own choice: the same for a visit that found no eggs
FAILING_LEVEL = 0.15  # own choice: of the most by season; later few eggs are usual
EMERGES_D, LAYS_D = 12, 20  # [d] published: emergency queens, the queen's calendar
SOONEST_D = 18  # [d] published: emergency queens lay from then on; warmth before is no brood
WAIT_D = 21  # [d] published: the bad-mating limit is three to four weeks from emergence
SWARM_WAIT_D = 35  # [d] published: weather, too; a virgin is out on day 8, and has 4 weeks
CAST_WAIT_D = 26  # [d] the same from the last cast, with which the queen that stays is out
CASTS_FROM_D = 7  # [d] published: a virgin is out on day 8; what left sooner before was no swarm
GIVEN_WAIT_D = 21  # [d] own choice: a queen that was given lays by then
SWARMS_UNTIL_DAY = 213.0  # own choice: 1 August; published, after-swarms leave about 18 July
OVERDUE_D = 7  # [d] own choice: trouble is dated back that far when the time is over
HUNGER_D = 8  # [d] own choice: so long after food came again there are larvae to be kept warm
NOTICED_D = 7  # [d] own choice: a visit so soon after tells why the brood went
LAID_D = 6  # [d] own choice: eggs seen so long after laying should have stopped speak against it
RIGHT_D = 7  # [d] own choice: eggs seen so long after a departure are no last ones
AROUND_D = 21  # [d] own choice: a departure so long before laying seems to have stopped explains it
TROUBLE, EGGS = ("stopped", "failing"), ("lays", "lays little", "failing")


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
    falls = as_days_stay(window, "falls", falls_of) if window.has("nest") else []
    if falls:
        falls = [
            one
            for one in falls
            if not _starved(window, inspections, visits, _when_due(window, visits, one.sign))
        ]
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
    day = int(np.clip(start_s.searchsorted(sign.at_s, side="right") - 1, 0, len(light_h) - 1))
    if sign.what == "failing":
        first = datetime.fromtimestamp(int(start_s[day]), UTC).date()
        return laying_level(first, window.yard.latitude) >= FAILING_LEVEL
    is_late = bool(is_autumn(window, AUTUMN_VISIT_H)[day])
    return bool(light_h[day] >= SHORT_DAY_H) and (not is_late or sign.has_cells)


def _when_due(window: HiveWindow, visits: Sequence[Sign], sign: Sign) -> Sign:
    """Give a fall as of when a young queen should lay: hunger of weeks before explains no more."""
    wait = _explained(window, visits, sign)
    if wait is None or wait[0] <= sign.told_s:
        return sign
    return replace(sign, at_s=wait[0], told_s=wait[0])


def _starved(
    window: HiveWindow, inspections: Sequence[Inspection], visits: Sequence[Sign], sign: Sign
) -> bool:
    """Say whether the bees had no food while the brood went: then they raise none, queen or not.

    A visit says it, the stores by the scale, or what the last visit judged less what went since.
    Bees who had food again for longer than brood is open would have brood again.
    """
    from_s = sign.at_s - HUNGER_D * DAY_S
    until_s = sign.told_s + NOTICED_D * DAY_S
    if any(one.what == "hungry" and from_s <= one.at_s <= until_s for one in visits):
        return True
    if not window.has("weight"):
        return False
    days, frame = days_of(window), FRAMES.get(window.hive.frame or "")
    left_kg = larder_of(window, inspections).stores_kg.copy()
    bare_kg = days.dawn_kg - stepped_kg(days, days.dawn_s)
    for one in inspections:
        judged_kg = stores_kg(one, frame) if frame else None
        at = int(days.dawn_s.searchsorted(one.at_s))
        if judged_kg is None or not 0 < at < len(days) or one.at_s > sign.told_s:
            continue
        fed = [step.before_s for step in days.steps if step.size_kg > HUNGRY_KG]
        until_s = min((moment for moment in fed if moment > one.at_s), default=sign.told_s)
        later = slice(at, int(days.dawn_s.searchsorted(until_s)))
        left_kg[later] = np.fmin(left_kg[later], judged_kg + bare_kg[later] - bare_kg[at - 1])
    during = (days.dawn_s >= from_s) & (days.dawn_s <= sign.told_s)
    return bool((left_kg[during] < HUNGRY_KG).any())


def _settled(
    window: HiveWindow, visits: Sequence[Sign], sign: Sign, fall: Fall | None
) -> Sign | None:
    """Give a sign as it is to be told, when what explains it has had its time; else None."""
    from_s = sign.at_s if fall is None else sign.since_s + LAID_D * DAY_S
    until_s = sign.told_s if fall is None else sign.at_s
    lays = any(from_s < one.at_s <= until_s for one in visits if one.what in EGGS)
    if lays or sign.told_s > max(window.last_s, sign.at_s):
        return None  # she lays again, and it will be warm again; or it is not settled yet
    wait = _explained(window, visits, sign)
    if wait is None:
        return sign
    until_s, words = wait
    if until_s <= sign.told_s:  # only since then she is missed
        return replace(sign, since_s=max(sign.since_s, until_s - OVERDUE_D * DAY_S))
    if fall is None or sign.what == "failing":
        return None  # a later visit, or the nest, tells whether it lasts
    well = [one.at_s for one in visits if one.what in (*EGGS, "requeened") and one.at_s > sign.at_s]
    well += [fall.back_s] if fall.back_s is not None else []
    is_well = min(well, default=until_s) < until_s or _is_warm(window, until_s)
    if is_well or until_s > window.over_s("nest"):
        return None
    return Sign(
        "stopped",
        until_s,
        first_after(window, "nest", until_s),
        until_s - OVERDUE_D * DAY_S,
        f"{sign.words}; {words}",
        0.8,
    )


def _is_warm(window: HiveWindow, at_s: int) -> bool:
    """Say whether the nest was within the warmth of brood on the two last days that are known."""
    known = int(np.searchsorted(warmth_of(window).told_s, at_s, side="right"))
    over_k = over_bound_k(window)[:known]
    return bool((over_k[~np.isnan(over_k)][-2:] > 0).all())


def _explained(window: HiveWindow, visits: Sequence[Sign], sign: Sign) -> tuple[int, str] | None:
    """Give until when a sign is explained, and by what; None if by nothing."""
    laid = [one.at_s for one in visits if one.what in EGGS and one.at_s < sign.at_s]
    gone = [
        one
        for one in departures_of(window)
        if sign.since_s - AROUND_D * DAY_S <= one <= sign.told_s
        and not any(eggs >= one + RIGHT_D * DAY_S for eggs in laid)
        and not any(here.what == "all here" and here.since_s < one < here.at_s for here in visits)
    ]
    given = [one.at_s for one in visits if one.what == "requeened" and one.at_s < sign.at_s]
    if gone:
        last = [one for one, after in pairwise(gone) if after - one >= CASTS_FROM_D * DAY_S]
        first = (last or gone[-1:])[0]  # of those that left close together
        until_s = max(first + SWARM_WAIT_D * DAY_S, gone[-1] + CAST_WAIT_D * DAY_S)
        return until_s, f"many bees left on {_day(window, first)}, and no young queen lays yet"
    if given and sign.at_s - given[-1] < GIVEN_WAIT_D * DAY_S:
        until_s = given[-1] + GIVEN_WAIT_D * DAY_S
        return until_s, f"a queen was given on {_day(window, given[-1])}, and does not lay yet"
    if (
        sign.is_sure
        or sign.what == "failing"
        or is_watched(window, sign.since_s - AROUND_D * DAY_S, sign.at_s)
        or _is_past_swarming(window, sign.since_s)
    ):
        return None
    until_s = sign.since_s + SWARM_WAIT_D * DAY_S
    return until_s, "had a swarm left unseen, a young queen would lay by now"


def _is_past_swarming(window: HiveWindow, since_s: int) -> bool:
    """Say whether laying stopped so late that hardly a swarm accounts for it, though nobody saw."""
    day = datetime.fromtimestamp(since_s, UTC).date()
    return northern_day(day, window.yard.latitude) > SWARMS_UNTIL_DAY


def _end_s(
    sign: Sign, visits: Sequence[Sign], falls: Sequence[Fall], told: Sequence[Sign]
) -> int | None:
    """Give when it was over: eggs, another queen, warmth again; or she who failed is gone. [s]."""
    well = ("lays",) if sign.what == "failing" else ("lays", "lays little")
    ends = [
        one.at_s
        for one in visits
        if (one.what in well and one.at_s > sign.told_s)
        or (one.what == "requeened" and one.at_s >= sign.told_s)
    ]
    soonest_s = max(sign.told_s, sign.since_s + SOONEST_D * DAY_S)
    ends += [one.back_s for one in falls if one.back_s is not None and one.back_s > soonest_s]
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
        measures={
            "laying": sign.what,  # "stopped" or "failing"
            "since_day": since,
            "eggs_from_day": eggs,
            "eggs_by_day": latest,
        },
        evidence=tuple(evidence),
        status="open" if end_s is None else "ended",
    )


def _day(window: HiveWindow, time_s: int, later_d: int = 0) -> str:
    """Give the yard's day of a moment, or one so many days later."""
    moment = datetime.fromtimestamp(time_s + later_d * DAY_S, UTC)
    return moment.astimezone(ZoneInfo(window.yard.timezone)).date().isoformat()
