"""What the entrance tells: `orientation_flight` and `forager_loss`, by the counts of bees.

Young bees fly for the first time on warm afternoons, at about the same hour every day: for 5 to 25
minutes many more go out than just before and after, and as many come in. Foragers that are lost
(sprayed, caught out) are counted out and not in again. A counter has a bias of its own, so that a
day's balance is held against the days before; and the scale must agree: in the evening the hive
lacks a good part of what the lost bees weigh, beside what a day without income takes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.bare import before_each, passed
from hivewatch.signals.carried import SILENT_S
from hivewatch.signals.days import HOUR_S, Days, days_of
from hivewatch.signals.faults import NORMAL
from hivewatch.signals.flown import NEVER_S, flown_of
from hivewatch.signals.usual import usual_steps_s
from hivewatch.signals.window import Floats, HiveWindow, Ints, on_grid

# Own choices where no source is named; tests/unit/detect/test_traffic.py.
BEE_KG = 0.0001  # [kg] published: worker mass, constants in Becher et al. (2014)
BACK_S = 4 * 86_400  # [s] as for `hivewatch.signals.carried`
GRID_S = 300  # [s] counts are looked at in such steps
COARSEST_S = 660  # [s] a counter that reports less often does not show twenty minutes
BURST_S = 1200  # [s] from memory: bursts of 5 to 20 minutes, Capaldi et al. (2000)
AROUND_S = (1500, 5400)  # [s] before and after a burst: what it stands out from
HOURS_H = (10.5, 17.5)  # [h] from memory: noon to four o'clock, by the sun; with a margin
BURST_SPREADS = 5.0  # how far both ways stand out
USUAL_H, USUAL_SPREADS = 0.6, 3.0  # [h] the same, this near to the hive's own usual hour
OFF_H, OFF_SPREADS = 1.2, 20.0  # [h] and this far from it
BURST_BEES = 150.0  # [bees] the least that is told
BALANCE = 0.4  # share of a burst that may be out and not back, or the other way round
USUAL_DAYS = 14  # days that tell a counter's bias and its spread
LEAST_DAYS = 5
LEAST_OUT = 4000.0  # [bees] of a day whose balance says something
LOST_SHARE = 0.08  # of the bees that went out; published counters agree within 0.05 (Bayer)
LOST_SPREADS = 3.5  # of the balances of the days before: once in ten years of days, if normal
ALONE_SPREADS = 5.0  # the same where no scale says anything
SCALE_SHARE = 0.5  # own choice: of what they weigh, lacking in the evening; others bring nectar
LEAST_SPREAD = 0.02  # of a balance
SPREAD, SPREAD_DAYS = 0.05, 8  # of a balance before so many [d] are known
LOST_BEES = 2000.0  # [bees] own choice: more than age takes on a summer's day, a laying of 1,500
AT_ONCE_S = 2700  # [s] what goes within this is a swarm,
AT_ONCE_SHARE = 0.6  # when it is so much of all that is missing
FEWER = 0.8  # share of the usual traffic of the day after


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when young bees flew, and when foragers did not come home.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `bees-in` and `bees-out`; takes `weight`.

    Returns
    -------
    list[Finding]
        Of kinds `orientation_flight` (`bees`) and `forager_loss` (`bees_lost`, `kg_lost`).

    References
    ----------
    A counter's own in / out of 0.90 on an ordinary summer day: insignia-bee.eu, 122,667 in and
    136,920 out; within 0.05 of one in 46 of 51 tests: Bayer, openagrar_mods_00089379.
    """
    if not (window.has("bees-in") and window.has("bees-out")):
        return []
    days = days_of(window)
    return [*_first_flights(window, days), *_losses(window, days)]


