"""Is there brood, and is it warm: `brood_onset`, `brood_end`, `chilled_brood`, `overheating`.

The first two are turns of the nest between brood-nest warmth and none. The other two are hours in
which a nest that has brood is too cold or too hot for it, by its own usual warmth: an opening is
over too soon, a swarm takes a few degrees, a queen's loss takes days, and a hot afternoon warms all
hives by a degree.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.finding import Finding, Measure
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.brood import Turn, turns_of
from hivewatch.signals.days import DAY_S, HOUR_S
from hivewatch.signals.departures import departures_of
from hivewatch.signals.levels import middle_before
from hivewatch.signals.nest_bound import FULL_CEL, probe_share
from hivewatch.signals.usual import usual_steps_s
from hivewatch.signals.warmth import NEST_S, Warmth, clean_nest, warmth_of
from hivewatch.signals.window import Floats, HiveWindow, Ints, Series

LARVAE_DAYS = 3  # [d] published: a worker's egg hatches on the third day, checks of development
EMERGENCE_DAYS = 21  # [d] published: a worker's time from egg to bee
COLD_CEL = 32.0  # [Cel] published: under it too long and bees are malformed, Himmer (1932)
COLD_K = 4.0  # [K] own choice: below the usual; a swarm takes two, Ferrari et al. (2008)
NEAR_K = 1.0  # [K] own choice: as usual
SUDDEN_S = 3 * HOUR_S  # [s] own choice: from as usual to cold; a loosening nest takes a night
COLD_S = 3 * HOUR_S  # [s] own choice: an opening is over in two hours
NEAR_SHARE = 0.5  # own choice: less than half of what a probe shows is the nest's: too far off
COLD_OVER_CEL = 32.5  # [Cel] own choice: hysteresis
HOT_CEL = 37.5  # [Cel] common practice, no source
HOT_K = 1.4  # [K] own choice: over the usual; shared heat of the Montreal recording is under 1.3 K
INSIDE_K = 2.0  # [K] own choice: over the air, and the heat beside the nest is the bees'
NIGHT_S = 12 * HOUR_S  # [s] own choice: where the nest was colder than usual by `COLD_K` ...
NIGHT_PART = 0.25  # ... for so much of it, there is no brood: own choice, an opening is shorter
AIR_S = 2 * HOUR_S  # [s] own choice: so old a reading tells of the air
HOT_S = 2 * HOUR_S  # [s] own choice: before a swarm leaves the nest is hot for half an hour
HOT_SHARE = 0.75  # own choice: of the readings of that time; one in four may be off by its noise
SPREAD_DAYS = 14  # own choice: days that tell how the nest spreads; a hot week is shorter
SWAYS_K = 1.0  # [K] own choice: where the days before spread further, the probe shows no brood
HOT_OVER_CEL = 37.0  # [Cel] own choice: hysteresis
USUAL_DAYS = 7  # own choice: days that tell what is usual
USUAL_LEAST = 3  # own choice: of them known
BROOD_LEAST_CEL = 32.0  # [Cel] published: the wider brood range, 32 to 36 Cel
BROOD_CEL = 33.0  # [Cel] published: brood range 33 to 36 Cel, Stabentheiner et al. (2010)
GAP_STEPS, GAP_S = 3, HOUR_S  # own choice: what a longer silence hides is not known
BACK_S = NEST_S  # [s] as for `hivewatch.signals.carried`
BY_DAYS = ("brood_onset", "brood_end")  # kinds that are asked of all days each time
# [d] published: brood lasts for three weeks from the last egg, which is laid three days before a
# swarm leaves; a young queen lays 20 to 35 days after it
BREAK_D, ONSET_D = (18, 35), (21, 45)
SURE_CEL = 33.0  # [Cel] own choice: a turn from or to this warmth leaves little doubt


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when brood began and ended, and when it was too cold or too hot.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `nest`; takes `ambient` where there is any.

    Returns
    -------
    list[Finding]
        Of the four kinds, by kind. A turn's end is its moment, for it does not last.

    References
    ----------
    A. Stabentheiner, H. Kovac, R. Brodschneider (2010), PLoS ONE 5(1):e8967: brood at 33 to 36 Cel.
    """
    if not window.has("nest"):
        return []
    warmth, turns, nest = warmth_of(window), turns_of(window), clean_nest(window)
    turned = [_turned(window, turn) for turn in turns]
    if not ((nest.value < COLD_CEL) | (nest.value > HOT_CEL)).any():
        return turned
    is_after_gap = _is_after_gap(window, nest)
    usual_cel = _of_each_reading(warmth, _usual_cel(warmth.level_cel), nest)
    return [
        *turned,
        *_cold_spells(window, nest, is_after_gap, turns),
        *_hot_spells(window, nest, usual_cel, is_after_gap),
    ]


