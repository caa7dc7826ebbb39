"""Has a swarm left: `swarm`, with what it weighed and how many bees went.

A swarm takes 0.8 to 4 kg out of the entrance within minutes, by day, and nothing is lifted off the
scale meanwhile. A counter that saw the bees go settles it within ten minutes. So does the scale
alone where several readings see the loss come bit by bit: hands take whole parts, a swarm pours
out. Else the watch waits until a visit would be over. The nest, which warms up before a swarm
leaves, speaks for one where there is a probe. Left to others: what a counter did not see go (frames
taken out, a lid blown off), and the slow losses of the morning and of drying lids.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import DAY_S, MARGIN_S
from hivewatch.signals.late import is_awaited
from hivewatch.signals.steps import Step, moves_of, steps_of
from hivewatch.signals.sun import is_light
from hivewatch.signals.usual import usual_step_near
from hivewatch.signals.window import HiveWindow, Series

LEAST_KG, MOST_KG = 0.8, 4.5  # [kg] common practice, no source: casts to the heaviest prime swarms
LEAST_SEEN_KG = 0.45  # [kg] own choice: the lightest casts, when counter or nest speak for one
CLEAR_SPREADS = 6.0  # own choice: the same seen by the step's own error, where a counter speaks
# Own choice: so long away from a loss its levels are read, from so much time, or from so many
# readings where they are further apart; then the readings at its edges count, too.
EDGE_S, SIDE_S, SIDE, TREND_SIDE = 300, 900, 3, 4
TREND_KG_PER_H = 0.6  # [kg/h] own choice: what bees alone can do for hours, as in signals/steps
TREND_LEAST = 3  # [readings] fewer have no trend
# Own choice: share of the loss that may go on before and after it; foragers that go out again after
# a shower leave a slope and no step.
SLOPE = 0.3
BEE_KG = 0.000136  # [kg] published: 0.1 g and 36 mg of honey, constants in Becher et al. (2014)
BEE_ERROR = 0.15  # own choice: bees fill themselves more or less
MINUTES_MOST = 45  # own choice: an exodus takes about ten minutes, from memory: Rangel, Seeley 2008
LIFTED_KG = 2.0  # [kg] own choice: a part in somebody's hands
SEEN_LEAST, SEEN_MOST = 0.35, 3.0  # own choice: share of the loss that the counter saw go
AFTER_S = 900  # [s] own choice: the last of a swarm, and counters that report a little later
# [kg] common practice, no source: all foragers of a strong hive, a third of 40,000 bees of 0.1 g
FORAGERS_KG = 1.3
KEPT_IN_S = 2 * 3600  # [s] own choice: so long before, bees that are let out had hardly flown,
KEPT_IN = 0.3  # own choice: at most at so much of the rate at which they fly afterwards
SHELTER_S = 3 * 3600  # [s] own choice: how long a shower may keep foragers at home
BEFORE_S = 3600  # [s] popular: the nest warms up within half an hour, from memory 10 to 20 minutes
USUAL_S = 3 * 3600  # [s] own choice: what the nest was like before that
WARM_UP_K = 0.6  # [K] own choice: under the 1.5 to 3.4 K from memory, for a probe off the centre
SHARP = 0.9  # own choice: share of a loss from one reading to the next, as a lid or a frame goes
GRADUAL = 0.75  # own choice: at most so much of it, and it poured out under the scale's eyes
STRAY_KG = 0.2  # [kg] own choice: a hand on the hive shows as more, noise as less

BACK_S = 5 * DAY_S  # [s] as for `hivewatch.signals.carried`: a coarse feed's usual step


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when a swarm left.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `weight`; takes `bees-out`, `bees-in` and `nest`
        where there are any.

    Returns
    -------
    list[Finding]
        Of kind `swarm`; `measures` are `kg_lost`, `kg_error`, `bees_left` and `bees_error`.

    References
    ----------
    Size: J. Rangel, T. D. Seeley (2012), Insectes Soc. 59:453; T. D. Seeley, R. A. Morse,
    P. K. Visscher (1979), Psyche 86:103: ten to twenty thousand bees.
    """
    weight = window.of("weight")
    since_s = window.carried.until_s - MARGIN_S
    steps = [
        step
        for step in steps_of(window)
        if step.settled_s >= since_s and _is_loss(window, step, LEAST_SEEN_KG)
    ]
    if not steps:
        return []
    moves = moves_of(window)
    found: list[Finding] = []
    for step in steps:
        kg = _lost_kg(weight, step)
        bees = _gone(window, step)
        if kg is None or (
            bees is None and is_awaited(window, "bees-out", step.before_s, step.after_s + AFTER_S)
        ):
            continue
        if bees is None:
            found += _by_weight(window, step, kg, moves)
        elif kg < FORAGERS_KG and _are_let_out(window, step):
            continue
        elif kg >= CLEAR_SPREADS * step.spread_kg and SEEN_LEAST <= bees * BEE_KG / kg <= SEEN_MOST:
            words = f"the counter saw about {bees:,.0f} more bees go than come"
            found.append(_left(window, step, kg, _counted_s(window, step), 0.97, words))
    return found


