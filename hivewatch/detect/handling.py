"""Did somebody open or move the hive: `handling`, with what was added in kg.

The weight tells it by abrupt moves that leave a step or go far down and come back; the nest, where
the weight does not move, by a dip of its warmth. Left to others: rain, which comes in several steps
of under 2.5 kg and dries off; a loss of 0.8 to 4 kg by day with nothing lifted, as a swarm leaves
it, unless a counter saw nobody go, or a scale alone lost it within minutes, where only the
keeper knows; and a weight that stays near nothing.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence

import numpy as np

from hivewatch.detect.added import added_kg
from hivewatch.detect.doubts import DOUBTED_S, is_doubted, is_other_scale, is_wild, was_stuck
from hivewatch.detect.finding import Finding
from hivewatch.detect.handled import LEAST_KG, LIFTED_KG, OPENED_KG, handled, opened
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import DAY_S, MARGIN_S
from hivewatch.signals.dips import Dip, dips_of
from hivewatch.signals.drying import SHARP, is_at_once, stayed_s
from hivewatch.signals.exodus import FORAGERS_KG
from hivewatch.signals.late import is_awaited
from hivewatch.signals.steps import Step, moves_of
from hivewatch.signals.sun import is_light, sun_height_deg
from hivewatch.signals.window import HiveWindow, Series

RAIN_MOST_KG = 2.4  # [kg] own choice: heaviest rain on a lid, 2.2 kg in 2014 in Arizona
SWARM_MOST_KG = 5.0  # [kg] common practice, no source: swarms of up to 4 kg; own margin
LOADED_BEE_KG = 0.000136  # [kg] published: 0.1 g and 36 mg of honey, Winston (1987) p. 185
EXODUS_SHARE = 0.3  # own choice: of a loss that counted bees account for, more is a swarm
HOME_SHARE = 0.35  # own choice: of a gain that counted bees account for, more is foragers
# [kg], [s] own choice: 8,000 foragers with their loads, a third of a strong hive, within a reading
# of more than a shower's first ten minutes
HOME_KG, HOME_S = 1.1, 900
ALONE_KG = 8.0  # [kg] own choice: a box with bees or honey, where one reading is all there is
WORK_DEG = 10.0  # [deg] own choice: height of the sun at which people open hives
DIP_K = 2.0  # [K] own choice: an opening that shows in warmth alone
DIP_HUMID = 0.4  # [%RH/K] own choice: damp air comes up when a lid is off
COARSE_S = (540, 1080)  # [s] own choice: of one reading so long, a visit can be all there is
COOLED_K = 0.4  # [K] own choice: what an opened nest loses at least, four times its noise
OPEN_K = 1.0  # [K] own choice: the same where something was put on; no shower cools a nest so
COOLED = 3.0  # own choice: ... and times what it moved in the hour before; a far probe drifts
HALF = 0.5
GAP_S = 3 * 3600  # [s] own choice: a step across a longer gap is not placed by day or night
AROUND_S = 1800  # [s] own choice: a dip this near to a move belongs to it


BACK_S = 11 * DAY_S  # [s] as for `hivewatch.signals.carried`: a scale that stood still


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when the hive was opened or moved, and what that added.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`; of `weight`, `nest`, `nest-humidity` and `rain` it takes
        what there is.

    Returns
    -------
    list[Finding]
        Of kind `handling`; told when it is over, a light step an hour or two later.

    References
    ----------
    The rain and feedings that the choices above were made on: Holst N., Meikle W. G. (2018),
    Insects 9(4):176, labelled days of 2014; the openings: Abdollahi M. et al. (2024),
    doi:10.20383/103.0972.
    """
    weight = window.of("weight")
    since_s = window.carried.until_s - MARGIN_S
    known = moves_of(window)
    doubted = bisect_left(known, since_s - DOUBTED_S, key=lambda move: move.before_s)
    wild_s = [move.before_s for move in known[doubted:] if is_wild(window, move)]
    moves = known[bisect_left(known, since_s, key=lambda move: move.settled_s) :]
    dips = [
        dip
        for dip in dips_of(window)
        if dip.back_s >= since_s and _is_opening(dip) and is_light(window.yard, dip.low_s)
    ]
    dips.sort(key=lambda one: one.low_s)
    low_s = [dip.low_s for dip in dips]
    found: list[Finding] = []
    at_moves: set[int] = set()
    for move in moves:
        around = _near(low_s, move)
        at_moves.update(around)
        if is_other_scale(window, move) or was_stuck(weight, move):
            continue
        near = [dips[i] for i in around]
        if not near and is_doubted(window, move, wild_s):
            continue
        told = _judge(window, move, near)
        if told is not None:
            found.append(told)
    alone = (dip for i, dip in enumerate(dips) if i not in at_moves)
    return found + [opened(window, dip) for dip in alone]


