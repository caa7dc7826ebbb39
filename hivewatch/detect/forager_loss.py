"""Did foragers not come home: `forager_loss`, by the counts of bees.

Foragers that are lost (sprayed, caught out) are counted out and not in again, and go out no more:
on that very day fewer fly than usual. A counter has a bias of its own, so that a day's balance is
held against the days before; and the scale must agree: in the evening the hive lacks a good part of
what the lost bees weigh, beside what a day without income takes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.bare import before_each, passed
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.faults import NORMAL
from hivewatch.signals.flown import flown_of
from hivewatch.signals.window import HiveWindow

# Own choices where no source is named; tests/unit/detect/test_forager_loss.py.
BEE_KG = 0.0001  # [kg] published: worker mass, constants in Becher et al. (2014)
BACK_S = 4 * 86_400  # [s] as for `hivewatch.signals.carried`
GRID_S = 300  # [s] counts are looked at in such steps
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
FEWER = 0.8  # share of the usual traffic: who is lost goes out no more
PLAIN_SHARE = 0.2  # of the bees that went out: so many missing are plain without that


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when foragers did not come home.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `bees-in` and `bees-out`; takes `weight`.

    Returns
    -------
    list[Finding]
        Of kind `forager_loss` (`bees_lost`, `kg_lost`).

    References
    ----------
    A counter's own in / out of 0.90 on an ordinary summer day: insignia-bee.eu, 122,667 in and
    136,920 out; within 0.05 of one in 46 of 51 tests: Bayer, openagrar_mods_00089379.
    """
    if not (window.has("bees-in") and window.has("bees-out")):
        return []
    return list(_losses(window, days_of(window)))


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
    spread = np.maximum(np.where(np.isnan(spread), SPREAD, spread), LEAST_SPREAD)
    lost = out * usual - back
    share = usual - ratio
    usual_kg = before_each(days.day_kg, USUAL_DAYS, LEAST_DAYS, first=first)
    lacks_kg = np.minimum(usual_kg, 0.0) - days.day_kg
    asked = np.where(np.isnan(lacks_kg), ALONE_SPREADS, LOST_SPREADS)
    usual_out = before_each(np.where(seen, out, np.nan), USUAL_DAYS, LEAST_DAYS, first=first)
    is_loss = (
        ((out < FEWER * usual_out) | (share >= PLAIN_SHARE))
        & (share >= np.maximum(LOST_SHARE, asked * spread))
        & (lost >= LOST_BEES)
        & ~(lacks_kg < SCALE_SHARE * lost * BEE_KG)
    )
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