def _is_loss(window: HiveWindow, step: Step, least_kg: float) -> bool:
    """Say whether a step can be a swarm: its size, its time of day, how long it took."""
    took_s = step.after_s - step.before_s
    return (
        -MOST_KG <= step.size_kg <= -least_kg
        and (
            took_s <= MINUTES_MOST * 60
            or took_s <= 2 * (usual_step_near(window.of("weight"), step.before_s) or 0) + 60
        )
        and max(step.low_kg, step.high_kg) < LIFTED_KG
        and is_light(window.yard, step.before_s)
        and is_light(window.yard, step.after_s)
    )


def _lost_kg(weight: Series, step: Step) -> float | None:
    """Give the loss between the trends before and after it; None where it has no clear edge.

    The readings at the edges of a step may have been taken while bees were leaving. What nectar
    brings in, or foragers take out, from the one side to the other is no part of the loss.
    """
    usual_s = usual_step_near(weight, step.before_s) or 0
    reach_s = max(SIDE_S, SIDE * usual_s) + EDGE_S
    before = _between(weight, step.before_s - reach_s, step.before_s - EDGE_S).value
    after = _between(weight, step.after_s + EDGE_S, step.after_s + reach_s).value
    if not (len(before) and len(after)):
        return None
    kg = float(np.median(before) - np.median(after))
    goes_on = max(0.0, float(before[0] - before[-1])) + max(0.0, float(after[0] - after[-1]))
    if kg < LEAST_SEEN_KG or goes_on > SLOPE * kg:
        return None
    edge_s = EDGE_S if usual_s <= EDGE_S else 0
    reach_s = max(SIDE_S, TREND_SIDE * usual_s) + edge_s
    middle_s = (step.before_s + step.after_s) / 2
    return _carried_on(
        _between(weight, step.before_s - reach_s, step.before_s - edge_s), middle_s
    ) - _carried_on(_between(weight, step.after_s + edge_s, step.after_s + reach_s), middle_s)


def _carried_on(side: Series, to_s: float) -> float:
    """Give what a side's weight comes to at a moment if its trend (Theil, Sen) goes on. [kg]."""
    if len(side) < TREND_LEAST:
        return float(np.median(side.value))
    first, second = np.triu_indices(len(side), 1)
    slopes = (side.value[second] - side.value[first]) / (side.time_s[second] - side.time_s[first])
    most = TREND_KG_PER_H / 3600
    slope = float(np.clip(np.median(slopes), -most, most))
    return float(np.median(side.value - slope * (side.time_s - to_s)))


def _between(series: Series, from_s: int, to_s: int) -> Series:
    """Give the readings from one moment to another, both included."""
    low, high = np.searchsorted(series.time_s, [from_s, to_s + 1])
    return Series(series.time_s[low:high], series.value[low:high])


def _gone(window: HiveWindow, step: Step) -> float | None:
    """Give how many more bees went than came; None where no counter was at work.

    Bees that had come home shortly before, from a shower, are not a swarm when they fly again.
    """
    out, back = window.of("bees-out"), window.of("bees-in")
    to_s = _counted_to_s(window, step)
    gone, came = _sum(out, step.before_s, to_s), _sum(back, step.before_s, to_s)
    if gone is None or came is None:
        return None
    from_s = step.before_s - SHELTER_S
    sheltered = (_sum(back, from_s, step.before_s) or 0) - (_sum(out, from_s, step.before_s) or 0)
    return gone - came - max(0.0, sheltered)


def _counted_to_s(window: HiveWindow, step: Step) -> int:
    """Give up to when a counter's records tell of a loss: its last one may come a step later."""
    usual_s = usual_step_near(window.of("bees-out"), step.before_s) or 0
    return step.after_s + max(AFTER_S, usual_s)