def _first_flights(window: HiveWindow, days: Days) -> Iterator[Finding]:
    """Find each afternoon's first burst, both ways at once."""
    out = window.of("bees-out").since(window.carried.until_s, BACK_S)
    noon_s = (days.rise_s + days.set_s) / 2
    first = max(int(np.searchsorted(days.start_s, window.carried.until_s, side="right")) - 1, 0)
    before_s = np.array(window.told_s.get("orientation_flight", ())[-USUAL_DAYS:], np.int64)
    before_s = before_s[before_s < days.start_s[first]]
    before = np.searchsorted(days.start_s, before_s, side="right") - 1
    hours: list[float] = _hour(before_s, noon_s[before]).tolist()
    # a counter may be set to another step: each day by its own
    at = np.searchsorted(out.time_s, days.start_s[first + 1 :]) - 1
    step_s = usual_steps_s(out)[at] if len(out) else np.empty(0, np.int64)
    step_s[at < 0] = COARSEST_S + 1
    grids_s = np.where(step_s <= COARSEST_S, -(-step_s // GRID_S) * GRID_S, 0)
    edges = np.flatnonzero(np.diff(grids_s, prepend=-1, append=-1))
    for low, high in pairwise(edges.tolist()):
        if grids_s[low]:
            some = slice(first + low, first + high)
            yield from _of_days(window, days, noon_s, some, int(grids_s[low]), hours)


def _hour(start_s: Floats | Ints, noon_s: Floats) -> Floats:
    """Give the hour by the sun of the middle of a burst."""
    return np.asarray(12 + (start_s + BURST_S / 2 - noon_s) / HOUR_S)


def _of_days(
    window: HiveWindow,
    days: Days,
    noons_s: Floats,
    some: slice,
    grid_s: int,
    hours: list[float],
) -> Iterator[Finding]:
    """Find the bursts of some days; `hours` of those before tell which is usual, and take more."""
    wide, noon_s = BURST_S // grid_s, noons_s[some]
    span_s = int(days.start_s[some.start]), int(days.start_s[some.stop])
    begin_s, excess, spreads = _bursts(window, span_s, noon_s, grid_s)
    hour = _hour(begin_s, noon_s[:, None])
    told_s = begin_s + 2 * BURST_S + AROUND_S[1]
    is_sent = _are_sent(window, told_s, grid_s)
    spreads = np.where((hour >= HOURS_H[0]) & (hour <= HOURS_H[1]), spreads, 0.0)
    for i in np.flatnonzero(spreads.max(axis=1) >= USUAL_SPREADS).tolist():
        usual = float(np.median(hours[-USUAL_DAYS:])) if len(hours) >= LEAST_DAYS else np.nan
        off_h = np.abs(hour[i] - usual)
        asked = np.where(off_h <= USUAL_H, USUAL_SPREADS, BURST_SPREADS)
        asked[off_h > OFF_H] = OFF_SPREADS
        standing = np.flatnonzero((spreads[i] >= asked) & is_sent[i])
        if not len(standing):
            continue
        first = int(standing[0])
        at = first + int(np.argmax(spreads[i, first : first + wide]))
        hours.append(float(hour[i, at]))
        told = int(told_s[i, first])
        yield _flight(window, int(begin_s[i, at]), told, excess[:, i, at], float(spreads[i, at]))


def _are_sent(window: HiveWindow, told_s: Floats, step_s: int) -> NDArray[np.bool_]:
    """Say by when both counts had been sent: what has not come yet is no quiet hour after a burst.

    What comes a day later is not waited for: days that are over then are as they stay.
    """
    sent = told_s <= window.as_of_s
    for name in ("bees-out", "bees-in"):  # a reading stands for the time up to the next one
        time_s = np.append(window.of(name).time_s, NEVER_S)
        sent &= time_s[np.searchsorted(time_s, told_s - step_s)] <= told_s + SILENT_S
    return np.asarray(sent)


def _flight(
    window: HiveWindow, start_s: int, told_s: int, excess: Floats, spreads: float
) -> Finding:
    """Put a burst into words and figures."""
    return Finding(
        kind="orientation_flight",
        subject=f"hive:{window.hive.id}",
        start_s=start_s,
        end_s=start_s + BURST_S,
        detected_s=told_s,
        confidence=round(min(0.95, 0.5 + 0.06 * spreads), 2),
        measures={"bees": round(float(excess.mean()), -1)},
        evidence=(
            f"within {BURST_S // 60} min {excess[0]:,.0f} more bees went out than before and after",
            f"{excess[1]:,.0f} more came in, so that they flew and came back",
        ),
        status="ended",
    )


def _bursts(
    window: HiveWindow, span_s: tuple[int, int], noon_s: Floats, grid_s: int
) -> tuple[Floats, Floats, Floats]:
    """Give, by day and step, when a span begins, what goes out and comes in more, and spreads.

    Each span is held against spans of the same length shortly before and shortly after.
    """
    begin_s, end_s = span_s
    hours = HOURS_H[0] - 2, HOURS_H[1] + 2
    low = ((noon_s + (hours[0] - 12) * HOUR_S - begin_s) // grid_s).astype(np.int64)
    steps = np.arange(int((hours[1] - hours[0]) * HOUR_S) // grid_s)
    at = np.clip(low[:, None] + steps, 0, (end_s - begin_s) // grid_s - 1)
    both = [
        on_grid(window.of(name), grid_s, begin_s, end_s, summed=True)[1][at]
        for name in ("bees-out", "bees-in")
    ]
    excess, spreads = _standing_out(np.stack(both), grid_s)
    first = AROUND_S[1] // grid_s + np.arange(spreads.shape[1])
    return begin_s + grid_s * (low[:, None] + first).astype(np.float64), excess, spreads


def _standing_out(counts: Floats, grid_s: int) -> tuple[Floats, Floats]:
    """Give what each span of each day has more than those around it, and by how many spreads.

    The counts of both ways, shape (2, days, steps); no spreads where no burst goes both ways.
    """
    near, far, wide = (one // grid_s for one in (*AROUND_S, BURST_S))
    total = np.cumsum(np.nan_to_num(counts), axis=2)
    spans = total[..., wide:] - total[..., :-wide]
    spans = np.concatenate((total[..., wide - 1 : wide], spans), axis=2)  # each from its step on
    first = np.arange(far, spans.shape[2] - far)
    before = np.arange(-far, -near, max(1, 900 // grid_s))
    rows = [spans[..., first[:, None] + side] for side in (before, -before)]
    # the day's traffic goes up and down by itself: what the two sides differ by is no spread
    sides = [_median(one) for one in rows]
    middle = (sides[0] + sides[1]) / 2
    excess = spans[..., first] - middle
    even = np.abs(excess[0] - excess[1]) <= BALANCE * excess.max(axis=0)
    is_burst = even & (excess.min(axis=0) >= BURST_BEES)
    off = [
        np.abs(one[:, is_burst] - mid[:, is_burst, None])
        for one, mid in zip(rows, sides, strict=True)
    ]
    spread = NORMAL * _median(np.concatenate(off, axis=2))
    spread = np.maximum(spread, np.sqrt(np.maximum(middle[:, is_burst], 1.0)))
    spreads = np.zeros(is_burst.shape)
    spreads[is_burst] = (excess[:, is_burst] / spread).min(axis=0)
    return excess, spreads


def _median(table: Floats) -> Floats:
    """Give the median along the last axis; no NaN."""
    half = table.shape[-1] // 2
    if table.shape[-1] % 2:
        return np.asarray(np.partition(table, half, axis=-1)[..., half])
    ordered = np.partition(table, (half - 1, half), axis=-1)
    return np.asarray((ordered[..., half - 1] + ordered[..., half]) / 2)


def _losses(window: HiveWindow, days: Days) -> Iterator[Finding]:
    """Find the days whose bees did not all come home."""
    out, back, is_all_in = flown_of(window)
    seen = (out >= LEAST_OUT) & is_all_in
    ratio = np.full(len(days), np.nan)
    ratio[seen] = back[seen] / out[seen]
    first = max(int(np.searchsorted(days.start_s, window.carried.until_s)) - USUAL_DAYS - 2, 0)
    usual = before_each(ratio, USUAL_DAYS, LEAST_DAYS, first=first)
    off = np.abs(ratio - usual)
    spread = NORMAL * before_each(off, USUAL_DAYS, SPREAD_DAYS, first=first)
    spread = np.maximum(np.nan_to_num(spread, nan=SPREAD), LEAST_SPREAD)
    lost = out * usual - back
    share = usual - ratio
    lacks_kg = np.minimum(before_each(days.day_kg, USUAL_DAYS, LEAST_DAYS), 0.0) - days.day_kg
    asked = np.where(np.isnan(lacks_kg), ALONE_SPREADS, LOST_SPREADS)
    is_loss = (
        (share >= np.maximum(LOST_SHARE, asked * spread))
        & (lost >= LOST_BEES)
        & ~(lacks_kg < SCALE_SHARE * lost * BEE_KG)
    )
    usual_out = before_each(np.where(seen, out, np.nan), USUAL_DAYS, LEAST_DAYS, first=first)
    is_loss[days.dusk_s < window.carried.until_s] = False  # told before
    for i in np.flatnonzero(is_loss).tolist():
        begun_s = _since(window, days, i, float(usual[i]), float(lost[i]))
        if begun_s is None:
            continue
        after = i + 1 < len(days) and bool(seen[i + 1]) and out[i + 1] < FEWER * usual_out[i]
        yield _lost(window, days, i, begun_s, float(lost[i]), float(usual[i]), fewer=after)


def _since(window: HiveWindow, days: Days, day: int, usual: float, lost: float) -> int | None:
    """Give when bees began to stay away; None when they went at once, as a swarm does."""
    time_s = np.arange(days.start_s[day], days.dusk_s[day], GRID_S).astype(np.int64)
    begin_s = int(days.start_s[day])
    out = passed(window.of("bees-out"), begin_s, time_s) * usual
    away = out - passed(window.of("bees-in"), begin_s, time_s)
    wide = AT_ONCE_S // GRID_S
    if (
        len(away) > wide
        and float((away[wide:] - away[:-wide]).max()) > max(AT_ONCE_SHARE * lost, LOST_BEES)
        and float(away.max()) < lost / AT_ONCE_SHARE
    ):
        return None
    late = np.flatnonzero(away < lost / 4)
    return int(time_s[late[-1]]) if len(late) else begin_s


def _lost(
    window: HiveWindow,
    days: Days,
    day: int,
    begun_s: int,
    lost: float,
    usual: float,
    *,
    fewer: bool,
) -> Finding:
    """Put a loss into words and figures."""
    kg = float(days.day_kg[day])
    weighed = not np.isnan(kg)
    evidence = [
        f"{lost:,.0f} more bees went out than came in, taking the counter's usual {usual:.2f}",
    ]
    if weighed:
        evidence.append(f"in the evening the hive weighed {-kg:.2f} kg less than in the morning")
    if fewer:
        evidence.append("the day after far fewer bees flew than before")
    confidence = 0.6 + 0.15 * weighed + 0.15 * fewer
    return Finding(
        kind="forager_loss",
        subject=f"hive:{window.hive.id}",
        start_s=begun_s,
        end_s=int(days.dusk_s[day]),
        detected_s=int(days.dusk_s[day]),
        confidence=round(confidence, 2),
        measures={"bees_lost": round(lost, -2), "kg_lost": round(lost * BEE_KG, 2)},
        evidence=tuple(evidence),
        status="ended",
    )
