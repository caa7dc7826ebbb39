"""Can the sensors be believed: `stuck`, `scale_drift`.

A sensor that does not move where it must is stuck: a weight or a warmth that is the same to the
last digit for a day, a counter that says the same number all night, or counts one way only. A scale
drifts when it says what no colony can do: it gains night after night, when nothing comes in; it
weighs less than the empty hive although bees live in it; or it follows the warmth of the air by far
more than a load cell may. A slow drift beside a living colony's own gain and loss is not seen: half
a kilogram a week is 20 g a night, and what the colonies of one yard lose at night differs by more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import DAY_S, worked
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.faults import stuck
from hivewatch.signals.warmth import warmth_of
from hivewatch.signals.window import DeviceTrace, Floats, HiveWindow, Ints, Series

# Own choices where no source is named; tests/unit/detect/test_sensors.py.
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
NIGHTS = 10  # nights that are looked at together
RISING = 9  # of them in which the weight rose
ROSE_KG = 0.5  # [kg] altogether; dew and damp wood stay below
RAIN_KG = 0.3  # [kg] in one night is rain
SNOW_KG = 1.0  # [kg] in one night is snow, whatever the warmth
BELOW_KG = 1.0  # [kg] below the empty hive
BELOW_DAYS = 3
ALIVE_CEL, ALIVE_BEES = 30.0, 1000.0  # [Cel] of the nest, [bees] a day
LIVES_K = 2.5  # [K] of the nest over the air, as for `dead_out`
CELL_KG_PER_K = 0.0028  # [kg/K] published: OIML R 60, 14 g per 5 Cel for 200 kg and 3,000 steps
FOLLOWS = 20.0  # times that, so that no bees' own habits reach it
IDLE_H = 2.0  # [h] of flying weather
FOLLOW_NIGHTS = 21
APART_K = 2.0  # [K] nights that differ by less say nothing
DRY_MM = 0.2  # [mm]

BACK_S = 3 * DAY_S  # [s] as for `hivewatch.signals.carried`
BY_DAYS = ("scale_drift",)  # kinds that are asked of all days each time

Flags = NDArray[np.bool_]


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say which sensors cannot be believed.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`; every quantity that it has is looked at.

    Returns
    -------
    list[Finding]
        Of kinds `stuck` and `scale_drift`; the subject is the device that sent it.

    References
    ----------
    OIML R 60-1 (2021), 5.6.1.3: zero may move by 0.7 v_min per 5 Cel; for E_max 200 kg and
    Y = 10,000 that is 14 g.
    """
    days = days_of(window)
    found = [_one(window, *spell) for spell in _stuck(window, days)]
    found = [one for one in found if one.detected_s >= window.carried.until_s]
    return _one_at_a_time(found) + drifts_of(window)


