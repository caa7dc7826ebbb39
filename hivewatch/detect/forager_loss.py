"""Did foragers not come home: `forager_loss`, by the counts of bees.

Foragers that are lost (sprayed, caught out) are counted out and not in again (`signals.balance`).
Here is told what a hive's own counter and scale tell plainly, on the evening of that day; what
shows only beside the neighbours is told a day later (`detect.unreturned`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.balance import (
    BEE_KG,
    FEWER,
    LEAST_OUT,
    LOST_BEES,
    USUAL_DAYS,
    balance_of,
)
from hivewatch.signals.bare import passed
from hivewatch.signals.carried import unless_same
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.flown import flown_of
from hivewatch.signals.window import HiveWindow

# Own choices where no source is named; tests/unit/detect/test_forager_loss.py.
BACK_S = 4 * 86_400  # [s] as for `hivewatch.signals.carried`
GRID_S = 300  # [s] counts are looked at in such steps
AT_ONCE_S = 2700  # [s] what goes within this is a swarm,
AT_ONCE_SHARE = 0.6  # when it is so much of all that is missing


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
    out, back = np.where(is_all_in, (out, back), np.nan)
    first = max(int(days.start_s.searchsorted(window.carried.until_s)) - USUAL_DAYS - 2, 0)
    given = first, *(one.tobytes() for one in (out, back, days.day_kg))
    told = unless_same(
        *(window, "balance by day", given), lambda: balance_of(out, back, days.day_kg, first)
    )
    is_loss = told.is_plain.copy()
    is_loss[days.dusk_s < window.carried.until_s] = False  # told before
    for i in np.flatnonzero(is_loss).tolist():
        begun_s = _since(window, days, i, float(told.usual[i]), float(told.lost[i]))
        if begun_s is None:
            continue
        lost, usual = float(told.lost[i]), float(told.usual[i])
        after = i + 1 < len(days) and LEAST_OUT <= out[i + 1] < FEWER * told.usual_out[i]
        yield _lost(window, days, i, begun_s, lost, usual, fewer=bool(after))


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
