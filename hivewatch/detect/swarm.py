"""Has a swarm left: `swarm`, with what it weighed and how many bees went.

A swarm takes 0.5 to 4 kg out of the entrance within minutes, by day, and nothing is lifted off the
scale meanwhile. A counter that saw the bees go tells it while they leave; so does a nest that warms
up as the weight falls. Of less than all foragers weigh, the nest must say so, or the counter that
nobody had been kept in. The scale alone tells it where two readings or more see it come (hands take
whole parts, a swarm pours out), surer once a visit would be over; where half an hour lies between
them, a nest that cooled says a swarm or a hand, if nobody wrote down a visit; a counter alone by
more bees than ever leave at once. Left to others: what a counter did not see go (frames taken out,
a lid blown off), and the slow losses of the morning and of drying lids. What comes back within two
hours has not left: a part that was put on again, or a swarm whose queen could not fly.
Where a part was lifted right after it, counter and nest must both have seen it leave.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.detect.gone import are_let_out, counted_s, gone, had_left, rushed
from hivewatch.detect.left import left, measures_counted, measures_of
from hivewatch.detect.limits import Limits
from hivewatch.detect.lost import alone_s, had_come_home, is_undone, lost_kg, was_fed
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import DAY_S, MARGIN_S
from hivewatch.signals.exodus import (
    AFTER_S,
    BEE_KG,
    CLEAR_SPREADS,
    FORAGERS_KG,
    STRAY_KG,
    Exodus,
    exodus_of,
)
from hivewatch.signals.exodus import LEAST_KG as LEAST_SEEN_KG
from hivewatch.signals.exodus import MOST_KG as MOST_SEEN_KG
from hivewatch.signals.late import is_awaited
from hivewatch.signals.outpour import Outpour, outpours_of
from hivewatch.signals.slips import with_slips
from hivewatch.signals.steps import QUIET_S, SPREADS, Step, moves_of
from hivewatch.signals.sun import is_light
from hivewatch.signals.turns import WARM_UP_K, WARMED_K, Asked, Said, nest_said
from hivewatch.signals.usual import usual_step_near
from hivewatch.signals.window import HiveWindow

# [kg] common practice, no source: casts to the heaviest prime swarms; more where a counter saw it
LEAST_KG, MOST_KG = 0.8, 4.5
QUICK_S = 900  # [s] own choice: all foragers of a strong hive take longer to leave
# [kg/h] own choice, as an error: a good flow, and foragers on their way, that a coarse feed cannot
# tell from the swarm; at half an hour between readings two in three losses lie within it
FLOW_KG_PER_H = 0.25
CLEAR_ERRORS = 1.5  # own choice: a loss of less than so many of its errors may be foragers
MINUTES_MOST = 45  # own choice: an exodus takes about ten minutes, from memory: Rangel, Seeley 2008
VISIT_S = 5400  # [s] own choice: so near to a visit that was written down, it may be of it
LIFTED_KG = 2.0  # [kg] own choice: a part in somebody's hands
# own choice: share of the loss that the counter saw go; with less it is a keeper's (`handling`)
SEEN_LEAST, SEEN_MOST = 0.3, 3.0
SEEN_LEAST_CROWDED, CROWD = 0.1, 4.0  # own choice: a counter misses most of a crowd that pours out
SEEN_LEAST_WARMED = 0.25  # own choice: foragers that come home meanwhile hide some of a cast
SHARP = 0.9  # own choice: share of a loss from one reading to the next, as a lid or a frame goes

# Own choice: bees may come back, and without a counter it may be a keeper's hand after all
UNDER_WAY, UNDER_WAY_UNCOUNTED = 0.9, 0.8
ALONE_COOLED = 0.5  # own choice: a hand cools the nest as well, where its warming was not seen
ALONE_SO_FAR, ALONE = 0.5, 0.7  # own choice: the scale alone; a visit would be over by now
COUNTED, COUNTED_ALONE = 0.9, 0.75  # own choice: with the nest, and the counter all by itself

BACK_S = 5 * DAY_S  # [s] as for `hivewatch.signals.carried`: a coarse feed's usual step


def find(window: HiveWindow, inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when a swarm left.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `weight`, or `bees-out` with `bees-in`; takes `nest`
        where there is one.
    inspections : Sequence[Inspection]
        Who wrote down a visit may have taken out what half-hourly readings miss.

    Returns
    -------
    list[Finding]
        Of kind `swarm`; `measures` are `kg_lost`, `kg_error`, `bees_left` and `bees_error`.

    References
    ----------
    Size: J. Rangel, T. D. Seeley (2012), Insectes Soc. 59:453; T. D. Seeley, R. A. Morse,
    P. K. Visscher (1979), Psyche 86:103: ten to twenty thousand bees.
    """
    pouring = exodus_of(window)
    moves = with_slips(window, pouring)
    visits_s = [one.at_s for one in inspections]
    found = [_as_first_told(one, pouring) for one in _settled(window, pouring, moves, visits_s)]
    counted = [_counted(window, one) for one in outpours_of(window)]
    return found + _under_way(window, pouring, moves) + counted


