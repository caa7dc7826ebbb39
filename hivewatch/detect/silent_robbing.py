"""Is a hive robbed without a fight: `robbing` that only its neighbours' gain shows.

Silent robbing takes some hundred grams a day for weeks, and the traffic is no heavier than usual.
By its own weight such a hive looks like any other in a dearth; but a day is the same for the whole
yard. So the yard is looked at: what a hive falls behind the others, beside what it usually does and
what they differ among themselves, adds up from nothing; when it loses by day, does worse than every
one of them and worse than before, no fewer of its bees fly, and its nights are what they were, it
is being robbed: who starves loses by night as well. What goes in a day, with a fight, is told by
the hive's own weight; what that tells, and the days after it, are left out here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.signals.bare import before_each
from hivewatch.signals.days import DAY_S, HOUR_S, Days, sum_steps
from hivewatch.signals.robbed import goes_with_robbed
from hivewatch.signals.window import Floats

Flags = NDArray[np.bool_]

# All thresholds: own choice; tests/unit/detect/test_silent_robbing.py.
LEAST_OTHERS = 1  # other hives that tell how the day was
BEFORE_DAYS, LEAST_BEFORE = 16, 5  # days that tell how far behind it usually is; known ones of them
BESIDE_KG = 0.1  # [kg/d] behind the middle one of the others, and the usual, counts for nothing,
BESIDE_FLOW = 0.5  # nor does this share of what they gain: no two colonies bring the same,
APART = 0.5  # nor this of what lies between the richest and the poorest of them
BEHIND_KG = 0.7  # [kg] behind beside all that, added up, is told: three days of half a kilogram
ALONE_KG = 0.85  # [kg] the same where nobody counts bees
ONE_OTHER_KG = 1.8  # [kg] the same where one other hive alone tells how the day was
MOST_KG = 1.5  # [kg/d] that a day can add or take
NOW_DAYS = 2  # [d] that tell what it falls behind now
SPELL_DAYS = 16  # [d] looked at together at most
MEAN_KG = 0.15  # [kg/d] behind in the mean of the spell, beside the usual
WORST_KG = 0.1  # [kg/d] behind the poorest of the others
LOSES_KG = 0.15  # [kg] by day
FLOW_KG = 0.5  # [kg] by day of the others: in such a flow a weaker hive falls behind by itself
NIGHT_KG = 0.08  # [kg] more a night than the others, and the usual: it starves, or something dries
FEWER = 1.0  # times its usual share of the traffic: with fewer bees it brings less by itself
FALLS_KG = 0.2  # [kg] by day less than it gained before: a flow that it misses is no robbing
SWARM_KG, SWARM_DAYS = (0.8, 4.5), 28  # [kg], [d] after a swarm it brings less for some weeks
WELL_KG, WELL_DAYS = 0.2, 4  # [kg/d] behind beside the usual, [d] in a row: it is over
UNKNOWN_DAYS = 10  # [d] and it is not known any longer
SMALL_KG = 1.0  # [kg] smaller steps are foragers and showers, as for `signals.yard`
MOVED_DAYS = 2  # [d] after a step, feed dries and boxes are licked out
STILL_KG, STILL_DAYS = 0.05, 8  # [kg] by day at most, for [d]: bees bring and eat more
FLYING_H, LIGHT_H = 2.0, 11.0  # [h] of flying weather; of light, where nobody measures warmth


def find(_yard: Yard, days: Mapping[str, Days]) -> list[Finding]:
    """Say which hives of a yard are robbed silently.

    Parameters
    ----------
    days : Mapping
        Hive -> its days, all up to the same moment.

    Returns
    -------
    list[Finding]
        Of kind `robbing`; `kg_behind_yard` is what it falls behind in a day.

    References
    ----------
    Cumulative sums that start anew when they fall: E. S. Page, Biometrika 41, 100 (1954); the most
    likely day of a change: D. V. Hinkley, Biometrika 57, 1 (1970).
    """
    weighed = {hive: one for hive, one in sorted(days.items()) if not np.isnan(one.day_kg).all()}
    if len(weighed) <= LEAST_OTHERS:
        return []
    first = min(one.day[0] for one in weighed.values())
    count = (max(one.day[-1] for one in weighed.values()) - first).days + 1
    gain, out, night = (np.full((len(weighed), count), np.nan) for _ in range(3))
    dusk_s = np.zeros((len(weighed), count))
    loud = np.zeros((len(weighed), count), bool)
    start_s = np.zeros((len(weighed), count))
    for row, one in enumerate(weighed.values()):
        at = slice((one.day[0] - first).days, (one.day[0] - first).days + len(one))
        gain[row, at], out[row, at] = _plain_kg(one), one.bees_out
        loud[row, at], night[row, at] = goes_with_robbed(one), one.night_kg
        dusk_s[row, at], start_s[row, at] = one.dusk_s, one.rise_s  # nobody robs by night
    dusk, begin = dusk_s.max(axis=0), start_s.max(axis=0)
    found: list[Finding] = []
    for row, hive in enumerate(weighed):
        others = np.delete(gain, row, axis=0)
        usual = _middle(np.delete(out, row, axis=0))
        nights = night[row] - _middle(np.delete(night, row, axis=0))
        share = np.divide(out[row], usual, out=np.full(count, np.nan), where=usual > 0)
        found += [
            _robbed(hive, spell, begin, dusk, gain[row], others)
            for spell in _spells(np.where(loud[row], np.nan, gain[row]), others, share, nights)
        ]
    return found


def _plain_kg(one: Days) -> Floats:
    """Give the gain by day of days without steps shortly before, on which bees could fly."""
    small = [step for step in one.steps if abs(step.size_kg) < SMALL_KG]
    next_rise_s = np.append(one.rise_s[1:], one.rise_s[-1:] + DAY_S)
    moved = np.nan_to_num(np.abs(one.step_kg - sum_steps(small, one.rise_s, next_rise_s)))
    lately = before_each(moved, MOVED_DAYS, 1, 1.0)
    fell = -np.nan_to_num(one.step_kg)
    swarmed = np.where((fell >= SWARM_KG[0]) & (fell <= SWARM_KG[1]), 1.0, 0.0)
    spoilt = (np.nan_to_num(lately) >= SMALL_KG) | (moved >= SMALL_KG)
    spoilt |= np.nan_to_num(before_each(swarmed, SWARM_DAYS, 1, 1.0)) > 0
    light_h = (one.set_s - one.rise_s) / HOUR_S
    fly = np.where(np.isnan(one.flying_h), light_h >= LIGHT_H, one.flying_h >= FLYING_H)
    plain = one.day_kg + sum_steps(small, one.rise_s, one.set_s)
    return np.where(spoilt | ~fly | _is_still(one.day_kg), np.nan, plain)


def _is_still(day_kg: Floats) -> Flags:
    """Say when a scale carries no living hive, or stands still: it tells nothing of the day."""
    moves = np.concatenate((np.zeros(STILL_DAYS - 1), np.nan_to_num(np.abs(day_kg))))
    most_kg = np.lib.stride_tricks.sliding_window_view(moves, STILL_DAYS).max(axis=1)
    return np.asarray(most_kg < STILL_KG)


def _middle(others: Floats) -> Floats:
    """Give the middle figure of the others, day by day, where enough of them are known."""
    ordered, day = np.sort(others, axis=0), np.arange(others.shape[1])  # NaN goes to the end
    known = (~np.isnan(others)).sum(axis=0)
    low, high = np.maximum(known - 1, 0) // 2, np.minimum(known // 2, len(others) - 1)
    middle = (ordered[low, day] + ordered[high, day]) / 2
    return np.where(known >= LEAST_OTHERS, middle, np.nan)


def _apart(others: Floats) -> Floats:
    """Give how far apart the richest and the poorest of the others are, day by day; 0 for one."""
    known = ~np.isnan(others)
    richest = np.where(known, others, -np.inf).max(axis=0)
    poorest = np.where(known, others, np.inf).min(axis=0)
    return np.where(known.any(axis=0), richest - poorest, 0.0)


def _spells(
    own: Floats, others: Floats, share: Floats, night: Floats
) -> Iterator[tuple[int, int, int | None]]:
    """Give the spells: first day behind, day that told it, first day that is well again."""
    middle, count = _middle(others), (~np.isnan(others)).sum(axis=0)
    more = middle - own - BESIDE_FLOW * np.maximum(middle, 0.0)
    beside = BESIDE_KG + APART * _apart(others)
    usual = np.maximum(before_each(more, BEFORE_DAYS, LEAST_BEFORE), 0.0)
    usual_share, usual_own, usual_night = (
        before_each(one, BEFORE_DAYS, LEAST_BEFORE) for one in (share, own, night)
    )
    known = np.flatnonzero(~np.isnan(more)).tolist()
    first, level, free = -1, 0.0, 0
    for at, day in enumerate(known):
        if day < free or (at and day - known[at - 1] > UNKNOWN_DAYS):
            first, level = -1, 0.0
        base = float(usual[first if first >= 0 else day])
        if day < free or np.isnan(base):
            continue
        level += min(max(float(more[day] - beside[day]) - base, -MOST_KG), MOST_KG)
        if level <= 0 or (first >= 0 and day - first >= SPELL_DAYS):
            first, level = -1, 0.0
            continue
        first = day if first < 0 else first
        if level < (BEHIND_KG if count[day] > 1 else ONE_OTHER_KG):
            continue
        since = _since(more - base, first, day)
        span = slice(since, day + 1)
        flies = _mean(share[span]) / usual_share[first]
        if flies < FEWER or (np.isnan(flies) and level < ALONE_KG):
            continue
        if _mean(night[since:day]) - usual_night[first] > NIGHT_KG:  # tonight's is not known yet
            continue
        if usual_own[first] - _mean(own[span]) < FALLS_KG:
            continue
        if _is_robbed(own[span], middle[span], others[:, span], base):
            well = _well(more - base, day)
            yield since, day, well
            first, level = -1, 0.0
            free = len(own) if well is None else well


def _mean(figures: Floats) -> float:
    """Give the mean of those that are known; NaN where none is."""
    known = figures[~np.isnan(figures)]
    return float(known.mean()) if len(known) else np.nan


def _since(more_kg: Floats, first: int, told: int) -> int:
    """Give the day on which what it falls behind rose to what it is now: the likeliest one."""
    now = _mean(more_kg[max(first, told - NOW_DAYS + 1) : told + 1])
    rising = np.nan_to_num(more_kg[first:told] - now / 2)
    return first + int(np.argmin(np.append(0.0, np.cumsum(rising))))


def _well(more_kg: Floats, told: int) -> int | None:
    """Give the first of the days in a row on which it keeps up again; None while it does not."""
    well: list[int] = []
    last = told
    for day in (told + 1 + np.flatnonzero(~np.isnan(more_kg[told + 1 :]))).tolist():
        if day - last > UNKNOWN_DAYS:
            return last + 1
        last = day
        well = [*well, day] if more_kg[day] < WELL_KG else []
        if len(well) == WELL_DAYS:
            return well[0]
    return None


def _is_robbed(own: Floats, middle: Floats, others: Floats, usual_kg: float) -> bool:
    """Say whether a spell in which a hive fell behind looks as if it was robbed."""
    known = ~np.isnan(own + middle)
    mine, yard = own[known].mean(), middle[known].mean()
    poorest = np.fmin.reduce(others[:, known], axis=0)
    return bool(
        mine < -LOSES_KG
        and yard - mine - usual_kg > MEAN_KG
        and (poorest - own[known]).mean() > WORST_KG
        and yard < FLOW_KG
    )


def _robbed(
    hive: str,
    spell: tuple[int, int, int | None],
    begin_s: Floats,
    dusk_s: Floats,
    own: Floats,
    others: Floats,
) -> Finding:
    """Put a silent robbing into words and figures."""
    first, told, well = spell
    span = slice(first, told + 1)
    middle = float(np.nanmean(_middle(others)[span]))
    mine = float(np.nanmean(own[span]))
    return Finding(
        kind="robbing",
        subject=f"hive:{hive}",
        start_s=int(begin_s[first]),
        end_s=None if well is None else int(dusk_s[well - 1]),
        detected_s=int(dusk_s[told]),
        confidence=0.7,
        measures={"kg_behind_yard": round(middle - mine, 2)},
        evidence=(
            f"by day it changed by {mine:+.2f} kg, the yard's middle hive by {middle:+.2f} kg",
            "before that it kept up with the others, and now it is behind every one of them",
        ),
        status="open" if well is None else "ended",
    )