def _is_opening(dip: Dip) -> bool:
    """Say whether a dip of the nest is deep, or damp, enough for an opened hive."""
    if dip.humidity_rise is None:
        return dip.depth_k >= DIP_K
    return dip.humidity_rise >= DIP_HUMID * dip.depth_k or (
        dip.depth_k >= DIP_K and dip.humidity_rise > 0
    )


def _near(low_s: Sequence[int], move: Step) -> range:
    """Say which dips of the nest, by the times of their lowest, belong to a move of the weight."""
    from_s = max(move.before_s, move.after_s - GAP_S)  # not just anywhere in a long silence
    first = bisect_left(low_s, from_s - AROUND_S)
    return range(first, bisect_right(low_s, move.after_s + AROUND_S))


def _judge(window: HiveWindow, move: Step, dips: list[Dip]) -> Finding | None:
    """Decide on one move: handling, or None."""
    gap = move.after_s - move.before_s > GAP_S
    light = gap or is_light(window.yard, move.before_s) or is_light(window.yard, move.after_s)
    lifted = max(move.low_kg, move.high_kg)
    size = move.size_kg if move.is_lasting else 0.0
    told_s: int | None = move.settled_s
    confidence = 0.95 if light else 0.8
    if size > RAIN_MOST_KG:
        if not (is_at_once(move) or lifted >= LIFTED_KG or dips or _is_carried(move)):
            return None  # it came slowly: snow, or hours of rain
    elif size >= LEAST_KG:
        if lifted < LIFTED_KG and not dips:
            if _came_home(window, move) or added_kg(window, move) < HALF * size:
                return None  # bees
            told_s = _put_on_s(window, move) if light and not gap else None
            confidence = 0.85
    elif size > -SWARM_MOST_KG or _is_exodus(window, move):
        if lifted >= (OPENED_KG if abs(size) < LEAST_KG else LIFTED_KG):
            confidence = _opened_by_weight(window, move, dips)
        elif abs(size) < LEAST_KG:
            confidence = 0.8 if dips else 0.0
        else:  # a swarm's loss is not told here; what bees did not carry off is
            confidence = _taken_out(window, move)
        confidence = confidence if light else 0.0
    if told_s is None or confidence <= 0:
        return None
    return handled(window, move, size, told_s, confidence, dips)


def _is_carried(move: Step) -> bool:
    """Say whether more came from one reading to the next than any weather brings."""
    return move.sharp_kg > RAIN_MOST_KG and move.after_s - move.before_s <= GAP_S


def _came_home(window: HiveWindow, move: Step) -> bool:
    """Say whether a light gain may be the foragers, whom a shower sends home all at once.

    The counter knows; it is waited for. Without one, what foragers weigh is told from what a hand
    puts on only by readings that show how quickly it came.
    """
    if is_awaited(window, "bees-in", move.before_s, move.after_s + AROUND_S):
        return True
    if window.of("bees-in").between(move.before_s, move.after_s + 1).time_s.size:
        return -_left_kg(window, move) > HOME_SHARE * move.size_kg
    return move.size_kg < HOME_KG and move.after_s - move.before_s > HOME_S


def _taken_out(window: HiveWindow, move: Step) -> float:
    """Say how sure a loss as of a swarm, gone from one reading to the next, was taken out.

    Where neither counter nor probe was at work it may be either, and the keeper is to be asked.
    """
    if is_at_once(move) and _nobody_left(window, move):
        return 0.6
    is_quick = move.after_s - move.before_s <= HOME_S  # what takes longer may be a swarm
    if -move.size_kg < FORAGERS_KG or not is_quick or abs(move.sharp_kg) < SHARP * -move.size_kg:
        return 0.0
    span_s = move.before_s - AROUND_S, move.after_s + AROUND_S
    alone = not any(len(window.of(name).between(*span_s)) for name in ("bees-out", "nest"))
    return 0.5 if alone else 0.0