def _settled(
    window: HiveWindow, pouring: Sequence[Exodus], moves: Sequence[Step], visits_s: Sequence[int]
) -> Iterator[Finding]:
    """Judge the losses that are over, and that nothing undid."""
    since_s = window.carried.until_s - MARGIN_S
    lately = moves[bisect_left(moves, since_s - DAY_S, key=lambda one: one.settled_s) :]
    known = [one for one in lately if one.is_lasting or _seen(pouring, one)]
    for i, step in enumerate(known):
        if step.settled_s < since_s or not _is_loss(window, step, LEAST_SEEN_KG):
            continue
        if any(is_undone(step, later) for later in known[i + 1 :]):
            continue
        whole, span_s = _from_its_start(step, pouring), alone_s(known, i)
        is_visited = any(abs(at_s - step.before_s) <= VISIT_S for at_s in visits_s)
        yield from _judge(window, whole, span_s, pouring, is_visited=is_visited)


def _judge(
    window: HiveWindow,
    step: Step,
    span_s: tuple[int, int],
    pouring: Sequence[Exodus],
    *,
    is_visited: bool,
) -> Iterator[Finding]:
    """Judge one loss, by the counter where one was at work."""
    kg = lost_kg(window.of("weight").between(*span_s), step)
    seen = _seen(pouring, step)
    if kg is None and not seen:
        return
    kg = -step.size_kg if kg is None else kg
    if step.low_kg > STRAY_KG:  # foragers came home before the scale was quiet
        kg = max([kg, *(been.kg for been in seen)])
    may_be_foragers = kg < FORAGERS_KG and had_come_home(window, step, kg)
    if may_be_foragers and _nest_of(window, step, "seldom").what != "swarm":
        return
    bees = gone(window, step)
    if bees is not None:
        yield from _by_counter(window, step, kg, bees, seen)
    elif not is_awaited(window, "bees-out", step.before_s, step.after_s + AFTER_S):
        yield from _by_weight(window, step, kg, is_visited=is_visited)


def _from_its_start(step: Step, pouring: Sequence[Exodus]) -> Step:
    """Let a loss begin where it was first seen pouring out: the first bees are of it."""
    begun_s = [been.start_s for been in _seen(pouring, step)]
    return replace(step, before_s=min([step.before_s, *begun_s]))


def _by_counter(
    window: HiveWindow, step: Step, kg: float, bees: float, seen: Sequence[Exodus]
) -> Iterator[Finding]:
    """Judge a loss that a counter saw: more than all foragers weigh, or as the nest says.

    Where the nest says nothing, or bees rushed out all the same, it is one unless they had been
    kept in.
    """
    nest = _nest_of(window, step, "counted")
    least = SEEN_LEAST_WARMED if nest.warmer_k >= WARMED_K else SEEN_LEAST
    if nest.what == "swarm" and _is_crowd(window, step):
        least = SEEN_LEAST_CROWDED
    if not least <= bees * BEE_KG / kg <= SEEN_MOST:
        return
    told_s = counted_s(window, step)
    is_clear = seen or nest.what == "swarm" or rushed(window, step, bees)
    spreads = SPREADS if is_clear else CLEAR_SPREADS
    if kg < step.spread_kg * spreads:
        return
    if nest.what == "swarm":
        told_s = max(told_s, nest.told_s)
    elif min(kg, -step.size_kg) < FORAGERS_KG:
        is_rush = any(been.seen_s - been.start_s <= QUICK_S for been in seen)
        let_out = are_let_out(window, step)
        if let_out.are in {True, None} or not (nest.what == "nothing" or is_rush):
            return
        told_s = max(told_s, let_out.told_s)
    words = _more(bees)
    yield _left(window, step, kg, told_s, 0.97, words)


def _is_crowd(window: HiveWindow, step: Step) -> bool:
    """Say whether many times more bees went than came while the weight fell."""
    went, came = (
        float(window.of(name).between(step.before_s + 1, step.after_s + 1).value.sum())
        for name in ("bees-out", "bees-in")
    )
    return went > CROWD * max(came, 1.0)


def _more(bees: float) -> str:
    return f"the counter saw about {round(bees, -2):,.0f} more bees go than come"


def _nest_of(window: HiveWindow, step: Step, asked: Asked) -> Said:
    """Ask the nest about a loss."""
    return nest_said(window.of("nest"), step.before_s, step.after_s, window.last_s, asked)


def _seen(pouring: Sequence[Exodus], step: Step) -> list[Exodus]:
    """Give what was seen pouring out of a loss."""
    return [been for been in pouring if been.start_s < step.after_s and step.before_s < been.seen_s]


def _as_first_told(one: Finding, pouring: Sequence[Exodus]) -> Finding:
    """Give a swarm the time of the reading at which it was told while bees were still leaving."""
    end_s = one.end_s or one.start_s
    told = [been.told_s for been in pouring if been.start_s < end_s and one.start_s < been.seen_s]
    return replace(one, detected_s=min([one.detected_s, *told]))


