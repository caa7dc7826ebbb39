"""When the nest came under brood-nest warmth and when it fell out of it.

A sum of what the days say for the one and the other turns the state, so that a cold night, an
opening or a probe at the edge of a small brood nest does not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.carried import unless_same, worked
from hivewatch.signals.nest_bound import (
    FULL_CEL,
    bound_cel,
    brood_nest_cel,
    is_autumn,
    light_hours,
    probe_share,
    usual_air_cel,
)
from hivewatch.signals.rest import rest_of
from hivewatch.signals.warmth import Warmth, warmth_of
from hivewatch.signals.window import Floats, HiveWindow

T = TypeVar("T")

STEADY_K = 0.5  # [K] own choice: the Montreal nests with brood span less, but for openings
# Brood ends within days, and its warmth with it. A nest that falls at once to less than a cluster
# keeps lies open, or on the ground, and has brood when it is set up again. Own choice: by how much,
# and to what part of a full nest over the air; days around a turn that tell it. Published: a
# worker's days from egg to bee, after which there is none.
CHILL_K, CHILL_PART, CHILL_AROUND, CHILL_DAYS = 5.0, 0.5, 2, 21  # [K], -, [d], [d]
CLEAR_K = 2.0  # [K] own choice: a day this far from the bound counts fully ...
CLEAR_SHARE = 0.35  # own choice: ... or, in warm air, this share of the way to a brood nest
TURN_DAYS = 4.0  # own choice: so many full days in a row turn the state
FIRST_DAYS = (
    14  # own choice: ... and what seems to begin so soon may have begun before the readings
)
AUTUMN_DAYS = 14.0  # own choice: the same for an onset in autumn; the Montreal recording has
# warm spells of eleven days in October
DATED_BACK_DAYS = 14  # own choice: so far back the beginning is looked for
# Own choice: the days before an onset is told that date it, at most and at least, and the most that
# one of them says; a nest that is further below is at rest.
LINE_DAYS, LINE_LEAST, LINE_MOST_K = 28, 7, 3.0  # [d], [d], [K]
WEEK = 7  # own choice: days that tell what the nest was before
ONSET_DATED_K = 1.3  # [K] own choice: where no rest is known, small brood is so near from below


@dataclass(frozen=True, slots=True)
class Turn:
    """A nest that came under brood-nest warmth, or fell out of it.

    Parameters
    ----------
    is_onset : bool
        Which of the two.
    day, told_day : int
        First day on the new side, and the day that settled it; places in `Warmth`.
    start_s, told_s : int
        Midnight before the first day; the reading that settled it. [s]
    gap_days : int
        Days without readings before the first day: it may have been as much earlier.
    before_cel, after_cel : float
        The nest on the seven days before, of those known, and since. [Cel]
    """

    is_onset: bool
    day: int
    told_day: int
    start_s: int
    told_s: int
    gap_days: int
    before_cel: float
    after_cel: float


def over_bound_k(window: HiveWindow) -> Floats:
    """Give how far each day's nest is over the bound between brood and none. [K].

    A probe off the centre shows only a share of what the nest is warmer than the air; divided by
    the share that it showed when there was brood, it tells of the nest all the same. NaN where the
    probe is too far off to tell.
    """
    warmth = warmth_of(window)
    unsteady_k = np.fmax(0.0, warmth.spread_k - STEADY_K)
    unsteady_k[probe_share(window) < 1] = 0.0
    return np.asarray(brood_nest_cel(window) - bound_cel(window) - unsteady_k)


def turns_of(window: HiveWindow) -> list[Turn]:
    """Find the turns of the nest between warmth with brood and without.

    Parameters
    ----------
    window : HiveWindow
        The hive; needs `nest`, takes `ambient` where there is any.

    Returns
    -------
    list[Turn]
        By time, an onset and an end in turns. What the nest was at first is no turn.

    References
    ----------
    E. S. Page, Biometrika 41, 100 (1954): cumulative sums, here of days clipped to one; published
    run lengths of such sums: Montgomery's tables.
    """
    return worked(window, "turns", lambda here, _: as_days_stay(here, "turns", _find))


def as_days_stay(window: HiveWindow, name: str, work: Callable[[HiveWindow], T]) -> T:
    """Give what goes by the figures of the nest's days alone; worked out anew when one changes.

    Parameters
    ----------
    work : Callable
        Goes by the figures of `warmth_of` by days, by the length of the light, and by the yard.
    """
    warmth = warmth_of(window)
    by_day = (
        *(warmth.start_s, warmth.told_s, warmth.level_cel, warmth.spread_k, warmth.ambient_cel),
        light_hours(window),
    )
    given = window.yard, [one.tobytes() for one in by_day]
    return unless_same(window, f"{name} of the nest's days", given, lambda: work(window))


def _find(window: HiveWindow) -> list[Turn]:
    """Go through the days and sum up what they say."""
    warmth = warmth_of(window)
    over_k, share = over_bound_k(window), probe_share(window)
    clear_k = np.fmin(CLEAR_K, CLEAR_SHARE * (FULL_CEL - bound_cel(window)))
    says = np.clip(over_k / clear_k, -1.0, 1.0)
    rest = rest_of(window)
    risen_k = rest.risen_k(rest.half)
    is_known = ~np.isnan(risen_k)
    rises_k = np.where(is_known, risen_k, over_k)
    risen_k = np.where(is_known, risen_k, over_k + ONSET_DATED_K)
    autumn, lies_open = is_autumn(window), _lies_open(window)
    turns: list[Turn] = []
    has_brood: bool | None = None
    since, nearest, up, down = 0, 1.0, 0.0, 0.0
    end: Turn | None = None  # that is not certain yet
    stays: Floats | None = None  # what each day says by the rest from which brood began
    again = np.full(len(says), np.nan)  # how far it has risen from the coolest week without [K]
    told = np.flatnonzero(~np.isnan(says)).tolist()
    first = told[0] if told else 0
    each = zip(*(one[told].tolist() for one in (share, says, autumn)), strict=True)
    for i, (near, of_day, is_late) in zip(told, each, strict=True):
        if near < 1 <= nearest:  # what was said before was said of a nearer probe
            has_brood, up, down, since, stays = None, 0.0, 0.0, i, None
        nearest = near
        say = of_day if stays is None else float(np.fmax(of_day, stays[i]))
        if end is not None and say > 0:  # it lay open for some days, and is warm again
            end, down = None, 0.0
        rise = say if is_late else float(np.clip(rises_k[i] / clear_k[i], -1.0, 1.0))
        up = min(AUTUMN_DAYS, max(0.0, up + rise))
        down = min(AUTUMN_DAYS, max(0.0, down - say))
        to_onset = AUTUMN_DAYS if is_late and has_brood is False else TURN_DAYS
        if has_brood is not True and up >= to_onset:
            if has_brood is False:
                turn = _turn(warmth, risen_k, range(since, i + 1), 1.0, by_degrees=is_known[i])
                is_new = turns or turn.day - first >= FIRST_DAYS
                turns += [turn] if is_new or not np.isnan(warmth.ambient_cel[i]) else []
                stays_k = np.fmax(rest.risen_k(rest.half[turn.day]), again)
                stays = np.clip(stays_k / clear_k, -1.0, 1.0)
            has_brood, down, since = True, 0.0, i + 1
        elif has_brood is not False and down >= TURN_DAYS:
            if has_brood is True:
                end = end or _turn(warmth, over_k, range(since, i + 1), -1.0)
                around = slice(max(end.day - CHILL_AROUND, 0), end.day + CHILL_AROUND + 1)
                if i - end.day < CHILL_DAYS and lies_open[around].any():
                    continue
                turns.append(replace(end, told_day=i, told_s=int(warmth.told_s[i])))
                again = rest.risen_since_k(end.day)
                risen_k, rises_k = np.fmax(risen_k, again), np.fmax(rises_k, again)
            has_brood, up, since, stays, end = False, 0.0, i + 1, None, None
    return turns


def _lies_open(window: HiveWindow) -> NDArray[np.bool_]:
    """Say on which days the nest was within a day chilled to less than a cluster keeps."""
    nest_cel, air_cel = brood_nest_cel(window), warmth_of(window).ambient_cel
    air_cel = np.where(np.isnan(air_cel), usual_air_cel(window), air_cel)
    fell_k = -np.diff(nest_cel, prepend=np.nan)
    with np.errstate(invalid="ignore"):
        return np.asarray(
            (fell_k >= CHILL_K) & (nest_cel < air_cel + CHILL_PART * (FULL_CEL - air_cel))
        )


def _turn(
    warmth: Warmth, over_k: Floats, days: range, sign: float, *, by_degrees: bool = False
) -> Turn:
    """Date a turn back to where the steadily rising, or falling, fit leaves what was before.

    A nest that builds up by degrees is dated by a line, for no single mild day begins it.
    """
    told = days[-1]
    span = np.array(days)
    span = span[~np.isnan(over_k[span])]
    span = span[-LINE_DAYS if by_degrees else -DATED_BACK_DAYS - 1 :]
    fit = _rising(sign * over_k[span])
    if by_degrees:
        rests = int(fit.searchsorted(-LINE_MOST_K))
        span = span[min(rests, max(len(span) - LINE_LEAST, 0)) :]
        fit = _line(np.clip(over_k[span], -LINE_MOST_K, LINE_MOST_K))
    beyond = np.flatnonzero(fit > 0)
    at = int(beyond[0]) if len(beyond) else len(span) - 1
    day = int(span[at])
    gap_days = day - int(span[at - 1]) - 1 if at else 0
    before, after = warmth.level_cel[:day], warmth.level_cel[day : told + 1]
    before = before[~np.isnan(before)][-WEEK:]
    return Turn(
        is_onset=sign > 0,
        day=day,
        told_day=told,
        start_s=int(warmth.start_s[day]),
        told_s=int(warmth.told_s[told]),
        gap_days=gap_days,
        before_cel=float(np.median(before)) if len(before) else float("nan"),
        after_cel=float(np.nanmedian(after)),
    )


def _line(value: Floats) -> Floats:
    """Give the line of least squares, level where it would fall."""
    place = np.arange(len(value)) - (len(value) - 1) / 2
    slope = float(place @ value) / max(float(place @ place), 1.0)
    return np.asarray(value.mean() + max(slope, 0.0) * place)


def _rising(value: Floats) -> Floats:
    """Give the nearest sequence that never falls: pooled adjacent violators.

    References
    ----------
    M. Ayer et al., Ann. Math. Stat. 26, 641 (1955): isotonic regression.
    """
    pools: list[tuple[float, int]] = []
    for one in value.tolist():
        mean, count = one, 1
        while pools and pools[-1][0] >= mean:
            other, more = pools.pop()
            mean, count = (mean * count + other * more) / (count + more), count + more
        pools.append((mean, count))
    return np.repeat([mean for mean, _ in pools], [count for _, count in pools])
