"""Young bees' first flights: `orientation_flight`, by the counts of bees.

They fly on warm afternoons, at about the same hour every day: for 5 to 25 minutes many more go out
than just before and after, and as many come in. What stands out from one side only is the end of a
day's flight, or its beginning; and where hardly any bee flies but then, a gap in bad weather lets
all out that can fly. In autumn, when a month before hardly any eggs were laid, it is the whole hive
that flies in the short warm hours.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import SILENT_S, unless_same
from hivewatch.signals.days import HOUR_S, Days, days_of
from hivewatch.signals.faults import NORMAL
from hivewatch.signals.flown import NEVER_S
from hivewatch.signals.levels import in_order, known_or, median, middle_of
from hivewatch.signals.season import PEAK_DAY, laying_level, northern_day
from hivewatch.signals.usual import usual_steps_s
from hivewatch.signals.window import Floats, HiveWindow, Ints, on_grid

# Own choices where no source is named; tests/unit/detect/test_orientation.py.
BACK_S = 4 * 86_400  # [s] as for `hivewatch.signals.carried`
GRID_S = 300  # [s] counts are looked at in such steps
COARSEST_S = 660  # [s] a counter that reports less often does not show twenty minutes
BURST_S = 1200  # [s] from memory: bursts of 5 to 20 minutes, Capaldi et al. (2000)
AROUND_S = (1500, 5400)  # [s] before and after a burst: what it stands out from
WARM_CEL = 14.0  # [Cel] cooler, foragers fly in the gaps of the weather, and the young stay at home
HOURS_H = (12.0, 16.0)  # [h] from memory: noon to four o'clock, by the sun
BURST_SPREADS = 4.0  # how far both ways stand out
USUAL_H, USUAL_SPREADS = 0.5, 1.5  # [h] the same, this near to the hive's own usual hour
OFF_SPREADS = 20.0  # ... and off it
BURST_BEES = 400.0  # [bees] the least that is told: 20 a minute are seen by whoever stands there
BUSIER = 0.5  # share of a burst by which it is above the busier side: where flight ends, it is not
GAP = 3.0  # times the traffic around: more is a gap in bad weather, in which all fly that can
BALANCE = 0.4  # share of a burst that may be out and not back, or the other way round
# [eggs/d] common practice, no source: of the best queens; [d] from egg to first flight: 21 days of
# brood (common practice, no source), a week and more in the hive (from memory: Capaldi et al. 2000)
BEST_EGGS, FLY_AT_D = 2000.0, 30
USUAL_DAYS = 14  # days whose flights tell the usual hour
LEAST_DAYS = 5


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when young bees flew for the first time.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `bees-in` and `bees-out`.

    Returns
    -------
    list[Finding]
        Of kind `orientation_flight` (`bees`).
    """
    if not (window.has("bees-in") and window.has("bees-out")):
        return []
    return list(_first_flights(window, days_of(window)))


def _first_flights(window: HiveWindow, days: Days) -> Iterator[Finding]:
    """Find each afternoon's first burst, both ways at once."""
    out = window.of("bees-out").since(window.carried.until_s, BACK_S)
    noon_s = (days.rise_s + days.set_s) / 2
    first = max(int(days.start_s.searchsorted(window.carried.until_s, side="right")) - 1, 0)
    before_s = np.array(window.told_s.get("orientation_flight", ())[-USUAL_DAYS:], np.int64)
    before_s = before_s[before_s < days.start_s[first]]
    before = days.start_s.searchsorted(before_s, side="right") - 1
    hours: list[float] = _hour(before_s, noon_s[before]).tolist()
    # a counter may be set to another step: each day by its own
    at = out.time_s.searchsorted(days.start_s[first + 1 :]) - 1
    step_s = np.where(at < 0, COARSEST_S + 1, usual_steps_s(out, at.clip(0)))
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
    if spreads.max(initial=0.0) < USUAL_SPREADS:
        return
    hour = _hour(begin_s, noon_s[:, None])
    told_s = begin_s + 2 * BURST_S + AROUND_S[1]
    spreads = np.where((hour >= HOURS_H[0]) & (hour <= HOURS_H[1]), spreads, 0.0)
    asked_of = np.flatnonzero(spreads.max(axis=1) >= USUAL_SPREADS)
    are_sent = _are_sent(window, told_s[asked_of], grid_s)
    for i, is_sent in zip(asked_of.tolist(), are_sent, strict=True):
        usual = median(sorted(hours[-USUAL_DAYS:])) if len(hours) >= LEAST_DAYS else np.nan
        off_h = np.abs(hour[i] - usual)
        asked = np.where(off_h <= USUAL_H, USUAL_SPREADS, OFF_SPREADS)
        asked[np.isnan(off_h)] = BURST_SPREADS
        standing = np.flatnonzero((spreads[i] >= asked) & is_sent)
        if not len(standing) or _is_late(window, days.day[some.start + i]):
            continue
        first = int(standing[0])
        at = first + int(np.argmax(spreads[i, first : first + wide]))
        if not _is_warm(window, int(begin_s[i, at])):
            continue
        hours.append(float(hour[i, at]))
        told = int(told_s[i, first])
        yield _flight(window, int(begin_s[i, at]), told, excess[:, i, at], float(spreads[i, at]))