def drifts_of(window: HiveWindow) -> list[Finding]:
    """Give the drift of a hive's scale, if it drifts; found once a window."""
    return worked(window, "drifts", lambda here, kept: kept or _drifts(here, days_of(here)))


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the air of the days before, and the drift."""
    n = int(np.searchsorted(days_of(window).start_s, until_s))
    air = {name: of_day[:n].copy() for name, of_day in worked(window, "air", _air).items()}
    return {"air": air, "drifts": [one for one in drifts_of(window) if one.detected_s < until_s]}


def _stuck(window: HiveWindow, days: Days) -> Iterator[tuple[str, int, int, int | None, str]]:
    """Give what does not move: quantity, since when, when that was told, until when, in words."""
    for name in QUANTITIES:
        series = window.of(name).since(window.carried.until_s, BACK_S)
        if not len(series):
            continue
        still = stuck(series, name)
        for first, last in _runs(still, series.time_s):
            start = max(first - 1, 0)
            told = _told(series, start, last, name)
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
    hour = np.searchsorted(counts.time_s, counts.time_s + AT_ONCE_S, side="right") - 1
    return bool((total[hour] - total + counts.value).max() >= AT_ONCE_SHARE * total[-1])


def _runs(true: Flags, time_s: Ints) -> Iterator[tuple[int, int]]:
    """Give first and last index of each run, near ones joined."""
    at = np.flatnonzero(true)
    if not len(at):
        return
    breaks = np.flatnonzero((np.diff(at) > 1) & (np.diff(time_s[at]) > SAME_S))
    first = np.concatenate(([0], breaks + 1))
    last = np.concatenate((breaks, [len(at) - 1]))
    for low, high in zip(first, last, strict=True):
        yield int(at[low]), int(at[high])


def _told(series: Series, start: int, last: int, name: str) -> int:
    """Give the reading with which a run had become too long.

    The flags know it, too, but of the run as a whole: they are asked of its beginnings.
    """
    low, high = start + 1, last
    while low < high:
        middle = (low + high) // 2
        part = Series(series.time_s[start : middle + 1], series.value[start : middle + 1])
        if stuck(part, name)[-1]:
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
        subject=f"device:{_device(window, window.of(name), start_s, told_s)}",
        start_s=start_s,
        end_s=end_s,
        detected_s=told_s,
        confidence=0.95,
        measures={measure: round((until_s - start_s) / 3600, 1)},
        evidence=(words,),
        status="open" if end_s is None else "ended",
    )


def _device(window: HiveWindow, series: Series, from_s: int, to_s: int) -> str:
    """Name the device whose readings these are: the one that was heard at their times."""
    low, high = np.searchsorted(series.time_s, [from_s, to_s + 1])
    times = series.time_s[low:high]

    def heard(trace: DeviceTrace) -> tuple[float, int]:
        return float(np.isin(times, trace.heard_s).mean()) if len(times) else 0.0, trace.from_s

    best = max(window.devices, key=heard, default=None)
    return best.device if best is not None else f"of-{window.hive.id}"


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


def _drifts(window: HiveWindow, days: Days) -> list[Finding]:
    """Give the first thing that a scale says and no colony can do; it lasts until it is over."""
    weight = window.of("weight")
    if not window.has("weight"):
        return []
    first = max(int(np.searchsorted(days.start_s, window.carried.until_s)) - 1, 0)
    spells = [
        *_rising(window, days, first),
        *_too_light(window, days, first),
        *_following(window, days, first),
    ]
    found: list[Finding] = []
    for first, told, measures, words in sorted(spells, key=lambda one: one[1]):
        start_s, told_s = int(days.dawn_s[first]), int(days.dawn_s[told])
        if found:
            break  # once told, it is for somebody to look at the scale
        found.append(
            Finding(
                kind="scale_drift",
                subject=f"device:{_device(window, weight, told_s - DAY_S, told_s)}",
                start_s=start_s,
                end_s=None,
                detected_s=told_s,
                confidence=0.7,
                measures=measures,
                evidence=(words,),
            )
        )
    return found


Spell = tuple[int, int, dict[str, float], str]


def _rising(window: HiveWindow, days: Days, first: int) -> Iterator[Spell]:
    """Find nights on end in which the weight rose, though bees ate; empty wood takes up damp."""
    warmth = warmth_of(window)
    over_k = warmth.level_cel - warmth.ambient_cel
    rose = np.where((over_k < LIVES_K) & ~(days.bees_out >= ALIVE_BEES), np.nan, -days.night_kg)
    rose[(np.abs(rose) > RAIN_KG) | (days.rain_mm > DRY_MM)] = np.nan
    known = np.flatnonzero(~np.isnan(rose))
    for k in range(max(NIGHTS, int(np.searchsorted(known, first))), len(known) + 1):
        nights = known[k - NIGHTS : k]
        total = float(rose[nights].sum())
        if nights[-1] - nights[0] > 2 * NIGHTS or total < ROSE_KG:
            continue
        if int((rose[nights] > 0).sum()) >= RISING and int(nights[-1]) + 1 < len(days):
            words = f"the weight rose by {total:.2f} kg in {NIGHTS} nights, when nothing comes in"
            yield int(nights[0]), int(nights[-1]) + 1, {"kg_gained": round(total, 2)}, words
            return


def _too_light(window: HiveWindow, days: Days, first: int) -> Iterator[Spell]:
    """Find days on which a living hive weighs less than its empty boxes."""
    empty_kg = window.hive.empty_kg
    if empty_kg is None:
        return
    alive = (days.nest_cel >= ALIVE_CEL) | (days.bees_out >= ALIVE_BEES)
    light = (days.dawn_kg < empty_kg - BELOW_KG) & (days.dawn_kg > empty_kg / 2)
    is_wrong = light[1:] & alive[:-1]  # alive on the day before that dawn
    for i in range(max(BELOW_DAYS, first) - 1, len(is_wrong)):
        if is_wrong[i - BELOW_DAYS + 1 : i + 1].all():
            below = float(empty_kg - days.dawn_kg[i + 1])
            words = f"a living hive weighs {below:.1f} kg less than its empty boxes"
            yield i - BELOW_DAYS + 2, i + 1, {"kg_below_empty": round(below, 1)}, words
            return


def _following(window: HiveWindow, days: Days, first: int) -> Iterator[Spell]:
    """Find a scale that follows the air: on dry nights after days without flight.

    What was fetched by day dries by night, and dries more the warmer it is: no fault of the scale.
    """
    if not window.has("ambient"):
        return
    air = worked(window, "air", _air)
    cooled = np.append(air["dawn"][1:], np.nan) - air["dusk"]
    spoilt = (np.nan_to_num(days.rain_mm) > DRY_MM) | (days.flying_h > IDLE_H)
    rose = np.where(spoilt | (np.abs(days.night_kg) > SNOW_KG), np.nan, -days.night_kg)
    known = np.flatnonzero(~np.isnan(cooled + rose))
    passed = max(0, int(np.searchsorted(known, first)) - FOLLOW_NIGHTS) // 3 * 3
    for k in range(FOLLOW_NIGHTS + passed, len(known) + 1, 3):
        nights = known[k - FOLLOW_NIGHTS : k]
        slopes = _slopes(cooled[nights], rose[nights])
        if len(slopes) < 2 * FOLLOW_NIGHTS or int(nights[-1]) + 1 >= len(days):
            continue
        low, middle, high = np.quantile(slopes, [0.1, 0.5, 0.9])
        if abs(middle) > FOLLOWS * CELL_KG_PER_K and low * high > 0:
            words = f"the weight follows the air by {1000 * middle:.0f} g a degree at night"
            measures = {"g_per_k": round(float(1000 * middle), 0)}
            yield int(nights[0]), int(nights[-1]) + 1, measures, words
            return


def _air(window: HiveWindow, kept: dict[str, Floats] | None) -> dict[str, Floats]:
    """Give the warmth of the air at dawn and dusk of each day. [Cel]."""
    days, air = days_of(window), window.of("ambient")
    first = 0 if kept is None else len(kept["dawn"])
    since = {"dawn": _at(air, days.dawn_s[first:]), "dusk": _at(air, days.dusk_s[first:])}
    return {name: np.append(kept[name], one) if kept else one for name, one in since.items()}


def _at(series: Series, moments_s: Floats) -> Floats:
    """Give the reading next before each moment, within an hour; NaN where there is none."""
    at = np.searchsorted(series.time_s, moments_s, side="right") - 1
    if not len(series):
        return np.full(len(moments_s), np.nan)
    near = (at >= 0) & (moments_s - series.time_s[at] < 3600)  # noqa: PLR2004 - an hour
    return np.where(near, series.value[at], np.nan)


def _slopes(x: Floats, y: Floats) -> Floats:
    """Give the slopes between all pairs that lie well apart (Theil-Sen takes their median)."""
    i, j = np.triu_indices(len(x), 1)
    apart = np.abs(x[j] - x[i]) > APART_K
    return np.asarray((y[j] - y[i])[apart] / (x[j] - x[i])[apart], np.float64)