def _under_way(
    window: HiveWindow, pouring: Sequence[Exodus], settled: Sequence[Step]
) -> list[Finding]:
    """Tell what is not settled yet: so much has gone by now."""
    now = [been for been in pouring if not settled or been.seen_s > settled[-1].settled_s]
    if not now:
        return []
    told_s, last = min(been.told_s for been in now), now[-1]
    minutes = (last.seen_s - last.start_s) / 60
    by = f"the nest had warmed up by {last.warmer_k:.1f} K before"
    if last.bees:
        by = _more(last.bees)
    evidence = f"{last.kg:.1f} kg left within {minutes:.0f} min by day; more may be going yet", by
    measures = measures_of(last.kg, last.kg_error)
    span = now[0].start_s, last.seen_s
    sure = UNDER_WAY if last.bees else UNDER_WAY_UNCOUNTED
    return [left(window, span, told_s, sure, measures, evidence)]


def _counted(window: HiveWindow, one: Outpour) -> Finding:
    """Tell what the counter alone saw leave."""
    minutes = (one.end_s - one.start_s) / 60
    by = "they did not come home; nobody weighs the hive"
    if one.warmer_k >= WARM_UP_K:
        by = f"the nest had warmed up by {one.warmer_k:.1f} K before; nobody weighs the hive"
    seen = f"{_more(one.bees)} within {minutes:.0f} min"
    measures = measures_counted(one.bees, one.bees_error)
    sure = COUNTED if one.warmer_k >= WARM_UP_K else COUNTED_ALONE
    return left(window, (one.start_s, one.end_s), one.told_s, sure, measures, (seen, by))


def _is_loss(window: HiveWindow, step: Step, least_kg: float) -> bool:
    """Say whether a step can be a swarm: its size, its time of day, how long it took."""
    took_s = step.after_s - step.before_s
    return (
        -MOST_SEEN_KG <= step.size_kg <= -least_kg
        and (
            took_s <= MINUTES_MOST * 60
            or took_s <= 2 * (usual_step_near(window.of("weight"), step.before_s) or 0) + 60
        )
        and (max(step.low_kg, step.high_kg) < LIFTED_KG or had_left(window, step))
        and is_light(window.yard, step.before_s)
        and is_light(window.yard, step.after_s)
    )


def _by_weight(window: HiveWindow, step: Step, kg: float, *, is_visited: bool) -> Iterator[Finding]:
    """Judge a loss without a counter: by the nest, else by how it went.

    What a visit, when it is over, turns out to have taken is no swarm, and was told in vain. Where
    a probe at work says nothing of a swarm, foragers left, or somebody took something out.
    """
    nest = _nest_of(window, step, "weighed")
    if kg < CLEAR_ERRORS * _error_kg(step):
        return
    if nest.what == "swarm":
        words = f"the nest had warmed up by {nest.warmer_k:.1f} K before"
        yield _left(window, step, kg, max(step.settled_s, nest.told_s), 0.9, words)
    if nest.what not in {"cooled", "nothing"}:
        return
    if was_fed(window, step, kg):
        return
    near = [
        one
        for one in moves_of(window)
        if one.before_s < step.after_s and step.before_s < one.after_s
    ]
    if not all(
        one.before_s <= step.before_s
        and step.after_s <= one.after_s
        and one.is_lasting
        and _is_loss(window, one, LEAST_SEEN_KG)
        for one in near
    ):
        return
    if nest.what == "cooled":
        if LEAST_KG <= kg <= MOST_KG and not is_visited:
            words = f"the nest cooled by {nest.warmer_k:.1f} K with it; or frames were taken out"
            yield _left(window, step, kg, max(step.settled_s, nest.told_s), ALONE_COOLED, words)
        return
    is_quick = step.after_s - step.before_s <= QUICK_S
    at_once = abs(step.sharp_kg) >= SHARP * kg  # what goes so may be a feeder or a lid
    if (LEAST_KG if is_quick else FORAGERS_KG) <= kg <= MOST_KG and not at_once:
        sure = ALONE if near else ALONE_SO_FAR
        yield _left(window, step, kg, step.settled_s, sure, "nothing was lifted meanwhile")


def _left(
    window: HiveWindow, step: Step, kg: float, told_s: int, confidence: float, words: str
) -> Finding:
    """Put a swarm into words and figures."""
    minutes = (step.after_s - step.before_s) / 60
    evidence = f"{kg:.1f} kg left within {minutes:.0f} min by day and did not come back", words
    span = step.before_s, step.after_s
    measures = measures_of(kg, _error_kg(step))
    return left(window, span, told_s, confidence, measures, evidence)


def _error_kg(step: Step) -> float:
    """Give the error of a loss: of its readings, and of what came and went meanwhile. [kg]."""
    meanwhile_kg = FLOW_KG_PER_H * max(0, step.after_s - step.before_s - QUIET_S) / 3600
    return float(np.hypot(step.spread_kg, meanwhile_kg))
