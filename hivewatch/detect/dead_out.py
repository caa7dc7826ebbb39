"""Is anybody at home: `dead_out`. No warmth of bees, no traffic in flying weather.

An empty box follows the air outside: as cold as it before sunrise, with its swing and its phase. A
living cluster is warmer by night, even at the far end of the box, so the night must be as the air
for a day and a half. Where nobody measures the air, the nest's own fall and swing must tell, or,
beside a counter that counts nobody, its swing up to flying warmth, or a scale that stands still.
A counter alone tells when nobody flew for days that were fit for it. One line of evidence speaks
against the other: bees that fly are not dead, however cold the probe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.finding import Finding, Measure
from hivewatch.detect.limits import Limits
from hivewatch.detect.unaired import (
    LIVED_DAYS,
    NO_FLIGHTS,
    USUAL_DAYS,
    USUAL_FLIGHTS,
    fallen,
    still_days,
)
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import first_after, unless_same
from hivewatch.signals.days import HOUR_S, Days, days_of
from hivewatch.signals.levels import median
from hivewatch.signals.warmth import Warmth, warmth_of
from hivewatch.signals.window import Floats, HiveWindow, Ints

SPAN_H = 36  # [h] own choice: a night and parts of one more; told within three days
KNOWN_H = 24  # [h] own choice: hours of it with both readings
ALIKE_K = 2.0  # [K] own choice: an hour of the nest that is the air's, but for lag
SUNNY_K = 2.0  # [K] own choice: the nest's mean over the air's, sun on the lid and lag included
NIGHT_K = 0.9  # [K] own choice: the same for the cooler half of the hours, when no sun shines
FOLLOWS = 0.6  # own choice: the nest's swing as share of the air's; a living nest has under a half
FLAT_K = 3.0  # [K] own choice: air that moves less shows no swing
LIVED_K = 2.5  # [K] own choice: bees were there when the nest was so much warmer than the air
BACK_H, BACK_KNOWN_H = 14, 9  # [h] own choice: longer than the sun shines on a box; of them known
BACK_CEL = 30.0  # [Cel] own choice: where nobody measures the air, warmer than a box is for so long
FLY_H = 3.0  # [h/d] own choice: warm light hours that make a day fit for flying
FEW_FLIGHTS = 0.1  # own choice: share of a usual day's bees that speaks against death
QUIET_DAYS = 2  # own choice: days fit for flying without bees, told by a counter alone


@dataclass(frozen=True, slots=True)
class _Spell:
    """A time without warmth, or without flights."""

    start_s: int
    told_s: int
    end_s: int | None
    words: str
    confidence: float
    measures: dict[str, Measure]


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when a hive was dead, or its bees gone.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `nest`, better with `ambient`, or `bees-out` with
        `ambient`; works best with all.

    Returns
    -------
    list[Finding]
        Of kind `dead_out`. It ends when there is warmth again: a new colony.

    References
    ----------
    D. Cook et al. (2022), J. Econ. Entomol. 115:715: hives without bees are cooler by 5.5 K in
    the mean, swing further, and peak earlier in the day than hives with bees.
    """
    days = days_of(window)
    if not len(days):
        return []
    has_probe = window.has("nest")
    spells = _cold(window, days) if has_probe else []
    if has_probe:
        spells = _first_told([*spells, *_still(window, days)])
    for one in _quiet(window, days):  # where a probe reports, it knows better
        if not (has_probe and _reports(window, one)) and not any(
            other.end_s is None for other in spells
        ):
            spells.append(one)
    return [
        Finding(
            kind="dead_out",
            subject=f"hive:{window.hive.id}",
            start_s=one.start_s,
            end_s=one.end_s,
            detected_s=one.told_s,
            confidence=one.confidence,
            measures=one.measures,
            evidence=(
                one.words,
                "close the entrance against robbers, and find out why before combs are used again",
            ),
            status="open" if one.end_s is None else "ended",
        )
        for one in spells
    ]


def _first_told(spells: Sequence[_Spell]) -> list[_Spell]:
    """Give the spells that were told first, of those that share a time."""
    kept: list[_Spell] = []
    for one in sorted(spells, key=lambda one: one.told_s):
        if all(other.end_s is not None and other.end_s <= one.start_s for other in kept):
            kept.append(one)
    return kept


def _reports(window: HiveWindow, spell: _Spell) -> bool:
    """Say whether there is a probe that reports during a spell."""
    warmth = warmth_of(window)
    low, high = np.searchsorted(warmth.hour_s, [spell.start_s, spell.told_s])
    return not np.isnan(warmth.nest_h[low:high]).all()