def _counted_s(window: HiveWindow, step: Step) -> int:
    """Give when the loss was over and counted, also by a counter that reports seldom."""
    to_s, time_s = _counted_to_s(window, step), window.of("bees-out").time_s
    last_s = int(time_s[np.searchsorted(time_s, to_s, side="right") - 1])
    return max(step.settled_s, last_s) if to_s > step.after_s + AFTER_S else step.settled_s


def _are_let_out(window: HiveWindow, step: Step) -> bool:
    """Say whether rain or cold had kept the bees in, so that all foragers go at once.

    After a swarm fewer fly than before it, after a shower many more; and no nest warms up for that.
    """
    out = window.of("bees-out")
    before = _sum(out, step.before_s - KEPT_IN_S, step.before_s)
    after = _sum(out, step.after_s, step.settled_s)
    if before is None or not after:
        return False
    warmed_k = _warmed_k(window.of("nest"), step)
    kept_in = before / KEPT_IN_S < KEPT_IN * after / (step.settled_s - step.after_s)
    return kept_in and not (warmed_k is not None and warmed_k >= WARM_UP_K)


def _sum(series: Series, from_s: int, to_s: int) -> float | None:
    """Add up what was counted after `from_s` and up to `to_s`; None where nothing was."""
    low, high = np.searchsorted(series.time_s, [from_s, to_s], side="right")
    return float(series.value[low:high].sum()) if high > low else None


def _by_weight(
    window: HiveWindow, step: Step, kg: float, moves: Sequence[Step]
) -> Iterator[Finding]:
    """Judge a loss without a counter: at once where it is plain, else once a visit would be over.

    What a visit, when it is over, turns out to have taken is no swarm, and was plain in vain.
    """
    near = [one for one in moves if one.before_s < step.after_s and step.before_s < one.after_s]
    move = next(
        (one for one in near if one.before_s <= step.before_s and step.after_s <= one.after_s),
        None,
    )
    warmed_k = _warmed_k(window.of("nest"), step)
    has_warmed = warmed_k is not None and warmed_k >= WARM_UP_K
    is_plain = _poured_out(step, kg) and (warmed_k is None or has_warmed)
    if move is None and (near or not is_plain):
        return
    if move and not (_is_loss(window, move, LEAST_SEEN_KG) and move.is_lasting):
        return
    told_s = move.settled_s if move and not is_plain else step.settled_s
    at_once = abs(step.sharp_kg) >= SHARP * kg
    if warmed_k is not None and has_warmed:
        words = f"the nest had warmed up by {warmed_k:.1f} K before"
        yield _left(window, step, kg, told_s, 0.9, words)
    elif kg >= LEAST_KG and not at_once:  # what goes between two readings may be a feeder or a lid
        words = "nothing was lifted meanwhile"
        yield _left(window, step, kg, told_s, 0.7 if warmed_k is None else 0.6, words)


def _poured_out(step: Step, kg: float) -> bool:
    """Say whether several readings saw a loss come bit by bit, with no hand on the hive."""
    return (
        step.readings > 1
        and step.sharp_kg <= GRADUAL * kg
        and max(step.low_kg, step.high_kg) < STRAY_KG
    )


def _warmed_k(nest: Series, step: Step) -> float | None:
    """Give how far the nest had warmed up before a loss; None where it is not known."""
    edges = [step.before_s - BEFORE_S - USUAL_S, step.before_s - BEFORE_S, step.after_s + 1]
    first, middle, last = np.searchsorted(nest.time_s, edges)
    if middle in (first, last):
        return None
    return float(nest.value[middle:last].max() - np.median(nest.value[first:middle]))


def _left(
    window: HiveWindow, step: Step, kg: float, told_s: int, confidence: float, words: str
) -> Finding:
    """Put a swarm into words and figures."""
    bees = kg / BEE_KG
    minutes = (step.after_s - step.before_s) / 60
    error = float(np.hypot(step.spread_kg / kg, BEE_ERROR))
    return Finding(
        kind="swarm",
        subject=f"hive:{window.hive.id}",
        start_s=step.before_s,
        end_s=step.after_s,
        detected_s=told_s,
        confidence=confidence,
        status="ended",
        measures={
            "kg_lost": round(kg, 2),
            "kg_error": round(step.spread_kg, 2),
            "bees_left": round(bees, -2),
            "bees_error": round(bees * error, -2),
        },
        evidence=(f"{kg:.1f} kg left within {minutes:.0f} min by day and did not come back", words),
    )