def _turned(window: HiveWindow, turn: Turn) -> Finding:
    """Put a turn into words and figures."""
    first = datetime.fromtimestamp(turn.start_s, UTC).astimezone(ZoneInfo(window.yard.timezone))
    day = first.date()
    says = f"the nest went from {turn.before_cel:.1f} to {turn.after_cel:.1f} Cel"
    if np.isnan(turn.before_cel):
        says = f"the nest is at {turn.after_cel:.1f} Cel since"
    evidence = [f"{says}, beyond half way between warmth with brood and without since {day}"]
    measures: dict[str, Measure] = {
        "before_cel": None if np.isnan(turn.before_cel) else round(turn.before_cel, 1),
        "after_cel": round(turn.after_cel, 1),
    }
    if turn.is_onset:
        eggs = day - timedelta(days=LARVAE_DAYS)
        bees = eggs + timedelta(days=EMERGENCE_DAYS)
        measures |= {"first_eggs_day": eggs.isoformat(), "first_bees_day": bees.isoformat()}
        evidence.append(f"eggs from about {eggs} on, so the first young bees come out about {bees}")
    else:
        eggs = day - timedelta(days=EMERGENCE_DAYS)
        measures["last_eggs_day"] = eggs.isoformat()
        evidence.append(f"few eggs were laid after about {eggs}, for brood takes three weeks")
    least_s, most_s = (days * DAY_S for days in (ONSET_D if turn.is_onset else BREAK_D))
    left = [one for one in departures_of(window) if least_s <= turn.start_s - one <= most_s]
    if left:
        went = datetime.fromtimestamp(left[-1], UTC).astimezone(ZoneInfo(window.yard.timezone))
        after = "its young queen lays" if turn.is_onset else "no eggs until its young queen lays"
        evidence.append(f"many bees left on {went.date()}, as a swarm: {after}")
    if turn.gap_days:
        evidence.append(f"{turn.gap_days} days without readings before: it may be earlier by them")
    warm = turn.after_cel if turn.is_onset else turn.before_cel
    sure = 0.9 if warm >= SURE_CEL else 0.75
    return Finding(
        kind="brood_onset" if turn.is_onset else "brood_end",
        subject=f"hive:{window.hive.id}",
        start_s=turn.start_s,
        end_s=turn.start_s,
        detected_s=turn.told_s,
        confidence=round(sure - (0.2 if turn.gap_days else 0.0), 2),
        measures=measures,
        evidence=tuple(evidence),
        status="ended",
    )


def _usual_cel(level_cel: Floats) -> Floats:
    """Give for each day what the nest was in the days before; NaN where few are known."""
    return middle_before(level_cel, USUAL_DAYS, 0, USUAL_LEAST)


def _usual_spread_k(window: HiveWindow, nest: Series) -> Floats:
    """Give for each reading how far a day's readings spread in the days before. [K]."""
    warmth = warmth_of(window)
    usual_k = middle_before(warmth.spread_k, SPREAD_DAYS, 0, USUAL_LEAST)
    return _of_each_reading(warmth, usual_k, nest)


def _of_each_reading(warmth: Warmth, of_day: Floats, nest: Series) -> Floats:
    """Give a day's figure to each reading of it."""
    day = warmth.start_s.searchsorted(nest.time_s, side="right") - 1
    return np.asarray(of_day[day.clip(0, len(warmth) - 1)])


