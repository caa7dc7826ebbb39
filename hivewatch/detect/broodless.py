"""Has one hive of a yard lost its brood while the others keep theirs: a late `queen_trouble`.

From late summer on brood ends of itself, some weeks sooner in one place than in another, and a nest
that loosens says nothing by itself (`detect.queen` leaves it alone then). Beside its neighbours it
does: the yard has one weather and one flow, and a hive whose brood nest goes within days, weeks
before all the others', had no queen to lay three weeks earlier.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.signals.days import DAY_S, HOUR_S, Days
from hivewatch.signals.levels import middle_before
from hivewatch.signals.window import Floats

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/detect/test_broodless.py.
USUAL = (21, 6, 5)  # [d] the days before that tell a nest's own warmth, and known ones of them
BROOD_CEL = 33.3  # [Cel] published range of brood from 33 Cel: a nest that is usually so has some
FALL_K = 3.0  # [K] so far below its own weeks before
KEPT_K = 1.0  # [K] a neighbour within this of its own has brood
LOW_DAYS = 3  # [d] on so many days; or on ...
CHILL_K, CHILL_DAYS = 5.0, 8  # [K], [d] ... these, where a lid off may have chilled it at once
LID_KG, FALLEN_KG = 1.5, 8.0  # [kg] off the scale: it may lie open; it lies on the ground
LIGHTEST_KG = 10.0  # [kg] a scale with less on it at dawn carries no hive
KEEPERS, KEEPERS_SHARE = 2, 0.75  # neighbours that have brood, and their share of those who had
OVER_AIR_K = 3.0  # [K] bees without brood keep themselves so warm; less, and there are none
LATE_DAY_H, LAST_DAY_H = 13.5, 11.8  # [h] of light: from then on, until the equinox is past
TEMPERATE_DEG = 25.0  # [deg] nearer to the equator there is no autumn
FAILS_AFTER_D = 18  # [d] published: capped brood comes out 9 to 21 days after the last egg


class _Nests(NamedTuple):
    """The nests of a yard on the same days, each of shape (hives, n), NaN where unknown."""

    nest_cel: Floats
    over_air_k: Floats
    usual_cel: Floats
    end_s: Floats  # midnight after each day, for the whole yard: shape (n,)
    is_late: Flags
    fell_kg: Floats
    dawn_kg: Floats


def find(yard: Yard, days: Mapping[str, Days]) -> list[Finding]:
    """Say which hives of a yard lost their brood before the others.

    Parameters
    ----------
    days : Mapping
        Hive -> its days, all up to the same moment; those with a probe in the brood nest are asked.

    Returns
    -------
    list[Finding]
        Of kind `queen_trouble`, told on the third day that the nest is low; its start is when the
        last eggs were laid, `nests_with_brood` how many neighbours kept theirs. It ends when the
        nest is warm again, or when most of the neighbours have none either.

    References
    ----------
    A. Stabentheiner, H. Kovac, R. Brodschneider (2010), PLoS ONE 5(1):e8967: brood at 33 to 36 Cel.
    """
    probed = {hive: one for hive, one in sorted(days.items()) if not np.isnan(one.nest_cel).all()}
    if len(probed) <= KEEPERS or abs(yard.latitude) < TEMPERATE_DEG:
        return []
    nests = _side_by_side(list(probed.values()))
    if not nests.is_late.any():
        return []
    first = min(one.day[0] for one in probed.values())
    return [one for row, hive in enumerate(probed) for one in _falls(hive, row, nests, first)]


def _side_by_side(hives: Sequence[Days]) -> _Nests:
    """Lay the nests of a yard's hives side by side, up to the last day that is over."""
    first = min(one.day[0] for one in hives)
    shape = len(hives), (max(one.day[-1] for one in hives) - first).days
    nest, over_k, usual, fell_kg, dawn_kg = (np.full(shape, np.nan) for _ in range(5))
    end_s, light_h = np.zeros(shape), np.zeros(shape)
    for row, one in enumerate(hives):
        begin = (one.day[0] - first).days
        n = min(len(one), shape[1] - begin)
        at = slice(begin, begin + n)
        nest[row, at] = one.nest_cel[:n]
        over_k[row, at] = one.nest_cel[:n] - one.ambient_cel[:n]
        usual[row, at] = middle_before(one.nest_cel[:n], *USUAL)
        fell_kg[row, at], dawn_kg[row, at] = -one.step_kg[:n], one.dawn_kg[:n]
        end_s[row, at] = one.start_s[1 : n + 1]
        light_h[row, at] = (one.set_s[:n] - one.rise_s[:n]) / HOUR_S
    hours = light_h.max(axis=0)
    shortens = np.diff(hours, prepend=hours[:1]) < 0
    is_late = shortens & (hours < LATE_DAY_H) & (hours >= LAST_DAY_H)
    return _Nests(nest, over_k, usual, end_s.max(axis=0), is_late, fell_kg, dawn_kg)


