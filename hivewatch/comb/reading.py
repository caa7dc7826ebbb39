"""Read one comb: how the queen has laid for three weeks, and what will emerge in the next three."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np

from hivewatch.comb.count import MOST_EGGS, OVERSEEN_CELLS, CombCount
from hivewatch.comb.curve import fit_curve
from hivewatch.comb.stages import DRONE, WORKER, Floats, Stages

Trend = Literal["rising", "steady", "falling", "stopped", "just started", "broken", "unknown"]
Days = tuple[int, int | None]

Z_80 = 1.2815515655446004  # the central 80 % of a normal distribution
WITHIN = 0.80  # of the truth, that a range is to hold

TREND_Z = 1.6448536269514722
"""Slope over its spread before laying is called rising or falling. Own choice: one steady colony in
ten is called either when the counting error is as stated; tests/property/test_comb_truth.py."""

DRIFT = 0.09
"""How far laying wanders, in the square root of days: 9 % in a day, 28 % in ten. Own choice: spring
growth of published season curves is 2 % a day (Schmickl & Crailsheim 2007) to 6 % (McLellan et al.
1978), and weather adds to it; tests/property/test_comb_truth.py."""

GAP_Z = 2.33
"""Open brood lower than eggs and capped by this many spreads is a gap, and higher than both a peak.
Own choice: 1 in 100."""

FAILING_DRONE_SHARE = 1 / 3
DRONE_LAYING_SHARE = 0.8
"""Drone part of what was laid, above which a queen is failing or lays drones only. Own choices:
colonies in May and June rear at most a sixth or so as drones (from memory)."""


@dataclass(frozen=True)
class Range:
    """A figure with the range that holds the truth so often as was asked, 80 % if nobody did."""

    low: float
    median: float
    high: float


@dataclass(frozen=True)
class CombReading:
    """What one comb count says.

    Parameters
    ----------
    count : CombCount
        What was counted.
    stages : Stages
        The days it was read with.
    laying : tuple[Range | None, Range | None, Range | None]
        Eggs a day for the days of the eggs, of the open and of the capped brood; None where an
        impossible count was asked about. [1/d]
    trend : Trend
        The verdict.
    stopped_between, started_between : Days or None
        Days ago, fewer first; the second None when it is longer ago than brood can show. [d]
    curve : Floats
        Eggs laid j to j + 1 days ago. [1/d]
    emerging : Floats
        Bees a day from tomorrow. [1/d]
    queen : str or None
        `failing` or `drone-laying`, where drone brood was counted and says so.
    question : str or None
        What to ask the person when the count cannot be true.
    """

    count: CombCount
    stages: Stages
    laying: tuple[Range | None, Range | None, Range | None]
    trend: Trend
    stopped_between: Days | None
    started_between: Days | None
    curve: Floats
    emerging: Floats
    queen: str | None
    question: str | None


def read_comb(count: CombCount, stages: Stages = WORKER, within: float = WITHIN) -> CombReading:
    """Read one comb count.

    What was laid in the days of a class is the cells, over the days, over the part that is still
    alive. Its spread on the log scale joins the counting error, the Poisson part 1 / cells and
    the unknown survival. A class nobody looked at takes its value from the smooth curve through
    the others, and the drift of laying over the days between is added to its spread.

    Parameters
    ----------
    count : CombCount
        Any subset of eggs, open and capped.
    stages : Stages
        Days and losses of the caste.
    within : float
        How often a range is to hold the truth.

    Returns
    -------
    CombReading
        All-None laying, an empty curve and a question when the count cannot be true.

    References
    ----------
    Trend: weighted least squares of log laying on age; called when the slope exceeds `TREND_Z` of
    its standard errors.
    """
    question = count.question(stages)
    if question:
        none = np.zeros(0)
        return CombReading(
            count, stages, (None, None, None), "unknown", None, None, none, none, None, question
        )
    share, _ = count.loss(stages)
    alive = stages.survival(share)
    curve = fit_curve(count.cells, stages, alive)
    spread = _spreads(count, stages)
    laying = _ranges(count, stages, curve, spread, within)
    trend, stopped, started = _judge(count, stages, spread)
    emerging = curve[::-1] * stages.to_adult(share)
    return CombReading(
        count, stages, laying, trend, stopped, started, curve, emerging, _drones(count), None
    )


def _spreads(count: CombCount, stages: Stages) -> list[float | None]:
    """Spread of each class on the log scale; None where it was not looked for or is empty."""
    _, unsure = count.loss(stages)
    alive = stages.survival(1.0)
    spreads: list[float | None] = []
    for cells, (young, old) in zip(count.cells, stages.windows, strict=True):
        if not cells:
            spreads.append(None)
            continue
        loss = unsure * -math.log(float(alive[young:old].mean()))
        spreads.append(math.sqrt(count.error**2 + 1.0 / cells + loss**2))
    return spreads


def _ranges(
    count: CombCount,
    stages: Stages,
    curve: Floats,
    spreads: Sequence[float | None],
    within: float,
) -> tuple[Range, Range, Range]:
    """Put the range on each class."""
    reach = NormalDist().inv_cdf((1.0 + within) / 2.0)
    share, _ = count.loss(stages)
    alive = stages.survival(share)
    ranges: list[Range | None] = []
    for cells, spread, (young, old) in zip(count.cells, spreads, stages.windows, strict=True):
        living_days = float(alive[young:old].sum())
        if cells is None:
            ranges.append(None)
        elif spread is None:
            # found none: an even chance that there were none, else what the eye passes over
            ranges.append(Range(0.0, 0.0, OVERSEEN_CELLS * -math.log1p(-within) / living_days))
        else:
            rate = cells / living_days
            ranges.append(Range(*(rate * math.exp(z * spread) for z in (-reach, 0.0, reach))))
    most = max((r.high for r in ranges if r is not None and r.median), default=MOST_EGGS)
    full: list[Range] = []
    for place, known in enumerate(ranges):
        if known is not None:
            full.append(known)
            continue
        young, old = stages.windows[place]
        rate = float(curve[young:old].mean())
        if rate <= 0 or any(count.cells[i] == 0 for i in (place - 1, place + 1) if i in (0, 1, 2)):
            # beside an empty class she may have stopped, or begun again, at any time
            full.append(Range(0.0, rate, max(most, rate)))
            continue
        spread = _reach(place, spreads, stages)
        full.append(Range(*(rate * math.exp(z * spread) for z in (-reach, 0.0, reach))))
    return full[0], full[1], full[2]


def _reach(place: int, spreads: Sequence[float | None], stages: Stages) -> float:
    """Spread of a class read from its neighbours: theirs, and the drift over the days between."""
    centre = [(young + old) / 2 for young, old in stages.windows]
    younger = [i for i in range(place) if spreads[i] is not None]
    older = [i for i in range(place + 1, len(centre)) if spreads[i] is not None]
    if younger and older:
        here, there = younger[-1], older[0]
        near, far = centre[place] - centre[here], centre[there] - centre[place]
        weight = far / (near + far)
        counted = (weight * (spreads[here] or 0)) ** 2 + ((1 - weight) * (spreads[there] or 0)) ** 2
        return math.sqrt(counted + DRIFT**2 * near * far / (near + far))
    here = younger[-1] if younger else older[0]
    return math.sqrt((spreads[here] or 0) ** 2 + DRIFT**2 * abs(centre[place] - centre[here]))


def _judge(
    count: CombCount, stages: Stages, spreads: Sequence[float | None]
) -> tuple[Trend, Days | None, Days | None]:
    """Give the verdict, and between which days she stopped and started.

    Missing classes speak first, because they are exact; the slope speaks only where every class
    that was looked at has brood.
    """
    cells = count.cells
    windows = stages.windows
    present = [i for i, n in enumerate(cells) if n]
    if not present:
        empty_to = 0
        for n, (_, old) in zip(cells, windows, strict=True):
            if n is None:
                break
            empty_to = old
        return ("stopped", (empty_to, None), None) if empty_to else ("unknown", None, None)
    youngest, oldest = present[0], present[-1]
    gap = [i for i in range(youngest, oldest) if cells[i] == 0]
    if gap:
        stopped = (windows[gap[-1]][1], windows[oldest][1])
        return "broken", stopped, (windows[youngest][0], windows[gap[0]][0])
    stopped_days = started_days = None
    if 0 in cells[:youngest]:
        last_empty = max(i for i in range(youngest) if cells[i] == 0)
        stopped_days = (windows[last_empty][1], windows[youngest][1])
    if 0 in cells[oldest + 1 :]:
        empty = oldest + 1 + cells[oldest + 1 :].index(0)
        started_days = (windows[oldest][0], windows[empty][0])
    if stopped_days:
        return "stopped", stopped_days, started_days
    if started_days:
        return "just started", None, started_days
    return _slope(count, stages, spreads)


def _slope(
    count: CombCount, stages: Stages, spreads: Sequence[float | None]
) -> tuple[Trend, Days | None, Days | None]:
    """Tell rising, steady and falling apart, and find a gap too short to empty a class."""
    share, _ = count.loss(stages)
    alive = stages.survival(share)
    age, log_rate, weight = [], [], []
    for cells, spread, (young, old) in zip(count.cells, spreads, stages.windows, strict=True):
        if cells and spread is not None:
            age.append((young + old) / 2)
            log_rate.append(math.log(cells / float(alive[young:old].sum())))
            weight.append(1.0 / max(spread, 1e-6) ** 2)
    if len(age) < 2:  # noqa: PLR2004  a slope needs two points
        return "unknown", None, None
    if len(age) == len(stages.windows):
        beside = 1 / weight[1] + max(1 / weight[0], 1 / weight[2])
        if min(log_rate[0], log_rate[2]) - log_rate[1] > GAP_Z * math.sqrt(beside):
            return "broken", (stages.hatch_day, stages.emerge_day), (0, stages.cap_day)
        if log_rate[1] - max(log_rate[0], log_rate[2]) > GAP_Z * math.sqrt(beside):
            return "falling", None, None  # she rose, and has come down since: no line says that
    ages, logs, weights = np.array(age), np.array(log_rate), np.array(weight)
    offset = ages - float(np.average(ages, weights=weights))
    moment = float((weights * offset**2).sum())
    a_day_younger = -float((weights * offset * logs).sum()) / moment
    if a_day_younger * math.sqrt(moment) > TREND_Z:
        return "rising", None, None
    if a_day_younger * math.sqrt(moment) < -TREND_Z:
        return "falling", None, None
    return "steady", None, None


def _drones(count: CombCount) -> str | None:
    """Say whether drone brood stands where workers should."""
    pairs = [
        (count.drone_capped, count.capped, DRONE.windows[2], WORKER.windows[2]),
        (count.drone_open, count.open, DRONE.windows[1], WORKER.windows[1]),
    ]
    drones = workers = 0.0
    for drone, worker, (d_young, d_old), (w_young, w_old) in pairs:
        if drone is not None and worker is not None:
            drones += drone / (d_old - d_young)
            workers += worker / (w_old - w_young)
    if drones <= OVERSEEN_CELLS / 10:
        return None
    share = drones / (drones + workers)
    if share >= DRONE_LAYING_SHARE:
        return "drone-laying"
    return "failing" if share >= FAILING_DRONE_SHARE else None
