"""Does one hive's course differ from its yard's: a flow of its own, or no part in the yard's flow.

A yard's hives mostly share their forage, so that one that gains alone has found another one, or
robs far away; and one that loses for a week in which all its neighbours gain takes no part in the
flow. Both are rare and only told when they are clear: against every one of the others, and not
after somebody's hand or a swarm changed the hive.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from hivewatch.detect.finding import Finding
from hivewatch.signals.days import Days
from hivewatch.signals.window import Floats
from hivewatch.signals.yard import Flags, YardDays

# All thresholds: own choice; tests/unit/detect/test_own_flow.py and the scoreboard.
LEAST_OTHERS = 2  # other hives that tell how the days were
WEEK, LEAST_DAYS = 7, 6  # [d] that are looked at together, and known ones among them
GAINS_KG = 0.8  # [kg/d] of a hive in a flow of its own
IDLE_KG = 0.15  # [kg/d] the best of the others, meanwhile
ROBBED_KG = 0.3  # [kg/d] one of them behind the middle one: that may be where it comes from
LOSES_KG = -0.05  # [kg/d] of a hive that takes no part
FLOW_KG, SHARE_KG = 0.7, 0.3  # [kg/d] the middle one of the others, and the poorest of them
STAYS_KG = 0.3  # [kg/d] apart: it still differs
IN_A_ROW, OVER_DAYS = 2, 3  # [d] that agree; that no longer differ
MOVED_KG, MOVED_DAYS = 1.0, 21  # [kg], [d] after a box, feed or a swarm a hive is another one:
# common practice, no source: three weeks and more until a new queen's first brood has emerged


def find(hives: Sequence[str], days: Sequence[Days], together: YardDays) -> list[Finding]:
    """Say which hives of a yard have a flow, or a dearth, of their own.

    Parameters
    ----------
    hives : Sequence[str]
        Their names.
    days : Sequence[Days]
        Their days, in the same order.
    together : YardDays
        The same on one calendar.

    Returns
    -------
    list[Finding]
        Of kinds `nectar_flow` and `dearth`, with a hive as subject; `kg_behind_yard` is what it
        falls behind the middle one of the others in a day, below nothing if it is ahead of it.
    """
    if len(hives) <= LEAST_OTHERS:
        return []
    week = np.array([_mean(row) for row in together.gain_kg])
    found: list[Finding] = []
    for row, hive in enumerate(hives):
        own, others = week[row], np.delete(week, row, axis=0)
        middle, poorest, best = _spread(others)
        calm = ~_is_moved(days[row], together)
        alone = (own >= GAINS_KG) & (best <= IDLE_KG) & (middle - poorest < ROBBED_KG)
        out = (own <= LOSES_KG) & (middle >= FLOW_KG) & (poorest >= SHARE_KG)
        for kind, begins, stays in (
            ("nectar_flow", alone & calm, own - middle >= STAYS_KG),
            ("dearth", out & calm, (middle - own >= STAYS_KG) & (own < -LOSES_KG)),
        ):
            found += [
                _finding(kind, hive, spell, row, together) for spell in _spells(begins, stays)
            ]
    return found


def _mean(figures: Floats) -> Floats:
    """Give the mean of each day and the six before it, where enough are known."""
    table = sliding_window_view(np.append(np.full(WEEK - 1, np.nan), figures), WEEK)
    known = (~np.isnan(table)).sum(axis=1)
    mean = np.nan_to_num(table).sum(axis=1) / np.maximum(known, 1)
    return np.where((known >= LEAST_DAYS) & ~np.isnan(figures), mean, np.nan)


def _spread(others: Floats) -> tuple[Floats, Floats, Floats]:
    """Give the middle one, the poorest and the best of the others, where enough are known."""
    known = (~np.isnan(others)).sum(axis=0) >= LEAST_OTHERS
    middle, poorest, best = (np.full(others.shape[1], np.nan) for _ in range(3))
    middle[known] = np.nanmedian(others[:, known], axis=0)
    poorest[known] = np.nanmin(others[:, known], axis=0)
    best[known] = np.nanmax(others[:, known], axis=0)
    return middle, poorest, best


def _is_moved(one: Days, together: YardDays) -> Flags:
    """Say on which days a step of the hive's weight lies in the three weeks before."""
    moved = np.zeros(len(together.day), np.bool_)
    at = (one.day[0] - together.day[0]).days
    moved[at : at + len(one)] = np.abs(np.nan_to_num(one.step_kg)) >= MOVED_KG
    table = sliding_window_view(np.append(np.zeros(MOVED_DAYS - 1, np.bool_), moved), MOVED_DAYS)
    return np.asarray(table.any(axis=1), np.bool_)


def _spells(begins: Flags, stays: Flags) -> Iterator[tuple[int, int, int | None]]:
    """Give the spells: first day, day that told it, day after the last; None while it lasts."""
    told: int | None = None
    first = last = free = row = 0
    for day in range(len(begins)):
        if told is None:
            row = row + 1 if begins[day] else 0
            if row == IN_A_ROW:
                first, told, last = max(free, day - IN_A_ROW - WEEK + 2), day, day
        elif stays[day]:
            last = day
        elif day - last >= OVER_DAYS:
            yield first, told, last + 1
            told, row, free = None, 0, last + 1
    if told is not None:
        yield first, told, None


def _finding(
    kind: str, hive: str, spell: tuple[int, int, int | None], row: int, together: YardDays
) -> Finding:
    """Put what one hive does by itself into words and figures."""
    first, told, after = spell
    gain = together.gain_kg[:, first:after]
    others = np.delete(gain, row, axis=0)
    known = ~np.isnan(others).all(axis=0)
    mine, middle = float(np.nanmean(gain[row])), np.nanmedian(others[:, known], axis=0).mean()
    days = int((~np.isnan(gain[row])).sum())
    why = (
        "it is far stronger, has found forage that the others do not visit, or robs elsewhere"
        if kind == "nectar_flow"
        else "it takes no part in the yard's flow, and no box or swarm explains it"
    )
    return Finding(
        kind=kind,
        subject=f"hive:{hive}",
        start_s=int(together.start_s[first]),
        end_s=None if after is None else int(together.start_s[after]),
        detected_s=int(together.dawn_s[told]),
        confidence=0.6,
        status="open" if after is None else "ended",
        measures={
            "kg_a_day": round(mine, 2),
            "kg_gained": round(mine * days, 1),
            "kg_behind_yard": round(float(middle) - mine, 2),
        },
        evidence=(
            f"it changed by {mine:+.2f} kg a day, the middle one of the others by {middle:+.2f} kg",
            why,
        ),
    )
