"""Does a sensor stand still where it must move: `stuck`.

A weight or a warmth that is the same to the last digit for a day, a counter that says the same
number all night, or counts one way only. A scale of a coarse digit stands still for a day of itself
where a small colony eats in winter, or where none is left: it has three days; with nothing on it,
nothing is asked of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.detect.sent import sender_of
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import DAY_S
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.faults import DIGIT_S, is_coarse, stuck
from hivewatch.signals.window import HiveWindow, Ints, Series

# Own choices where no source is named; tests/unit/detect/test_stuck.py.
QUANTITIES = (
    "weight",
    "nest",
    "nest-humidity",
    "ambient",
    "ambient-humidity",
    "bees-in",
    "bees-out",
)
_ACROSS = {"bees-in": "bees-out", "bees-out": "bees-in"}
AT_ONCE_S, AT_ONCE_SHARE = 3600, 0.7  # [s], share: own choice: so many so soon are one exodus
SAME_S = 6 * 3600  # [s] stuck spells nearer to each other are one
ONE_WAY = 2000.0  # [bees] a day that were counted the one way and none the other
COARSE_STILL_S = 3 * DAY_S  # [s] a colony eats 50 g in a day or two of winter (popular reports)
EMPTY_KG = 1.0  # [kg] a scale that bears less bears no hive

BACK_S = COARSE_STILL_S + DIGIT_S + DAY_S  # [s] as for `hivewatch.signals.carried`

Flags = NDArray[np.bool_]


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say which sensors stand still.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`; every quantity that it has is looked at.

    Returns
    -------
    list[Finding]
        Of kind `stuck`; the subject is the device that sent it.
    """
    found = [_one(window, *spell) for spell in _stuck(window, days_of(window))]
    return _one_at_a_time([one for one in found if one.detected_s >= window.carried.until_s])


def _stuck(window: HiveWindow, days: Days) -> Iterator[tuple[str, int, int, int | None, str]]:
    """Give what does not move: quantity, since when, when that was told, until when, in words."""
    for name in QUANTITIES:
        series = window.of(name).since(window.carried.until_s, BACK_S)
        if not len(series) or name in window.lent:
            continue
        still = stuck(series, name, COARSE_STILL_S)
        if not still.any():
            continue
        for first, last in _runs(still, series.time_s):
            start = max(first - 1, 0)
            if (
                name == "weight"
                and abs(series.value[start]) < EMPTY_KG
                and is_coarse(series, start)
            ):
                continue
            unbroken = first + int(np.argmin(np.append(still[first : last + 1], False))) - 1
            told = _told(series, start, unbroken, name)
            end_s = int(series.time_s[last + 1]) if last + 1 < len(series) else None
            words = f"{name} was {series.value[start]:g} at every reading"
            yield name, int(series.time_s[start]), told, end_s, words
    for name, other in (("bees-in", days.bees_out), ("bees-out", days.bees_in)):
        mine = days.bees_in if name == "bees-in" else days.bees_out
        over = (days.start_s[1:] <= window.as_of_s) & (days.start_s[1:] >= window.carried.until_s)
        for i in np.flatnonzero((mine == 0) & (other >= ONE_WAY) & over).tolist():
            begin_s, end_s = int(days.start_s[i]), int(days.start_s[i + 1])
            if _at_once(window.of(_ACROSS[name]).between(begin_s, end_s)):
                continue  # a colony that left
            words = f"{name} counted none while {other[i]:,.0f} bees passed the other way"
            yield name, begin_s, end_s, end_s, words


def _at_once(counts: Series) -> bool:
    """Say whether most bees of a day passed within an hour."""
    total = np.cumsum(counts.value)
    if not len(total):
        return False
    hour = counts.time_s.searchsorted(counts.time_s + AT_ONCE_S, side="right") - 1
    return bool((total[hour] - total + counts.value).max() >= AT_ONCE_SHARE * total[-1])


def _runs(true: Flags, time_s: Ints) -> Iterator[tuple[int, int]]:
    """Give first and last index of each run, near ones joined."""
    at = np.flatnonzero(true)
    breaks = np.flatnonzero((np.diff(at) > 1) & (np.diff(time_s[at]) > SAME_S))
    first = np.concatenate(([0], breaks + 1))
    last = np.concatenate((breaks, [len(at) - 1]))
    for low, high in zip(first, last, strict=True):
        yield int(at[low]), int(at[high])


def _told(series: Series, start: int, last: int, name: str) -> int:
    """Give the reading with which a run had become too long.

    The flags know it, too, but of the run as a whole: they are asked of its beginnings.
    """
    before = int(series.time_s.searchsorted(series.time_s[start] - DIGIT_S))
    low, high = start + 1, last
    while low < high:
        middle = (low + high) // 2
        part = Series(series.time_s[before : middle + 1], series.value[before : middle + 1])
        if stuck(part, name, COARSE_STILL_S)[-1]:
            high = middle
        else:
            low = middle + 1
    return int(series.time_s[low])


def _one(
    window: HiveWindow, name: str, start_s: int, told_s: int, end_s: int | None, words: str
) -> Finding:
    """Make one `stuck`."""
    measure, until_s = ("hours", end_s) if end_s else ("told_after_hours", told_s)
    return Finding(
        kind="stuck",
        subject=f"device:{sender_of(window, window.of(name), start_s, told_s)}",
        start_s=start_s,
        end_s=end_s,
        detected_s=told_s,
        confidence=0.95,
        measures={measure: round((until_s - start_s) / 3600, 1)},
        evidence=(words,),
        status="open" if end_s is None else "ended",
    )


def _one_at_a_time(found: Sequence[Finding]) -> list[Finding]:
    """Join what one device's quantities say at the same time."""
    kept: list[Finding] = []
    for one in sorted(found, key=lambda one: (one.subject, one.start_s)):
        before = kept[-1] if kept else None
        overlaps = (
            before is not None
            and before.subject == one.subject
            and (before.end_s is None or one.start_s <= before.end_s)
        )
        if not overlaps:
            kept.append(one)
    return kept
