"""Abrupt changes of hive weight, told from slow ones: moves, and the steps that they leave."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from hivewatch.signals.carried import DAY_S, SILENT_S, unless_same, worked
from hivewatch.signals.income import without_income
from hivewatch.signals.levels import MEDIAN_LOSS, NOISE_BLOCK, NORMAL, Side, agreed, median
from hivewatch.signals.restless import LEAST_KG, Restless
from hivewatch.signals.window import Floats, HiveWindow, Ints

QUIET_S = 600  # [s] own choice: longer than one gust, shorter than a visit
APART_S = 2700  # [s] own choice: one visit
KNOWN_S = 3 * DAY_S  # [s] own choice: readings so long before what is known tell its noise
SCALE_SPREAD_KG = 0.03  # [kg] published: about 30 g overall, Meikle et al. 2005 (see settle_steps)
SPREADS = 3.0  # own choice, as for the Hampel identifier; tests/property/test_steps.py
STAYS_SPREADS = 6.0  # own choice: the difference of two readings of one level, four spreads of it
VISIT_S = 600  # [s] own choice: what a visit between two readings takes at most
GAP_S = 3 * 3600  # [s] own choice: slow change is not carried on over a longer silence
UNSEEN_KG_PER_H = 0.1  # [kg/h] own choice: half of a good flow, as an error
MOST = 60  # [readings] own choice: an hour of the finest feed
LONGEST_S = 12 * 3600  # [s] own choice: a weight that moves on for longer makes several moves


@dataclass(frozen=True, slots=True)
class Step:
    """One move of the weight: from its last quiet reading before to its first quiet one after.

    Parameters
    ----------
    before_s, after_s : int
        Times of these two readings. [s]
    settled_s : int
        Time of the reading that showed that it was over, a day later at most. [s]
    level_kg, size_kg : float
        Weight before, and what was added for good, slow change taken out. [kg]
    spread_kg : float
        One standard deviation of the size. [kg]
    low_kg, high_kg : float
        How far the readings in between went below and above both levels, at least 0. [kg]
    within_kg, sharp_kg : float
        What changed from the one to the other reading themselves, signed; the largest change from
        any reading to the next. [kg]
    readings : int
        How many readings lie in between.
    """

    before_s: int
    after_s: int
    settled_s: int
    level_kg: float
    size_kg: float
    spread_kg: float
    low_kg: float
    high_kg: float
    within_kg: float
    sharp_kg: float
    readings: int

    @property
    def is_lasting(self) -> bool:
        """Say whether something stayed: more than the least size and three spreads."""
        return abs(self.size_kg) > max(LEAST_KG, SPREADS * self.spread_kg)


def settle_steps(weight_kg: Floats, time_s: Ints, quiet_s: int = QUIET_S) -> list[Step]:
    """Find the lasting changes of hive weight, each with its size and its spread.

    A step is kept when the medians of the quiet spans before and after differ, slow change taken
    out, by more than three times their joint spread: a gust or a hand on the lid comes back, a
    super does not.

    Parameters
    ----------
    weight_kg : Floats
        Gross weight, shape (n,), NaN where missing. [kg]
    time_s : Ints
        Strictly rising Unix time, UTC, shape (n,). [s]
    quiet_s : int
        Length of a quiet span. [s] Own choice: longer than one gust, shorter than a visit.

    Returns
    -------
    list[Step]
        By time; `size_kg` signed, `spread_kg` one standard deviation. [kg]

    Raises
    ------
    ValueError
        If the lengths differ or time does not rise. Missing data raise nothing: fewer steps.

    References
    ----------
    [1] F. R. Hampel, J. Am. Stat. Assoc. 69, 383 (1974): median and MAD.
    [2] W. G. Meikle, N. Holst, D. Mercadier, F. Derouane (2005), US Department of Agriculture,
        Agricultural Research Service: a 10 g scale is good to about 30 g in the yard.
    Factor 3: own choice; its false alarms are in tests/property/test_steps.py.
    """
    moves = find_moves(weight_kg, time_s, quiet_s, quiet_s)
    return [move for move in moves if move.is_lasting]


def moves_of(window: HiveWindow) -> list[Step]:
    """Give the moves of a hive's weight as `find_moves` does; they are found once a window."""
    return worked(window, "moves", lambda here, kept: _go_on(here, kept or [], APART_S))


def steps_of(window: HiveWindow) -> list[Step]:
    """Give the lasting steps of a hive's weight as `settle_steps` does; found once a window."""
    return worked(window, "steps", _lasting)