def _brood_nest(window: HiveWindow, nest: Series) -> tuple[Floats, Floats]:
    """Give what each reading says of the brood nest, and what that was in the days before. [Cel].

    What a probe off the centre shows is reckoned to the centre by the share that was known the day
    before, and by the cooler air of the moment and of `AIR_S` ago, for wood and wax follow the air
    by hours. NaN where the probe is too far off, or the air not known.
    """
    warmth, value = warmth_of(window), nest.value
    usual = _of_each_reading(warmth, _usual_cel(warmth.level_cel), nest)
    share = _of_each_reading(warmth, np.append(1.0, probe_share(window)[:-1]), nest)
    is_off = share < 1
    if is_off.any():
        value, time_s, share = value.copy(), nest.time_s[is_off], share[is_off]
        air = np.fmin(_air_cel(window, time_s), _air_cel(window, time_s - AIR_S))
        usual_air = _of_each_reading(warmth, _usual_cel(warmth.ambient_cel), nest)[is_off]
        usual[is_off] = np.fmin(usual_air + (usual[is_off] - usual_air) / share, FULL_CEL)
        value[is_off] = np.where(share < NEAR_SHARE, np.nan, air + (value[is_off] - air) / share)
    return value, usual


def _cold_spells(
    window: HiveWindow, nest: Series, is_after_gap: NDArray[np.bool_], turns: Sequence[Turn]
) -> Iterator[Finding]:
    """Find the hours in which brood-nest warmth was lost at once, where there was brood."""
    time_s, (value, usual) = nest.time_s, _brood_nest(window, nest)
    with np.errstate(invalid="ignore"):
        cold = (value < COLD_CEL) & (value < usual - COLD_K) & (usual >= BROOD_LEAST_CEL)
        if not cold.any():
            return
        as_usual = np.flatnonzero(value >= usual - NEAR_K)
        over = value >= np.fmin(COLD_OVER_CEL, usual - NEAR_K)
    for deep, last, is_over in _spells(cold, over | is_after_gap):
        before = int(as_usual.searchsorted(deep)) - 1
        told = int(time_s.searchsorted(time_s[deep] + COLD_S))
        if before < 0 or time_s[deep] - time_s[as_usual[before]] > SUDDEN_S or told > last:
            continue
        if _is_broodless(window, turns, int(time_s[deep]), int(time_s[told])):
            continue
        first = int(as_usual[before]) + 1
        lowest = float(np.nanmin(value[first : last + 1]))
        hours = float(time_s[last] - time_s[first]) / HOUR_S
        end = int(time_s[last + 1]) if is_over else None
        beside = "" if value[deep] == nest.value[deep] else ", by a probe beside it"
        fell = f"the nest fell from {usual[first]:.1f} to {lowest:.1f} Cel, for {hours:.0f} h"
        yield Finding(
            kind="chilled_brood",
            subject=f"hive:{window.hive.id}",
            start_s=int(time_s[first]),
            end_s=end,
            detected_s=int(time_s[told]),
            confidence=0.9 if lowest < COLD_CEL - COLD_K and not beside else 0.7,
            measures={
                "lowest_cel": round(lowest, 1),
                "usual_cel": round(float(usual[first]), 1),
                "hours": round(hours, 1),
            },
            evidence=(
                fell + beside,
                "brood that is cold for long comes out malformed or not at all: look at the lid",
            ),
            status="open" if end is None else "ended",
        )


def _is_broodless(window: HiveWindow, turns: Sequence[Turn], cold_s: int, told_s: int) -> bool:
    """Say whether the brood is known to be gone: nothing is left that could be chilled."""
    known = [one for one in turns if one.told_s <= told_s]
    if known and not known[-1].is_onset:
        return True
    least_s, most_s = (days * DAY_S for days in BREAK_D)
    return any(least_s <= cold_s - one <= most_s for one in departures_of(window))


