"""Bees pouring out of a hive that nobody weighs: what the counter sees, and what the nest says.

A swarm is thousands of bees more out than in within a quarter of an hour, and they stay away. Young
bees on their first flights come back within that time; a counter's bias is as large all day long;
foragers that rain had kept in fly on and come home by thousands. Each record is judged by those
before it, and where foragers must be told apart, by the next one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from hivewatch.signals.carried import DAY_S, MARGIN_S, worked
from hivewatch.signals.exodus import (
    BEE_KG,
    KEPT_IN_S,
    LATELY,
    LEAST_KG,
    LONGEST_S,
    Balance,
    balance_of,
)
from hivewatch.signals.late import is_awaited
from hivewatch.signals.sun import is_light
from hivewatch.signals.turns import Said, nest_said
from hivewatch.signals.usual import first_within, usual_step_near
from hivewatch.signals.window import HiveWindow, Ints

LEAST_BEES = LEAST_KG / BEE_KG  # 2,900: the lightest casts, where the nest says so, too
SURE_BEES = 8_000  # [bees] own choice: more than the first flights and shifts of half an hour
SPAN_S, SPAN_STEPS = 1200, 2  # [s] an exodus takes about ten minutes, and may lie across records
RUSH = 1.0  # own choice: so many more go than come as usually go out
FLEW = 0.8  # own choice: fewer fly after a swarm; let out by sun or after a shower, many more
AFTER_S = 600  # [s] own choice: that rate is taken over so long
BACK, BACK_S = 0.4, 3 * 3600  # own choice: share that came home within that time; no swarm
EDGE = 0.2  # own choice: share of the fullest record; with less the swarm is over
ERROR = 0.2  # own choice: counters miss many bees of a crowd
# Own choice: more than so many times what went at the busiest fiftieth of the days before; a swarm
# some days before is no more than that part of them
BURST, BUSIEST, USUAL_S, BEFORE_S = 1.5, 0.98, 5 * DAY_S, 3 * 3600
WEIGHED_S = 2 * 3600  # [s] own choice: where the scale was at work it knows better


@dataclass(frozen=True, slots=True)
class Outpour:
    """Bees that left and stayed away, by the counter.

    Parameters
    ----------
    start_s, end_s, told_s : int
        From the last record as usual to the last one of the exodus; the record that told it. [s]
    bees, bees_error : float
        How many more went than came, what is usual taken off.
    warmer_k : float
        How far the nest had warmed up; 0 where it said nothing. [K]
    """

    start_s: int
    end_s: int
    told_s: int
    bees: float
    bees_error: float
    warmer_k: float


def outpours_of(window: HiveWindow) -> list[Outpour]:
    """Give what poured out of a hive while no scale was at work.

    Parameters
    ----------
    window : HiveWindow
        Needs `bees-out` and `bees-in`; takes `nest`.

    Returns
    -------
    list[Outpour]
        By time, those of the days that are not known yet.
    """
    return worked(window, "outpours", lambda here, _: list(_work_out(here)))


def _work_out(window: HiveWindow) -> Iterator[Outpour]:
    balance = balance_of(window)
    time_s = balance.out.time_s
    if len(time_s) <= LATELY or not len(balance.back):
        return
    first = max(int(time_s.searchsorted(window.carried.until_s - 2 * MARGIN_S)), LATELY)
    usual_s = int(usual_step_near(balance.out, int(time_s[-1])) or 0)
    least_s = max(SPAN_S, SPAN_STEPS * usual_s)
    span_s = np.maximum(least_s, SPAN_STEPS * np.diff(time_s[first - 1 :]))
    went = balance.went[first + 1 :] - balance.went[first_within(time_s, least_s - 1, first)]
    some = np.flatnonzero((went >= LEAST_BEES) | (span_s > least_s))  # more than went are not gone
    at, span_s = first + some, span_s[some]
    gone = balance.gone(time_s[at] - span_s, time_s[at])
    weighed = [
        window.of("weight").time_s.searchsorted(time_s[at] + by_s)
        for by_s in (-WEIGHED_S, WEIGHED_S)
    ]
    many = (gone >= LEAST_BEES) & (weighed[0] == weighed[1])
    over_s = 0
    for k, wide_s in zip(at[many].tolist(), span_s[many].tolist(), strict=True):
        if time_s[k] <= over_s:
            continue
        found = _judge(window, balance, k, wide_s)
        if found is not None:
            over_s = found.end_s + wide_s
            yield found


def _judge(window: HiveWindow, balance: Balance, k: int, span_s: int) -> Outpour | None:
    """Judge the bees that went up to one record of the counter, and what came of them since."""
    now_s = int(balance.out.time_s[k])
    start_s, _ = _span(balance, k, span_s, k)
    flew = float(balance.of_out(start_s - KEPT_IN_S, start_s)) / KEPT_IN_S
    bees = _beyond_usual(balance, start_s, now_s)
    least = max(LEAST_BEES, RUSH * flew * (now_s - start_s))
    if (
        bees < max(least, BURST * _usual_burst(balance, k, span_s))
        or not is_light(window.yard, now_s)
        or is_awaited(window, "bees-in", start_s, now_s)
    ):
        return None
    said = nest_said(window.of("nest"), start_s, now_s, window.last_s, "burst")
    told_s = _told_s(balance, said, now_s, bees, flew)
    start_s, end_s = _span(balance, k, span_s, len(balance.out))
    bees = _beyond_usual(balance, start_s, end_s)
    back = -float(balance.gone(end_s, end_s + BACK_S))
    if told_s is None or end_s - start_s > max(LONGEST_S, span_s) or back >= BACK * bees:
        return None
    error = ERROR * bees + float(np.sqrt(balance.of_out(start_s, end_s)))
    return Outpour(start_s, end_s, told_s, bees, error, said.warmer_k)


def _beyond_usual(balance: Balance, start_s: int, end_s: int) -> float:
    """Give how many more went than came, less those that a shower had sent home, and the usual."""
    before = float(balance.gone(start_s - KEPT_IN_S, start_s))
    usual = before if before < 0 else before / KEPT_IN_S * (end_s - start_s)
    return float(balance.gone(start_s, end_s)) - abs(usual)


def _usual_burst(balance: Balance, k: int, span_s: int) -> float:
    """Give how many more went than came in so long at the busiest times of the days before."""
    time_s = balance.out.time_s
    low, high = time_s.searchsorted((time_s[k] - USUAL_S, time_s[k] - BEFORE_S))
    if high <= low:
        return 0.0
    gone = balance.gone(time_s[low:high] - span_s, time_s[low:high])
    return float(np.quantile(gone, BUSIEST))


def _told_s(balance: Balance, said: Said, now_s: int, bees: float, flew: float) -> int | None:
    """Say when it was told that a swarm left and no foragers; None if it was not. [s]."""
    if said.what == "swarm":
        return max(now_s, said.told_s)
    if said.what != "nothing" or bees < SURE_BEES:
        return None
    time_s = balance.out.time_s
    later = int(time_s.searchsorted(now_s + AFTER_S))
    if later == len(time_s):
        return None
    told_s = int(time_s[later])
    after = float(balance.of_out(now_s, told_s)) / (told_s - now_s)
    return told_s if flew >= FLEW * after else None


def _span(balance: Balance, k: int, span_s: int, last: int) -> tuple[int, int]:
    """Give from when to when bees poured out: the records next to the fullest, up to one. [s]."""
    time_s: Ints = balance.out.time_s
    low = int(time_s.searchsorted(time_s[k] - span_s, side="right"))
    high = min(int(time_s.searchsorted(time_s[k] + span_s, side="right")), last + 1)
    edges = time_s[low - 1 : high]
    net = balance.gone(edges[:-1], edges[1:]) / np.diff(edges)
    fullest = first = end = int(net.argmax())
    while first > 0 and net[first - 1] >= EDGE * net[fullest]:
        first -= 1
    while end + 1 < len(net) and net[end + 1] >= EDGE * net[fullest]:
        end += 1
    return int(edges[first]), int(edges[end + 1])