def _falls(hive: str, row: int, nests: _Nests, first: date) -> list[Finding]:
    """Find where one nest fell and the others did not."""
    nest, usual = nests.nest_cel[row], nests.usual_cel[row]
    with np.errstate(invalid="ignore"):
        has = np.delete(nests.usual_cel, row, axis=0) >= BROOD_CEL
        keeps = has & (np.delete(nests.usual_cel - nests.nest_cel, row, axis=0) <= KEPT_K)
        is_low = (usual >= BROOD_CEL) & (usual - nest >= FALL_K)
        is_low &= ~(nests.over_air_k[row] < OVER_AIR_K) & ~(nests.dawn_kg[row] < LIGHTEST_KG)
    known = np.delete(~np.isnan(nests.nest_cel), row, axis=0)
    keepers = keeps.sum(axis=0)
    is_alone = (keepers >= KEEPERS) & (keepers >= KEEPERS_SHARE * (has & known).sum(axis=0))
    found: list[Finding] = []
    low: list[int] = []
    free = 0
    for day in np.flatnonzero(~np.isnan(nest)).tolist():
        if day < free or not (is_low[day] and is_alone[day] and nests.is_late[day]):
            low = []
            continue
        low.append(day)
        if len(low) >= _days_asked(nests, row, low):
            end = _end(nest, float(usual[low[0]]), is_alone, day)
            found.append(_trouble(hive, nests, row, (low[0], day, end), int(keepers[day]), first))
            low, free = [], len(nest) if end is None else end + 1
    return found


def _days_asked(nests: _Nests, row: int, low: Sequence[int]) -> float:
    """Give on how many days a nest must be low, by what else may have cooled it. [d].

    Brood that is not replaced goes within days, and nothing else changes. A nest that goes cold
    within two of them may lie open, unless its scale has felt no part of it go.
    """
    fell_kg = nests.fell_kg[row, max(low[0] - 1, 0) : low[-1] + 1]
    off_kg = float(np.fmax.reduce(fell_kg, initial=-1.0))
    if off_kg >= FALLEN_KG:
        return np.inf
    fell_k = nests.usual_cel[row, low[0]] - nests.nest_cel[row, low[:2]].min()
    may_lie_open = np.isnan(fell_kg).all() or off_kg >= LID_KG
    return CHILL_DAYS if fell_k >= CHILL_K and may_lie_open else LOW_DAYS


def _end(nest: Floats, usual_cel: float, is_alone: Flags, told: int) -> int | None:
    """Give the day on which a nest is warm again, or no longer the only one without brood."""
    with np.errstate(invalid="ignore"):
        is_warm = nest >= usual_cel - KEPT_K
    over = (is_warm[1:] & is_warm[:-1])[told:] | ~is_alone[told + 1 :]
    return told + 1 + int(np.argmax(over)) if over.any() else None


def _trouble(
    hive: str,
    nests: _Nests,
    row: int,
    course: tuple[int, int, int | None],
    keepers: int,
    first: date,
) -> Finding:
    """Put a fall into words and figures."""
    low, told, end = course
    since = first + timedelta(days=low - FAILS_AFTER_D)
    nest, usual = nests.nest_cel[row], nests.usual_cel[row]
    return Finding(
        kind="queen_trouble",
        subject=f"hive:{hive}",
        start_s=int(nests.end_s[low]) - (FAILS_AFTER_D + 1) * DAY_S,
        end_s=None if end is None else int(nests.end_s[end]),
        detected_s=int(nests.end_s[told]),
        confidence=0.75,
        measures={"since_day": since.isoformat(), "nests_with_brood": keepers},
        evidence=(
            f"the brood nest fell from {usual[low]:.1f} to {nest[told]:.1f} Cel within days",
            f"{keepers} neighbours keep theirs warm",
            f"laying has stopped or failed since about {since}",
            "look for eggs; a young queen hardly mates so late: give a laying one, or unite it",
        ),
        status="open" if end is None else "ended",
    )