def _hot_spells(
    window: HiveWindow, nest: Series, usual: Floats, is_after_gap: NDArray[np.bool_]
) -> Iterator[Finding]:
    """Find the hours in which the nest was too hot for brood."""
    time_s, value = nest.time_s, nest.value
    with np.errstate(invalid="ignore"):
        hot = (value > np.fmax(HOT_CEL, usual + HOT_K)) & (usual >= BROOD_CEL)
    if hot.any():
        hot &= ~(_usual_spread_k(window, nest) > SWAYS_K)
    some = np.flatnonzero(hot)
    if not len(some):
        return
    hot[some] = _is_of_bees(window, nest, some)
    since = time_s.searchsorted(time_s - HOT_S, side="right") - 1
    counted = np.append(0, np.cumsum(hot))
    share = (counted[1:] - counted[since]) / (np.arange(len(nest)) + 1 - since)
    for begun, last, is_over in _spells(hot, (value <= HOT_OVER_CEL) | is_after_gap):
        span = slice(begun, last + 1)
        lasting = np.flatnonzero((share[span] >= HOT_SHARE) & (since[span] >= begun) & hot[span])
        if not len(lasting):
            continue
        told = begun + int(lasting[0])
        first = int(since[told]) + int(np.argmax(hot[since[told] :]))
        night = value[time_s.searchsorted(time_s[first] - NIGHT_S) : first]
        if len(night) and np.quantile(night, NIGHT_PART) < usual[first] - COLD_K:
            continue  # it follows the air: nobody keeps brood warm there
        highest = float(value[first : last + 1].max())
        hours = float(time_s[last] - time_s[first]) / HOUR_S
        end = int(time_s[last + 1]) if is_over else None
        yield Finding(
            kind="overheating",
            subject=f"hive:{window.hive.id}",
            start_s=int(time_s[first]),
            end_s=end,
            detected_s=int(time_s[told]),
            confidence=0.9,
            measures={
                "highest_cel": round(highest, 1),
                "usual_cel": round(float(usual[first]), 1),
                "hours": round(hours, 1),
            },
            evidence=(
                f"the nest rose from {usual[first]:.1f} to {highest:.1f} Cel, for {hours:.0f} h",
                "give the bees air, shade and water; combs soften in such heat",
            ),
            status="open" if end is None else "ended",
        )


def _is_of_bees(window: HiveWindow, nest: Series, some: Ints) -> NDArray[np.bool_]:
    """Say which of some readings tell of brood: beside the nest, hot air alone heats a probe."""
    time_s, value = nest.time_s[some], nest.value[some]
    over_k = value - _air_cel(window, time_s)
    share = _of_each_reading(warmth_of(window), probe_share(window), Series(time_s, value))
    return np.asarray((share >= 1) | (over_k >= INSIDE_K))


def _air_cel(window: HiveWindow, time_s: Ints) -> Floats:
    """Give the air's last reading before each moment; NaN where it is old. [Cel]."""
    air, air_cel = window.of("ambient"), np.full(len(time_s), np.nan)
    if len(air):
        at = air.time_s.searchsorted(time_s, side="right") - 1
        is_near = (at >= 0) & (time_s - air.time_s[at] <= AIR_S)
        air_cel[is_near] = air.value[at[is_near]]
    return air_cel


def _is_after_gap(window: HiveWindow, nest: Series) -> NDArray[np.bool_]:
    """Say which readings come after so long a silence that a spell ends with it."""
    told = window.of("nest").since(window.carried.until_s, BACK_S)
    is_after = np.zeros(len(nest), np.bool_)
    is_after[1:] = np.diff(nest.time_s) > GAP_S
    if is_after.any():
        at = np.flatnonzero(is_after)
        usual_s = usual_steps_s(told, told.time_s.searchsorted(nest.time_s[at]))
        is_after[at] = nest.time_s[at] - nest.time_s[at - 1] > GAP_STEPS * usual_s
    return is_after


def _spells(begins: NDArray[np.bool_], ends: NDArray[np.bool_]) -> Iterator[tuple[int, int, bool]]:
    """Give spells: first reading, last reading, and whether a reading showed the end."""
    stops = np.flatnonzero(ends)
    free = 0
    for first in np.flatnonzero(begins).tolist():
        if first < free:
            continue
        stop = int(stops.searchsorted(first, side="right"))
        end = int(stops[stop]) if stop < len(stops) else len(ends)
        yield first, end - 1, end < len(ends)
        free = end
