"""Is anybody at home: `dead_out`. No warmth of bees, no traffic in flying weather.

An empty box follows the air outside (`like_air`): as cold as it before sunrise, with its swing,
behind it by what walls and honey keep. A living cluster is warmer by night, even at the far end of
the box, so the night must be as the air for a day and a half. Where nobody measures the air, the
nest's own fall and swing must tell, or, beside a counter that counts nobody, its swing up to flying
warmth, or a scale that stands still. A counter alone tells when nobody flew for days that were fit
for it. One line of evidence speaks against the other: bees that fly are not dead, however cold the
probe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.finding import Finding, Measure
from hivewatch.detect.like_air import LIVED_K, SPAN_H, hours_like_air
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
from hivewatch.signals.window import HiveWindow, Ints

BACK_H, BACK_KNOWN_H = 14, 9  # [h] own choice: longer than the sun shines on a box; of them known
BACK_CEL = 30.0  # [Cel] own choice: where nobody measures the air, warmer than a box is for so long
FLY_H = 3.0  # [h/d] own choice: warm light hours that make a day fit for flying
FEW_FLIGHTS = 0.1  # own choice: share of a usual day's bees that speaks against death
COOLER_K = 5.0  # [K] own choice: so far below its week before, the nest agrees with such a counter
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
    spells = _quiet(window, days)
    if has_probe:  # where a probe reports, it knows better
        spells = [one for one in spells if not _reports(window, one) or _fell(window, one)]
        spells = _first_told([*_cold(window, days), *_still(window, days), *spells])
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
    low, high = warmth.hour_s.searchsorted([spell.start_s, spell.told_s])
    return not np.isnan(warmth.nest_h[low:high]).all()


def _fell(window: HiveWindow, spell: _Spell) -> bool:
    """Say whether the nest was far below its week before on every whole day of a spell."""
    warmth = warmth_of(window)
    first, after = warmth.start_s.searchsorted([spell.start_s, spell.told_s])
    usual = warmth.level_cel[max(0, first - 8) : max(0, first - 1)]
    usual, here = usual[~np.isnan(usual)], warmth.level_cel[first : min(after, len(warmth))]
    if len(usual) < LIVED_DAYS or not len(here):
        return False
    return bool((here <= np.median(usual) - COOLER_K).all())


def _cold(window: HiveWindow, days: Days) -> list[_Spell]:
    """Find the times in which the nest was no warmer than the air."""
    warmth = warmth_of(window)
    blind = bool(np.isnan(warmth.ambient_h).all())
    over = np.flatnonzero(~np.isnan(warmth.nest_h))  # hours that are over, and known
    known = slice(0, int(over[-1]) + 1 if len(over) else 0)
    nest, air = warmth.nest_h[known], warmth.ambient_h[known]
    if blind:
        of_days = warmth.nest_h[: len(warmth.nest_h) // 24 * 24].tobytes()
        given = warmth.hour_s[:1].tolist(), len(warmth.nest_h), of_days
        hours = unless_same(window, "fallen", given, lambda: fallen(window, warmth))
    else:
        of_hours = warmth.hour_s[:1].tolist(), nest.tobytes(), air.tobytes()
        hours = unless_same(window, "like air", of_hours, lambda: hours_like_air(nest, air))
    if not hours.any():
        return []
    warm = _is_warm(warmth, blind=blind)
    spells: list[_Spell] = []
    free = 0
    for told in np.flatnonzero(hours).tolist():
        if told < free or _flies(days, int(warmth.hour_s[told])):
            continue
        back = np.flatnonzero(warm[told:])
        end = told + max(1, int(back[0]) + 1 - BACK_H) if len(back) else None
        spells.append(_no_warmth(window, told, end, blind=blind))
        free = len(warm) if end is None else end + 1
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


def _flies(days: Days, moment_s: int) -> bool:
    """Say whether bees flew as usual on the day before: then they are not dead."""
    day = int(days.start_s.searchsorted(moment_s, side="right")) - 1
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
