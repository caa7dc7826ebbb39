"""Does a scale drift: `scale_drift`, where it says what no colony can do.

It weighs less than the empty hive although bees live in it, or it follows the warmth of the air by
far more than a load cell may. A slow drift beside a living colony's own gain and loss is not seen:
half a kilogram a week is 70 g a day, and what the colonies of one yard lose at night, and damp wood
takes up in autumn, differs by more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.detect.sent import sender_of
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import DAY_S, worked
from hivewatch.signals.cell_warmth import CELL_KG_PER_K, follows_of
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.window import HiveWindow

# Own choices where no source is named; tests/unit/detect/test_drift.py.
BELOW_KG = 1.0  # [kg] below the empty hive
BELOW_DAYS = 3
ALIVE_CEL, ALIVE_BEES = 30.0, 1000.0  # [Cel] of the nest, [bees] a day
FOLLOWS = 20.0  # times that, so that no bees' own habits reach it

Spell = tuple[int, int, dict[str, float], str]


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say whether the scale drifts.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`.

    Returns
    -------
    list[Finding]
        Of kind `scale_drift`, one at most; the subject is the device that sent it.

    References
    ----------
    OIML R 60-1 (2021), 5.6.1.3: zero may move by 0.7 v_min per 5 Cel; for E_max 200 kg and
    Y = 10,000 that is 14 g.
    """
    return drifts_of(window)


def drifts_of(window: HiveWindow) -> list[Finding]:
    """Give the drift of a hive's scale, if it drifts; found once a window."""
    return worked(window, "drifts", lambda here, kept: kept or _drifts(here, days_of(here)))


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the drift."""
    return {"drifts": [one for one in drifts_of(window) if one.detected_s < until_s]}


def _drifts(window: HiveWindow, days: Days) -> list[Finding]:
    """Give the first thing that a scale says and no colony can do; it lasts until it is over."""
    weight = window.of("weight")
    if not window.has("weight"):
        return []
    first = max(int(days.start_s.searchsorted(window.carried.until_s)) - 1, 0)
    spells = [*_too_light(window, days, first), *_following(window)]
    if not spells:
        return []
    since, told, measures, words = min(spells, key=lambda one: one[1])
    told_s = int(days.dawn_s[told])
    found = Finding(
        kind="scale_drift",
        subject=f"device:{sender_of(window, weight, told_s - DAY_S, told_s)}",
        start_s=int(days.dawn_s[since]),
        end_s=None,
        detected_s=told_s,
        confidence=0.7,
        measures=measures,
        evidence=(words,),
    )
    return [found]  # once told, it is for somebody to look at the scale


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


def _following(window: HiveWindow) -> Iterator[Spell]:
    """Find a scale that follows the air by more than any bees do."""
    for one in follows_of(window):
        if abs(one.kg_per_k) > FOLLOWS * CELL_KG_PER_K:
            g_per_k = round(1000 * one.kg_per_k)
            words = f"the weight follows the air by {g_per_k} g a degree at night"
            yield one.nights[0], one.nights[1] + 1, {"g_per_k": float(g_per_k)}, words
            return