def _cold(window: HiveWindow, days: Days) -> list[_Spell]:
    """Find the times in which the nest was no warmer than the air."""
    warmth = warmth_of(window)
    blind = bool(np.isnan(warmth.ambient_h).all())
    if blind:
        of_days = warmth.nest_h[: len(warmth.nest_h) // 24 * 24].tobytes()
        given = warmth.hour_s[:1].tolist(), len(warmth.nest_h), of_days
        hours = unless_same(window, "fallen", given, lambda: fallen(window, warmth))
    else:
        hours = _may_be_empty(warmth)
    if not hours.any():
        return []
    warm = _is_warm(warmth, blind=blind)
    spells: list[_Spell] = []
    free = 0
    for told in np.flatnonzero(hours).tolist():
        if told < free or not (blind or _is_like_air(warmth, told)):
            continue
        if _flies(days, int(warmth.hour_s[told])):
            continue
        back = np.flatnonzero(warm[told:])
        end = told + max(1, int(back[0]) + 1 - BACK_H) if len(back) else None
        spells.append(_no_warmth(window, told, end, blind=blind))
        free = len(hours) if end is None else end + 1
    return spells


def _is_warm(warmth: Warmth, *, blind: bool) -> NDArray[np.bool_]:
    """Say at which hours there are bees again: warm for longer than the sun shines on a box."""
    nest = warmth.nest_h
    with np.errstate(invalid="ignore"):
        over = nest - BACK_CEL if blind else nest - warmth.ambient_h - LIVED_K
        is_warm = _count(over > 0, BACK_H)
    known = _count(~np.isnan(over), BACK_H)
    return np.asarray((known >= BACK_KNOWN_H) & (is_warm == known))


def _count(true: NDArray[np.bool_], hours: int) -> Ints:
    """Count in how many of the last hours, each one itself included, something was true."""
    total = np.concatenate((np.zeros(hours, np.int64), np.cumsum(true, dtype=np.int64)))
    return np.asarray(total[hours:] - total[: len(true)], np.int64)


def _may_be_empty(warmth: Warmth) -> NDArray[np.bool_]:
    """Say at which hours the span before may be an empty box's, after one with bees in it."""
    over = warmth.nest_h - warmth.ambient_h
    n = len(over)
    with np.errstate(invalid="ignore"):
        is_alike = np.abs(over) < ALIKE_K
    if np.count_nonzero(is_alike) < KNOWN_H:
        return np.zeros(n, np.bool_)
    by_day = _day_means(over)
    lived_days = np.concatenate([[0], np.cumsum(by_day >= LIVED_K)[:-1]])  # before each day
    lived = np.repeat(lived_days >= LIVED_DAYS, 24)[:n]
    often = _count(is_alike, SPAN_H)
    return np.asarray((often >= KNOWN_H) & lived & ~np.isnan(over) & (np.arange(n) >= SPAN_H))


def _is_like_air(warmth: Warmth, hour: int) -> bool:
    """Say whether a span of hours of the nest is the air's: in level, by night, in swing."""
    span = slice(hour - SPAN_H + 1, hour + 1)
    nest, air = warmth.nest_h[span], warmth.ambient_h[span]
    both = ~np.isnan(nest) & ~np.isnan(air)
    if both.sum() < KNOWN_H:
        return False
    nest, air = nest[both], air[both]
    over = nest - air
    cool = air <= np.median(air)
    if abs(over.mean()) > SUNNY_K or over[cool].mean() > NIGHT_K:
        return False
    swing = float(np.ptp(air))
    return swing < FLAT_K or float(np.ptp(nest)) >= FOLLOWS * swing


def _day_means(over: Floats) -> Floats:
    """Give the mean of every 24 hours; NaN without readings, and the last part counts."""
    padded = np.concatenate([over, np.full(-len(over) % 24, np.nan)]).reshape(-1, 24)
    count = (~np.isnan(padded)).sum(axis=1)
    means = np.full(len(padded), np.nan)
    np.divide(np.nansum(padded, axis=1), count, out=means, where=count > 0)
    return means


def _flies(days: Days, moment_s: int) -> bool:
    """Say whether bees flew as usual on the day before: then they are not dead."""
    day = int(np.searchsorted(days.start_s, moment_s, side="right")) - 1
    usual = days.bees_out[max(0, day - USUAL_DAYS) : max(0, day - 2)]
    usual = usual[usual > 0]
    if not len(usual) or np.median(usual) < USUAL_FLIGHTS:
        return False
    return bool(days.bees_out[day - 1] > FEW_FLIGHTS * np.median(usual))


def _no_warmth(window: HiveWindow, told: int, end: int | None, *, blind: bool) -> _Spell:
    """Put a nest without warmth into words and figures."""
    warmth = warmth_of(window)
    span = slice(max(0, told - SPAN_H + 1), told + 1)
    told_s = first_after(window, "nest", int(warmth.hour_s[told]) + HOUR_S)
    end_s = None if end is None else int(warmth.hour_s[end])
    nest = float(np.nanmean(warmth.nest_h[span]))
    measures: dict[str, Measure] = {"nest_cel": round(nest, 1)}
    if blind:
        start_s = int(warmth.hour_s[max(0, told - 47)])
        words = f"the nest fell to {nest:.1f} Cel and swings with the day as an empty box"
        return _Spell(start_s, told_s, end_s, words, 0.7, measures)
    over = float(np.nanmean(warmth.nest_h[span] - warmth.ambient_h[span]))
    measures["nest_minus_ambient_k"] = round(over, 1)
    words = f"for {SPAN_H} h the nest was as the air outside, {over:+.1f} K in the mean"
    return _Spell(int(warmth.hour_s[span.start]), told_s, end_s, words, 0.95, measures)


def _quiet(window: HiveWindow, days: Days) -> list[_Spell]:
    """Find the days fit for flying on which nobody flew; for a hive without a probe."""
    if not window.has("bees-out") or np.isnan(days.flying_h).all():
        return []
    over_s = window.over_s("bees-out")
    fit = (days.flying_h >= FLY_H) & ~np.isnan(days.bees_out) & (days.start_s[1:] <= over_s)
    spells: list[_Spell] = []
    usual: list[float] = []
    usually = 0.0
    quiet: list[int] = []
    begun: int | None = None
    if not (days.bees_out[fit] < NO_FLIGHTS * days.bees_out[fit].max(initial=0.0)).any():
        return []  # it was never quiet
    counted = days.bees_out.tolist()
    for day in np.flatnonzero(fit).tolist():
        flights = counted[day]
        is_quiet = len(usual) >= LIVED_DAYS and flights < NO_FLIGHTS * usually
        quiet = [*quiet, day] if is_quiet and usually >= USUAL_FLIGHTS else []
        if begun is not None and not quiet and flights > FEW_FLIGHTS * usually:
            spells[-1] = _ended(spells[-1], int(days.start_s[day]))
            begun = None
        if begun is None and len(quiet) == QUIET_DAYS:
            begun = quiet[0]
            told_s = first_after(window, "bees-out", int(days.start_s[day + 1]))
            words = f"nobody flew on {QUIET_DAYS} days that were fit for it"
            usual_bees = round(usually)
            spell = _Spell(
                int(days.start_s[begun]), told_s, None, words, 0.6, {"usual_bees_out": usual_bees}
            )
            spells.append(spell)
        if not quiet and begun is None:
            usual = [*usual, flights][-USUAL_DAYS:]
            usually = median(sorted(usual))
    return spells


def _still(window: HiveWindow, days: Days) -> list[_Spell]:
    """Find where nobody flies, by nest or scale from a dead hive, and no air is measured."""
    still = list(still_days(window, days))
    if not still:
        return []
    warmth = warmth_of(window)
    over_s = min(window.over_s("bees-out"), window.over_s("nest"))
    back = np.flatnonzero(_is_warm(warmth, blind=True))
    spells: list[_Spell] = []
    free_s = 0
    for day, usually, words in still:
        begun_s, until_s = int(days.start_s[day - 1]), int(days.start_s[day + 1])
        if begun_s < free_s or until_s > over_s:
            continue
        later = back[warmth.hour_s[back] >= until_s]
        end_s = int(warmth.hour_s[max(0, int(later[0]) + 1 - BACK_H)]) if len(later) else None
        told_s = max(first_after(window, name, until_s) for name in ("bees-out", "nest"))
        measures: dict[str, Measure] = {"usual_bees_out": round(usually)}
        spells.append(_Spell(begun_s, told_s, end_s, words, 0.8, measures))
        if end_s is None:
            break
        free_s = max(end_s, until_s)
    return spells


def _ended(spell: _Spell, end_s: int) -> _Spell:
    """Give a spell its end."""
    return replace(spell, end_s=end_s)
