"""Tell what stays on the scale, as feed does, from what dries off, as rain on the lid does."""

from __future__ import annotations

from hivewatch.signals.steps import Step
from hivewatch.signals.window import Series

RAIN_LIGHT_KG = 1.6  # [kg] own choice: above this, most rain comes in several steps
SHARP = 0.8  # own choice: share of a step that comes from one reading to the next
CLEAR_SPREADS = 6.0  # own choice: rain goes on after its first step
KEPT_AFTER_S = 3600  # [s] own choice: wet lids lose a tenth in this, feed does not
KEPT = 0.93  # own choice: labelled days of 2014, tests/unit/detect/test_arizona.py
KEPT_LATER = 0.85  # own choice: the same after two hours, for light steps
AT_ONCE_S = 720  # [s] own choice: rain takes longer to wet a lid with a kilogram
HEAVY_AT_ONCE_S = 1860  # [s] own choice: the same with two; a feeding between two readings
DRY_KG = 0.07  # [kg] own choice: the error of a step, twice
LEAVING_MOST_KG = 0.4  # [kg] own choice: 4,000 foragers
TIP_MM = 0.2  # [mm] own choice: one tip of a usual gauge, which may be about to come
# [m2] own choice: four times a lid: walls get wet as well, and rain differs from hive to gauge
WET_M2 = 1.0
HALF = 0.5  # own choice: share of a step that rain may account for beside feed
NEAR_S = 1800  # [s] own choice: rain this near to a step may be its cause


def is_at_once(move: Step) -> bool:
    """Say whether a step came as from one hand, not as from a cloud."""
    size_kg, within_kg = abs(move.size_kg), abs(move.within_kg)
    if within_kg < SHARP * size_kg:
        return False  # it went on before and after
    allowed_s = AT_ONCE_S if size_kg < RAIN_LIGHT_KG else HEAVY_AT_ONCE_S
    is_sharp = move.sharp_kg > SHARP * max(size_kg, within_kg)
    return is_sharp or move.after_s - move.before_s <= allowed_s


def stayed_s(weight: Series, rain: Series, move: Step) -> int | None:
    """Tell a light step from rain: give the time of the reading that shows it is none, or None.

    It must come at once and clearly, and a dry gauge or the next hours must say that nothing dries
    off. What was being lost in the hour before already, as foragers leave, is no drying.
    """
    if not is_at_once(move) or move.size_kg < CLEAR_SPREADS * move.spread_kg:
        return None
    low, high = rain.time_s.searchsorted([move.before_s - NEAR_S, move.after_s + NEAR_S])
    if high > low:
        water_kg = WET_M2 * (float(rain.value[low:high].sum()) + TIP_MM)  # 1 mm on 1 m2 is 1 kg
        return move.settled_s if water_kg < HALF * move.size_kg else None
    checks = [(KEPT_AFTER_S, KEPT)]
    if move.size_kg < RAIN_LIGHT_KG:
        checks.append((2 * KEPT_AFTER_S, KEPT_LATER))
    told_s = move.settled_s
    for after_s, kept in checks:
        lost = _lost_kg(weight, move.after_s, after_s)
        if lost is None:
            return None
        before = _lost_kg(weight, move.before_s - KEPT_AFTER_S, KEPT_AFTER_S) or (0.0, 0)
        leaving = min(max(before[0], 0.0) * after_s / KEPT_AFTER_S, LEAVING_MOST_KG)
        if lost[0] - leaving > max((1 - kept) * move.size_kg, DRY_KG):
            return None
        told_s = max(told_s, lost[1])
    return told_s


def _lost_kg(weight: Series, from_s: int, after_s: int) -> tuple[float, int] | None:
    """Give what was lost some time after a moment, and the reading that tells; None in a gap."""
    half_s = after_s // 4
    edges = [from_s, from_s + half_s, from_s + after_s - half_s, from_s + after_s + half_s]
    a, b, c, d = weight.time_s.searchsorted(edges)
    b = max(min(b, a + 3), a + 1)
    settled = int(weight.time_s.searchsorted(from_s + after_s))
    if c >= d or settled >= d or a >= len(weight) or weight.time_s[a] > from_s + half_s:
        return None
    d = min(d, settled + 1)
    was = sorted(weight.value[a:b].tolist())
    now = sorted(weight.value[c:d].tolist())
    return was[len(was) // 2] - now[len(now) // 2], int(weight.time_s[settled])