def _is_late(window: HiveWindow, day: date) -> bool:
    """Say whether autumn has come: fewer young bees a day than the smallest burst that is told."""
    latitude, laid = window.yard.latitude, day - timedelta(days=FLY_AT_D)
    few = laying_level(laid, latitude) * BEST_EGGS < BURST_BEES
    return few and northern_day(laid, latitude) > PEAK_DAY


def _is_warm(window: HiveWindow, start_s: int) -> bool:
    """Say whether it was as warm as young bees want it, if the air was measured."""
    air = window.of("ambient").between(start_s - HOUR_S // 2, start_s + BURST_S + HOUR_S // 2)
    return not len(air) or middle_of(air.value) >= WARM_CEL


def _are_sent(window: HiveWindow, told_s: Floats, step_s: int) -> NDArray[np.bool_]:
    """Say by when both counts had been sent: what has not come yet is no quiet hour after a burst.

    What comes a day later is not waited for: days that are over then are as they stay.
    """
    sent = told_s <= window.as_of_s
    for name in ("bees-out", "bees-in"):  # a reading stands for the time up to the next one
        time_s = np.append(window.of(name).time_s, NEVER_S)
        after_s = (told_s - step_s).astype(np.int64)  # whole seconds already
        sent &= time_s[time_s.searchsorted(after_s)] <= told_s + SILENT_S
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
    counts = np.stack(both)
    excess, spreads = unless_same(
        *(window, "flights", (grid_s, counts.shape, counts.tobytes())),
        lambda: _standing_out(counts, grid_s),
    )
    first = AROUND_S[1] // grid_s + np.arange(spreads.shape[1])
    return begin_s + grid_s * (low[:, None] + first).astype(np.float64), excess, spreads


def _standing_out(counts: Floats, grid_s: int) -> tuple[Floats, Floats]:
    """Give what each span of each day has more than those around it, and by how many spreads.

    The counts of both ways, shape (2, days, steps); no spreads where no burst goes both ways.
    """
    near, far, wide = (one // grid_s for one in (*AROUND_S, BURST_S))
    total = np.cumsum(known_or(counts), axis=2)
    spans = total[..., wide:] - total[..., :-wide]
    spans = np.concatenate((total[..., wide - 1 : wide], spans), axis=2)  # each from its step on
    n = spans.shape[2] - 2 * far
    before = range(far, near, -max(1, 900 // grid_s))
    rows = [
        [spans[..., far + by : far + by + n] for by in side]
        for side in ([-by for by in before], before)
    ]
    here = spans[..., far : far + n]
    # the day's traffic goes up and down by itself: what the two sides differ by is no spread
    sides = [_middle(in_order(one)) for one in rows]
    middle = (sides[0] + sides[1]) / 2
    excess = here - middle
    even = np.abs(excess[0] - excess[1]) <= BALANCE * excess.max(axis=0)
    is_burst = even & (excess.min(axis=0) >= BURST_BEES)
    higher = here - np.maximum(sides[0], sides[1])
    is_burst &= (higher >= BUSIER * excess).all(axis=0) & (excess <= GAP * middle).all(axis=0)
    spreads = np.zeros(is_burst.shape)
    if not is_burst.any():
        return excess, spreads
    off = [
        np.abs(row[:, is_burst] - side[:, is_burst])
        for one, side in zip(rows, sides, strict=True)
        for row in one
    ]
    spread = NORMAL * _middle(np.sort(off, axis=0))
    spread = np.maximum(spread, np.sqrt(np.maximum(middle[:, is_burst], 1.0)))
    spreads[is_burst] = (excess[:, is_burst] / spread).min(axis=0)
    return excess, spreads


def _middle(ordered: Sequence[Floats] | Floats) -> Floats:
    """Give the median of rows in order."""
    half = len(ordered) // 2
    middle = ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2
    return np.asarray(middle)
