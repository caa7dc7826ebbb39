"""Did a hive's foragers not come home: `forager_loss` that it and its neighbours tell together.

Foragers that are sprayed or caught out fly no more: from that day on far fewer leave than the
neighbours' flights tell, and it came at once. On that day fewer came home than the counter's own
bias makes of it, and in the evening the hive lacks their weight beside what its neighbours gained.
Each of the three alone is a counter's whim, a patch that is over or a poor day; together, flights
and weight each beyond what they stray by themselves, and with the flights still missing on the day
after, they are bees that are gone. By then a counter has sent all of that day, too: on its evening
those that are still to come home look the same.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.signals.balance import BEE_KG, balance_of
from hivewatch.signals.bare import before_each
from hivewatch.signals.beside import (
    Beside,
    before_each_row,
    middle_of,
    others_of,
    side_by_side,
)
from hivewatch.signals.days import Days
from hivewatch.signals.faults import NORMAL
from hivewatch.signals.window import Floats

# Own choices where no source is named; tests/unit/detect/test_unreturned.py.
USUAL = (10, 4)  # days that tell the usual share of flights, and gain; known ones of them
FEWER = 0.75  # times the usual beside the neighbours,
STRAY_DAYS, STRAY_LEAST = 14, 5  # days that tell how far such figures stray; known ones of them
FEWER_SPREADS, BEHIND_SPREADS = 3.5, 2.0  # beyond that: no patch that is over, no poor day
BEFORE = 0.85  # the same on the days before: it came at once,
STILL = 0.8  # and on the day after: a shower brings no bees back
LEAST_BEES = 2000.0  # [bees] of a day that says something
LOST_BEES = 1500.0  # [bees] of 5,000 to 12,000 foragers
LOST_SPREADS = 1.0  # of the balances of the days before: one witness of three
SCALE_SHARE = 0.5  # of what the lost bees weigh, behind the neighbours and the usual
STEP_KG = 0.45  # [kg] a day with such a step is another matter: a cast, a visit


def find(_yard: Yard, days: Mapping[str, Days]) -> list[Finding]:
    """Say which hives of a yard lost foragers.

    Parameters
    ----------
    days : Mapping
        Hive -> its days, all up to the same moment; those that are weighed and counted are asked.

    Returns
    -------
    list[Finding]
        Of kind `forager_loss`, told on the evening of the day after; `bees_lost`, `kg_behind_yard`
        and `traffic_beside_yard`, times the usual share of the neighbours' flights.

    References
    ----------
    A counter's own in / out of 0.90 on an ordinary summer day: insignia-bee.eu, 122,667 in and
    136,920 out; within 0.05 of one in 46 of 51 tests: Bayer, openagrar_mods_00089379.
    """
    counted = {
        hive: one
        for hive, one in sorted(days.items())
        if not (np.isnan(one.bees_out).all() or np.isnan(one.day_kg).all())
    }
    if len(counted) < 2:  # noqa: PLR2004 - one neighbour tells how many could fly
        return []
    yard = side_by_side(list(counted.values()))
    return [one for row, hive in enumerate(counted) for one in _losses(hive, row, yard)]


def _losses(hive: str, row: int, yard: Beside) -> list[Finding]:
    """Find the days whose foragers did not come home."""
    out = np.where(yard.out[row] >= LEAST_BEES, yard.out[row], np.nan)
    others = others_of(yard.out, row)
    share = out / np.where(others >= LEAST_BEES, others, np.nan)
    times = middle_of(share / before_each_row(share, *USUAL))
    flights = np.log(np.maximum(times, 0.01))
    gained = others_of(yard.plain, row) - yard.plain[row]
    behind_kg = middle_of(gained - before_each_row(gained, *USUAL))
    balance = balance_of(out, yard.back[row], yard.day[row])
    lost = balance.lost
    is_loss = (
        (times < FEWER)
        & (-flights >= FEWER_SPREADS * _spread(flights))
        & (behind_kg >= BEHIND_SPREADS * _spread(behind_kg))
        & (np.fmin(_earlier(times, 1), _earlier(times, 2)) >= BEFORE)
        & (_earlier(times, -1) < STILL)
        & (lost >= LOST_BEES)
        & (balance.share >= LOST_SPREADS * balance.spread)
        & (behind_kg >= SCALE_SHARE * lost * BEE_KG)
        & (np.abs(yard.stepped[row]) < STEP_KG)
        & ~balance.is_plain  # that is told already, by the hive itself
    )
    return [
        Finding(
            kind="forager_loss",
            subject=f"hive:{hive}",
            start_s=int(yard.begin_s[day]),
            end_s=int(yard.dusk_s[day]),
            detected_s=int(yard.dusk_s[day + 1]),
            confidence=0.7,
            measures={
                "bees_lost": round(float(lost[day]), -2),
                "kg_behind_yard": round(float(behind_kg[day]), 2),
                "traffic_beside_yard": round(float(times[day]), 2),
            },
            evidence=(
                f"{times[day]:.0%} of its usual share of the neighbours' flights, at once",
                f"{lost[day]:,.0f} more bees went out than came in, beside the counter's own bias",
                f"it ended {behind_kg[day]:.2f} kg further behind them: bees, and what they bring",
            ),
            status="ended",
        )
        for day in np.flatnonzero(is_loss).tolist()
    ]


def _spread(figures: Floats) -> Floats:
    """Give how far the figures of the days before each day stray from nothing."""
    return NORMAL * before_each(np.abs(figures), STRAY_DAYS, STRAY_LEAST)


def _earlier(figures: Floats, days: int) -> Floats:
    """Give for each day the figure of so many days before, or after; NaN where there is none."""
    none = np.full(abs(days), np.nan)
    return np.concatenate((none, figures[:-days]) if days > 0 else (figures[-days:], none))