def _nobody_left(window: HiveWindow, move: Step) -> bool:
    """Say whether a counter at work saw hardly a bee of a loss go: a frame, or a lid, went.

    What all foragers weigh may have gone before a coarse counter reports.
    """
    if -move.size_kg < FORAGERS_KG or is_awaited(
        window, "bees-out", move.before_s, move.after_s + AROUND_S
    ):
        return False
    out = window.of("bees-out").between(move.before_s, move.after_s + AROUND_S + 1)
    return bool(out.time_s.size) and _left_kg(window, move) < EXODUS_SHARE / 2 * -move.size_kg


def _is_exodus(window: HiveWindow, move: Step) -> bool:
    """Say whether the counter saw the bees go that the scale lost."""
    return _left_kg(window, move) > EXODUS_SHARE * -move.size_kg


def _left_kg(window: HiveWindow, move: Step) -> float:
    """Give what the bees weigh that the counter saw go, less those that came, about a move [kg]."""
    left = 0.0
    for name, sign in (("bees-out", 1), ("bees-in", -1)):
        series = window.of(name)
        low, high = series.time_s.searchsorted(
            [move.before_s, move.after_s + AROUND_S], side="right"
        )
        left += sign * float(series.value[low:high].sum())
    return left * LOADED_BEE_KG


def _off(weight: Series, move: Step) -> tuple[bool, float]:
    """Say whether two readings in a row saw a part lifted, and how long one stands for. [s].

    Bad ones lie on either side.
    """
    low, high = weight.time_s.searchsorted([move.before_s, move.after_s + 1])
    off_kg = weight.value[low:high] - move.level_kg
    is_off = np.minimum(np.abs(off_kg), np.abs(off_kg - move.size_kg)) >= LIFTED_KG
    at = low + np.flatnonzero(is_off)
    around_s = weight.time_s[np.minimum(at + 1, len(weight) - 1)] - weight.time_s[at - 1]
    in_a_row = is_off[1:] & is_off[:-1] & (off_kg[1:] * off_kg[:-1] > 0)
    return bool(in_a_row.any()), float(around_s.max(initial=0)) / 2


def _put_on_s(window: HiveWindow, move: Step) -> int | None:
    """Say when a light gain by day was told from rain: it stayed, or the hive was opened. [s]."""
    told_s = stayed_s(window.of("weight"), window.of("rain"), move)
    if told_s is not None or not is_at_once(move):
        return told_s
    times_s = _cooled_s(window, move, OPEN_K)
    return max(move.settled_s, times_s[0]) if times_s else None


def _cooled_s(window: HiveWindow, move: Step, least_k: float) -> list[int] | None:
    """Give when the nest was cooler with a move, all of it; None where there is no nest to ask."""
    nest = window.of("nest")
    edges = [move.before_s - 2 * AROUND_S, move.before_s, move.after_s + AROUND_S]
    first, middle, last = nest.time_s.searchsorted(edges)
    if middle in (first, last):
        return None
    before = nest.value[first:middle]
    cooled_k = np.median(before) - nest.value[middle:last]
    is_cooler = cooled_k >= max(least_k, COOLED * float(np.ptp(before)))
    return [int(one) for one in nest.time_s[middle:last][is_cooler]]


def _opened_by_weight(window: HiveWindow, move: Step, dips: list[Dip]) -> float:
    """Say how sure a weight that was lifted and put back is an opened hive, and no bad reading."""
    if dips:
        return 0.95
    lasted, between_s = _off(window.of("weight"), move)
    if lasted or abs(added_kg(window, move)) >= LEAST_KG:
        return 0.9  # a bad reading leaves no step, and hardly follows upon another
    low_s, high_s = COARSE_S
    real = move.low_kg >= OPENED_KG and move.level_kg - move.low_kg > LIFTED_KG
    if not (real and low_s < between_s <= high_s):
        return 0.0
    cooled_s = _cooled_s(window, move, COOLED_K)
    if cooled_s is None:  # nobody to ask: only what is heavy, and at working hours
        at_work = sun_height_deg(window.yard, (move.before_s + move.after_s) // 2) > WORK_DEG
        return 0.6 if move.low_kg >= ALONE_KG and at_work else 0.0
    return 0.7 if cooled_s else 0.0
