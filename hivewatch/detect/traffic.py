"""What the entrance tells: `orientation_flight` and `forager_loss`, by the counts of bees.

Young bees fly for the first time on warm afternoons, at about the same hour every day: for 5 to 25
minutes many more go out than just before and after, and as many come in. Foragers that are lost
(sprayed, caught out) are counted out and not in again. A counter has a bias of its own, so that a
day's balance is held against the days before; and the scale must agree: in the evening the hive
weighs less than in the morning.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.bare import before_each, passed
from hivewatch.signals.days import HOUR_S, Days, days_of
from hivewatch.signals.faults import NORMAL
from hivewatch.signals.window import Floats, HiveWindow, on_grid, usual_step_s

# Own choices where no source is named; tests/unit/detect/test_traffic.py.
BEE_KG = 0.0001  # [kg] published: worker mass, constants in Becher et al. (2014)
SCALE_LATE_S = 2 * 86_400  # [s] own choice: silent for longer, a scale is not waited for
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
LOST_SHARE = 0.10  # of the bees that went out; published counters agree within 0.05 (Bayer)
LOST_SPREADS = 2.0  # of the balances of the days before
LEAST_SPREAD = 0.018  # of a balance
LOST_BEES = 1000.0  # [bees]
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
    if not (len(window.of("bees-in")) and len(window.of("bees-out"))):
        return []
    days = days_of(window)
    return [*_first_flights(window, days), *_losses(window, days)]


def _first_flights(window: HiveWindow, days: Days) -> Iterator[Finding]:
    """Find each afternoon's first burst, both ways at once."""
    step_s = usual_step_s(window.of("bees-out"))
    if step_s is None or step_s > COARSEST_S:
        return
    grid_s = -(-step_s // GRID_S) * GRID_S
    wide = BURST_S // grid_s
    noon_s = (days.rise_s + days.set_s) / 2
    begin_s, excess, spreads = _bursts(window, days, noon_s, grid_s)
    hour = 12 + (begin_s + BURST_S / 2 - noon_s[:, None]) / HOUR_S
    told_s = begin_s + 2 * BURST_S + AROUND_S[1]
    spreads = np.where((hour >= HOURS_H[0]) & (hour <= HOURS_H[1]), spreads, 0.0)
    hours: list[float] = []
    for i in np.flatnonzero(spreads.max(axis=1) >= USUAL_SPREADS).tolist():
        usual = float(np.median(hours[-USUAL_DAYS:])) if len(hours) >= LEAST_DAYS else np.nan
        off_h = np.abs(hour[i] - usual)
        asked = np.where(off_h <= USUAL_H, USUAL_SPREADS, BURST_SPREADS)
        asked[off_h > OFF_H] = OFF_SPREADS
        standing = np.flatnonzero((spreads[i] >= asked) & (told_s[i] <= window.as_of_s))
        if not len(standing):
            continue
        first = int(standing[0])
        at = first + int(np.argmax(spreads[i, first : first + wide]))
        hours.append(float(hour[i, at]))
        told = int(told_s[i, first])
        yield _flight(window, int(begin_s[i, at]), told, excess[:, i, at], float(spreads[i, at]))


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
    window: HiveWindow, days: Days, noon_s: Floats, grid_s: int
) -> tuple[Floats, Floats, Floats]:
    """Give, by day and step, when a span begins, what goes out and comes in more, and spreads.

    Each span is held against spans of the same length shortly before and shortly after.
    """
    begin_s, end_s = int(days.start_s[0]), int(days.start_s[-1])
    hours = HOURS_H[0] - 2, HOURS_H[1] + 2
    low = ((noon_s + (hours[0] - 12) * HOUR_S - begin_s) // grid_s).astype(np.int64)
    steps = np.arange(int((hours[1] - hours[0]) * HOUR_S) // grid_s)
    at = np.clip(low[:, None] + steps, 0, (end_s - begin_s) // grid_s - 1)
    both = [
        _standing_out(on_grid(window.of(name), grid_s, begin_s, end_s, summed=True)[1][at], grid_s)
        for name in ("bees-out", "bees-in")
    ]
    excess = np.stack([one[0] for one in both])
    spreads = np.minimum(both[0][1], both[1][1])
    even = np.abs(excess[0] - excess[1]) <= BALANCE * excess.max(axis=0)
    spreads = np.where(even & (excess.min(axis=0) >= BURST_BEES), spreads, 0.0)
    first = AROUND_S[1] // grid_s + np.arange(spreads.shape[1])
    return begin_s + grid_s * (low[:, None] + first).astype(np.float64), excess, spreads


def _standing_out(counts: Floats, grid_s: int) -> tuple[Floats, Floats]:
    """Give what each span of each day has more than those around it, and by how many spreads."""
    near, far, wide = (one // grid_s for one in (*AROUND_S, BURST_S))
    total = np.cumsum(np.nan_to_num(counts), axis=1)
    spans = total[:, wide:] - total[:, :-wide]
    spans = np.concatenate((total[:, wide - 1 : wide], spans), axis=1)  # each from its step on
    first = np.arange(far, spans.shape[1] - far)
    before = np.arange(-far, -near, max(1, 900 // grid_s))
    rows = [spans[:, first[:, None] + side] for side in (before, -before)]
    # the day's traffic goes up and down by itself: what the two sides differ by is no spread
    sides = [np.median(one, axis=2) for one in rows]
    middle = (sides[0] + sides[1]) / 2
    off = np.concatenate(
        [np.abs(one - mid[..., None]) for one, mid in zip(rows, sides, strict=True)], axis=2
    )
    spread = NORMAL * np.median(off, axis=2)
    spread = np.maximum(spread, np.sqrt(np.maximum(middle, 1.0)))
    excess = spans[:, first] - middle
    return excess, excess / spread


def _losses(window: HiveWindow, days: Days) -> Iterator[Finding]:
    """Find the days whose bees did not all come home."""
    out = passed(window.of("bees-out"), days.start_s[:-1], days.dusk_s)
    back = passed(window.of("bees-in"), days.start_s[:-1], days.dusk_s)
    seen = (out >= LEAST_OUT) & _are_all_in(window, days)
    ratio = np.full(len(days), np.nan)
    ratio[seen] = back[seen] / out[seen]
    usual = before_each(ratio, USUAL_DAYS, LEAST_DAYS)
    off = np.abs(ratio - usual)
    spread = np.nan_to_num(NORMAL * before_each(off, USUAL_DAYS, LEAST_DAYS), nan=0.035)
    spread = np.maximum(spread, LEAST_SPREAD)
    lost = out * usual - back
    share = usual - ratio
    is_loss = (
        (share >= LOST_SHARE)
        & (share >= LOST_SPREADS * spread)
        & (lost >= LOST_BEES)
        & ~(days.day_kg >= 0)
    )
    usual_out = before_each(np.where(seen, out, np.nan), USUAL_DAYS, LEAST_DAYS)
    for i in np.flatnonzero(is_loss).tolist():
        begun_s = _since(window, days, i, float(usual[i]), float(lost[i]))
        if begun_s is None:
            continue
        after = i + 1 < len(days) and bool(seen[i + 1]) and out[i + 1] < FEWER * usual_out[i]
        yield _lost(window, days, i, begun_s, float(lost[i]), float(usual[i]), fewer=after)


def _are_all_in(window: HiveWindow, days: Days) -> NDArray[np.bool_]:
    """Say of which days counter and scale have sent everything up to dusk; devices may be late."""
    both = [window.of(name).time_s for name in ("bees-out", "bees-in")]
    counted_s = min(int(one[-1]) if len(one) else 0 for one in both)
    weight = window.of("weight")
    weighed_s = int(weight.time_s[-1]) if len(weight) else 0
    is_scale_late = (days.dusk_s > weighed_s) & (days.dusk_s < weighed_s + SCALE_LATE_S)
    return np.asarray((days.dusk_s <= counted_s) & ~is_scale_late)


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