def settled_of(window: HiveWindow) -> list[Step]:
    """Give all moves that are settled, those that follow each other closely apart."""
    return worked(window, "short", lambda here, kept: _go_on(here, kept or [], QUIET_S))


def restless_of(window: HiveWindow) -> Restless:
    """Give which readings moved, of those that are not known yet."""
    return worked(window, "restless", lambda here, _: _restless(here))


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the moves that were settled before."""
    found = {"moves": moves_of(window), "short": settled_of(window), "steps": steps_of(window)}
    return {
        name: [one for one in moves if one.settled_s < until_s] for name, moves in found.items()
    }


def _lasting(window: HiveWindow, kept: list[Step] | None) -> list[Step]:
    """Give those of them that last."""
    since = settled_of(window)
    if kept is not None:
        since = since[bisect_left(since, window.carried.until_s, key=lambda one: one.settled_s) :]
    by_hand = [without_income(window, one) for one in since if one.is_lasting]
    return (kept or []) + [one for one in by_hand if one is not None and one.is_lasting]


def _go_on(window: HiveWindow, kept: list[Step], apart_s: int) -> list[Step]:
    """Give the moves that are known, and those since."""
    known = restless_of(window)
    weight_kg, time_s = known.weight_kg, known.time_s
    spans, over_s = _spans(known, apart_s, kept[-1:]), window.over_s("weight")

    def measure(span: _Span, previous: int) -> Step:
        near = slice(max(previous, span.first - MOST), span.settled + 1)
        given = span, previous, weight_kg[near].tobytes(), time_s[near].tobytes()
        name = f"move from {time_s[span.first]}, {apart_s} s apart"
        return unless_same(window, name, given, lambda: _measure(weight_kg, time_s, span, previous))

    return kept + [measure(*one) for one in _settled(time_s, spans, over_s, kept[-1:])]


def _restless(window: HiveWindow) -> Restless:
    """Find which readings moved, of those that are not known yet."""
    until_s = window.carried.until_s
    weight = window.of("weight").since(until_s, KNOWN_S)
    before = int(weight.time_s.searchsorted(until_s)) - 1 if until_s else -1
    # what the last reading before began may have been settled since
    from_s = int(weight.time_s[before]) - DAY_S if before >= 0 else 0
    skip = -weight.skipped % NOISE_BLOCK
    return Restless.of(weight.value[skip:], weight.time_s[skip:], QUIET_S, from_s)


def find_moves(
    weight_kg: Floats, time_s: Ints, quiet_s: int = QUIET_S, apart_s: int = APART_S
) -> list[Step]:
    """Find every abrupt move of the weight, also those that come back.

    Parameters
    ----------
    weight_kg, time_s, quiet_s
        As for `settle_steps`.
    apart_s : int
        Moves closer than this are one. [s] Own choice: one visit.

    Returns
    -------
    list[Step]
        By time, none overlapping another.

    Raises
    ------
    ValueError
        As for `settle_steps`.
    """
    if weight_kg.shape != time_s.shape or weight_kg.ndim != 1:
        raise ValueError(f"weight {weight_kg.shape}, time {time_s.shape}: lengths differ")
    if len(time_s) > 1 and not np.all(time_s[1:] > time_s[:-1]):
        raise ValueError("time does not rise")
    there = ~np.isnan(weight_kg)
    if not there.all():
        weight_kg, time_s = weight_kg[there], time_s[there]
    spans = _spans(Restless.of(weight_kg, time_s, quiet_s), apart_s)
    return [_measure(weight_kg, time_s, *one) for one in _settled(time_s, spans)]


def _settled(
    time_s: Ints, spans: list[_Span], over_s: int = 0, kept: Sequence[Step] = ()
) -> list[tuple[_Span, int]]:
    """Give the moves that are settled, each with the place where the one before, `kept`, was over.

    A scale that is silent for a day, up to `over_s` at the least, is not waited for.
    """
    edges = [_place(time_s, kept), *(span.last for span in spans)]
    return [
        (span, previous)
        for span, previous in zip(spans, edges, strict=False)
        if span.settled < len(time_s) or over_s >= time_s[span.last] + SILENT_S
    ]


def _place(time_s: Ints, kept: Sequence[Step]) -> int:
    """Give the place of the reading with which the move before was over."""
    return int(time_s.searchsorted(kept[0].after_s)) if kept else 0


class _Span(NamedTuple):
    """Where a move lies: last quiet reading, first quiet one, the reading that settled it."""

    first: int
    last: int
    settled: int


def _spans(of: Restless, apart_s: int, kept: Sequence[Step] = ()) -> list[_Span]:
    """Find where the weight moves, and join what is closer than `apart_s`.

    What was settled with the move before is known already.
    """
    weight_kg, time_s, noise, earlier, flags = of
    if kept:
        known = time_s.searchsorted(kept[0].settled_s, side="right")
        flags = flags[flags.searchsorted(known) :]
    free = _place(time_s, kept)  # where the move before was over
    spans: list[_Span] = []
    at = 0
    while at < len(flags):
        begin, end = at, at
        low = int(earlier[flags[begin]])
        longest_s = time_s[flags[begin]] + LONGEST_S
        stop = int(flags.searchsorted(time_s.searchsorted(longest_s)))
        while True:  # take in what moves again before this is settled
            while end + 1 < stop and earlier[flags[end + 1]] <= flags[end]:
                end += 1
            stays = max(LEAST_KG / 3, STAYS_SPREADS * float(noise[flags[end]]))
            last = _trim(weight_kg, int(flags[end]), low, -1, stays)
            settled = int(time_s.searchsorted(time_s[last] + apart_s))
            settled = max(settled, int(flags[end]) + 1)
            if end + 1 >= stop or flags[end + 1] > settled:
                break
            end += 1
        if end + 1 < len(flags) and time_s[flags[end + 1]] <= time_s[last] + SILENT_S:
            settled = min(settled, int(flags[end + 1]) - 1)
        last = max(last, free + 1)
        low = min(max(low, free), last - 1)
        first = _trim(weight_kg, low, last, 1, stays)
        free = last
        spans.append(_Span(first, last, max(settled, NOISE_BLOCK - 1)))
        at = end + 1
    return spans


def _trim(weight_kg: Floats, start: int, stop: int, way: int, stays_kg: float) -> int:
    """Walk from `start` towards `stop` as long as the weight stays as it was at the start."""
    at = start
    while at + way != stop and abs(weight_kg[at + way] - weight_kg[start]) < stays_kg:
        at += way
    return at


def _measure(weight_kg: Floats, time_s: Ints, span: _Span, previous: int) -> Step:
    """Measure one move, from the readings on its two sides."""
    first, last, settled = span
    latest_s = int(time_s[last]) + SILENT_S
    before = Side.of(weight_kg, time_s, range(max(previous, first - MOST), first + 1), first)
    after = Side.of(
        weight_kg, time_s, range(last, min(settled, last + MOST, len(time_s) - 1) + 1), last
    )
    noise = NORMAL * median(sorted(before.off + after.off))
    slopes = [side.slope for side in (before, after) if side.slope is not None]
    slope = agreed([one.kg_per_h for one in slopes])
    # a short visit keeps the bees from their work: slow change goes on before and after it
    still_s = min(int(time_s[last] - time_s[first]), VISIT_S)
    apart_h = (after.middle_s - before.middle_s - still_s) / 3600
    unsure = sum((noise * one.unsure_per_h / len(slopes)) ** 2 for one in slopes)
    if len(slopes) == 2:  # noqa: PLR2004
        unsure += ((slopes[0].kg_per_h - slopes[1].kg_per_h) / 4) ** 2
    if time_s[last] - time_s[first] > GAP_S:
        slope, unsure = 0.0, UNSEEN_KG_PER_H**2  # what went on in a long silence is not known
    spread = SCALE_SPREAD_KG**2 + unsure * apart_h**2
    spread += (MEDIAN_LOSS * noise) ** 2 * (1 / len(before.off) + 1 / len(after.off))
    inside = weight_kg[first + 1 : last]
    ends = before.level, after.level
    jumps = np.abs(weight_kg[first + 1 : last + 1] - weight_kg[first:last])
    return Step(
        before_s=int(time_s[first]),
        after_s=int(time_s[last]),
        settled_s=min(int(time_s[settled]), latest_s) if settled < len(time_s) else latest_s,
        level_kg=before.level,
        size_kg=after.level - before.level - slope * apart_h,
        spread_kg=spread**0.5,
        low_kg=max(0.0, min(ends) - float(inside.min())) if len(inside) else 0.0,
        high_kg=max(0.0, float(inside.max()) - max(ends)) if len(inside) else 0.0,
        within_kg=float(weight_kg[last] - weight_kg[first]),
        sharp_kg=float(jumps.max()),
        readings=last - first - 1,
    )
