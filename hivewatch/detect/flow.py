"""Does nectar come in: `nectar_flow` and `dearth`, for a yard. Its hives vote.

What a published definition there is of a flow's start and end names no threshold, so these are our
own: a flow begins with two good days of the yard's middle hive and ends with three poor ones; a
dearth is eight days of loss although bees can fly. Weight without steps is taken, from dawn to
dawn, so that neither feeding nor a super counts; days of rain say nothing, for the wet lid weighs.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.signals.days import DAY_S, Days, local_midnights_s
from hivewatch.signals.faults import NORMAL
from hivewatch.signals.window import Floats

# All thresholds: own choice; tests/unit/detect/test_flow.py and the scoreboard hold them.
FLOW_KG = 0.35  # [kg/d] a good day of the yard's middle hive
FLOW_SUM_KG = 0.9  # [kg] of the two days together
BEFORE_DAYS = 14  # days that tell how unsteady the yard's days are
UNSTEADY_SPREADS = 3.0  # a good day stands out from them by so many spreads
USUAL_MOST_KG, SPREAD_MOST_KG = 0.1, 0.2  # [kg/d] so that a flow just over does not hide the next
EARLY_KG = 0.45  # [kg/d] the same, judged at dusk, before the night has taken its part
RIPENING = 0.3  # share of a day's gain that the night takes; popular: a third of the water goes
POOR_KG = 0.15  # [kg/d] under this, three days end a flow
POOR_DAYS = 3
BRIDGE_DAYS = 3  # unknown days that may lie between two good ones
DEARTH_KG = -0.03  # [kg/d] mean of the days
DEARTH_DAYS = 8
DEARTH_OVER_KG = 0.1  # [kg/d] three such days end it
FLYING_H = 4.0  # [h/d] in the mean, when bees could have fetched something
WET_MM = 2.0  # [mm/d] a lid that weighs
SHOWER_KG = 2.5  # [kg] a step up that half of the yard shows on the same day is rain
NIGHTS = 5  # nights that tell how much the next one will take
AGREE_KG = 0.2  # [kg/d] a hive that votes for the flow


@dataclass(frozen=True, slots=True)
class _Yard:
    """The yard by days: n days, h hives."""

    start_s: NDArray[np.int64]  # (n + 1,)
    gain_kg: Floats  # (h, n) from dawn to dawn
    early_kg: Floats  # (h, n) judged at dusk, less what the night will take
    dawn_s: Floats  # (n,) when the day's gain is known
    dusk_s: Floats  # (n,) when it can be judged
    is_wet: NDArray[np.bool_]  # (n,)
    flying_h: Floats  # (n,)

    def typical_kg(self, gain_kg: Floats) -> Floats:
        """Gain of the middle hive, where half of the hives that report tell it; (n,)."""
        told = ~np.isnan(gain_kg)
        enough = (told.sum(axis=0) * 2 >= told.any(axis=1).sum()) & told.any(axis=0)
        typical = np.full(gain_kg.shape[1], np.nan)
        typical[enough] = np.nanmedian(gain_kg[:, enough], axis=0)
        return np.where(self.is_wet, np.nan, typical)


def find(yard: Yard, days: Mapping[str, Days]) -> list[Finding]:
    """Say when nectar came in at a yard, and when nothing did.

    Parameters
    ----------
    yard : Yard
        The yard.
    days : Mapping
        Hive -> its days, all up to the same moment. Hives without a scale do not vote.

    Returns
    -------
    list[Finding]
        Of kinds `nectar_flow` and `dearth`, by start; `measures` are of the middle hive:
        `kg_a_day`, `kg_gained`, and `hives` that voted.
    """
    voters = {hive: one for hive, one in days.items() if not np.isnan(one.gain_kg).all()}
    if not voters:
        return []
    together = _together(yard, list(voters.values()))
    return [
        *_flows(yard, together),
        *_dearths(yard, together),
    ]


def _together(yard: Yard, days: list[Days]) -> _Yard:
    """Lay the hives' days on one calendar."""
    first = min(one.day[0] for one in days)
    count = (max(one.day[-1] for one in days) - first).days + 1
    gain, early, rain, flying = (np.full((len(days), count), np.nan) for _ in range(4))
    dawn_s, dusk_s = np.zeros(count), np.zeros(count)
    showers = np.zeros((len(days), count), np.bool_)
    for row, one in enumerate(days):
        at = (one.day[0] - first).days
        span = slice(at, at + len(one))
        gain[row, span], early[row, span] = one.gain_kg, _judged_at_dusk(one)
        dawn_s[span] = np.append(one.dawn_s[1:], one.dawn_s[-1:] + DAY_S)
        dusk_s[span] = one.dusk_s
        rain[row, span], flying[row, span] = one.rain_mm, one.flying_h
        showers[row, span] = _showers(one)
    wet = _most(rain) >= WET_MM
    if len(days) > 1:
        wet |= showers.sum(axis=0) * 2 >= np.maximum(2, (~np.isnan(gain)).sum(axis=0))
    start_s = local_midnights_s(yard, first, count + 1)
    return _Yard(start_s, gain, early, dawn_s, dusk_s, wet, _most(flying))


def _judged_at_dusk(one: Days) -> Floats:
    """Give each day's gain as it can be judged at dusk, from what the last nights took."""
    usual = np.zeros(len(one))
    for i in range(1, len(one)):
        nights = one.night_kg[max(0, i - NIGHTS) : i]
        nights = nights[~np.isnan(nights)]
        usual[i] = np.median(nights) if len(nights) else 0.0
    return one.day_kg - np.maximum(usual, RIPENING * np.maximum(one.day_kg, 0.0))


def _showers(one: Days) -> NDArray[np.bool_]:
    """Say on which days the weight stepped up by no more than a shower weighs."""
    hit = np.zeros(len(one), np.bool_)
    for step in one.steps:
        if 0 < step.size_kg < SHOWER_KG:
            at = int(np.searchsorted(one.start_s, step.after_s, side="right")) - 1
            hit[min(max(at, 0), len(one) - 1)] = True
    return hit


def _most(rows: Floats) -> Floats:
    """Give the largest figure of each day; 0 where nobody has one."""
    return np.asarray(np.fmax.reduce(np.nan_to_num(rows, nan=-np.inf), axis=0)).clip(min=0.0)


def _flows(yard: Yard, together: _Yard) -> Iterator[Finding]:
    """Go through the days: two good ones begin a flow, three poor ones end it."""
    early = together.typical_kg(together.early_kg)
    typical = together.typical_kg(together.gain_kg)
    is_early = np.isnan(typical) & (early >= EARLY_KG)  # the newest day, at dusk
    kg_of = np.where(is_early, early, typical)
    begun: int | None = None
    good: int | None = None
    poor: list[int] = []
    told_s = 0.0
    for i in np.flatnonzero(~np.isnan(kg_of)).tolist():
        kg = float(kg_of[i])
        if begun is not None:
            poor = [*poor, i] if kg < POOR_KG else []
            if len(poor) == POOR_DAYS:
                yield _flow(yard, together, slice(begun, poor[0]), told_s, over=True)
                begun, good = None, None
        elif kg < FLOW_KG:
            good = None
        elif (
            good is not None and i - good <= BRIDGE_DAYS and kg + kg_of[good] >= _asked(kg_of, good)
        ):
            begun, poor = good, []
            told_s = together.dusk_s[i] if early[i] >= EARLY_KG else together.dawn_s[i]
        else:
            good = i
    if begun is not None:
        yield _flow(yard, together, slice(begun, len(kg_of)), told_s, over=False)


def _asked(kg_of: Floats, good: int) -> float:
    """Give what two good days must bring together: more where the days before were unsteady."""
    before = kg_of[max(0, good - BEFORE_DAYS) : good]
    before = before[~np.isnan(before)]
    if not len(before):
        return FLOW_SUM_KG
    middle = float(np.median(before))
    spread = NORMAL * float(np.median(np.abs(before - middle)))
    unsteady = min(middle, USUAL_MOST_KG) + UNSTEADY_SPREADS * min(spread, SPREAD_MOST_KG)
    return max(FLOW_SUM_KG, 2 * unsteady)


def _flow(yard: Yard, together: _Yard, span: slice, told_s: float, *, over: bool) -> Finding:
    """Put one flow into words and figures."""
    gain_kg = np.where(np.isnan(together.gain_kg), together.early_kg, together.gain_kg)
    typical = together.typical_kg(gain_kg)[span]
    known = typical[~np.isnan(typical)]
    votes = gain_kg[:, span]
    has_voted = ~np.isnan(votes).all(axis=1)
    mean_kg = np.nanmean(votes[has_voted], axis=1)
    agree = int((mean_kg >= AGREE_KG).sum())
    kg_a_day = float(known.mean())
    days = len(typical)
    return Finding(
        kind="nectar_flow",
        subject=f"yard:{yard.id}",
        start_s=int(together.start_s[span.start]),
        end_s=int(together.start_s[span.stop]) if over else None,
        detected_s=int(told_s),
        confidence=round(0.5 + 0.48 * agree / max(1, int(has_voted.sum())), 2),
        status="ended" if over else "open",
        measures={
            "kg_a_day": round(kg_a_day, 2),
            "kg_gained": round(kg_a_day * days, 1),
            "hives": int(has_voted.sum()),
        },
        evidence=(
            f"the middle hive gained {kg_a_day:.1f} kg a day from dawn to dawn, over {days} days",
            f"{agree} of {int(has_voted.sum())} hives gained",
        ),
    )


def _dearths(yard: Yard, together: _Yard) -> Iterator[Finding]:
    """Find the spells in which the yard lost although bees could fly."""
    typical = together.typical_kg(together.gain_kg)
    begun: int | None = None
    free = 0  # the first day that no dearth before has taken
    better: list[int] = []
    told_s = 0.0
    for i, kg in enumerate(typical.tolist()):
        if begun is not None:
            if not np.isnan(kg):
                better = [*better, i] if kg >= DEARTH_OVER_KG else []
            if len(better) == POOR_DAYS or (len(better) > 1 and typical[better].min() >= FLOW_KG):
                yield _dearth(yard, together, slice(begun, better[0]), told_s, over=True)
                begun, free = None, better[0]
            continue
        span = slice(max(free, i - DEARTH_DAYS + 1), i + 1)
        known = typical[span][~np.isnan(typical[span])]
        is_poor = (
            len(known) * 2 > DEARTH_DAYS and known.mean() < DEARTH_KG and known[-1] < DEARTH_OVER_KG
        )
        if is_poor and together.flying_h[span].mean() >= FLYING_H:
            good = np.flatnonzero(typical[span] >= DEARTH_OVER_KG)
            begun = span.start + (int(good[-1]) + 1 if len(good) else 0)
            told_s, better = float(together.dawn_s[i]), []
    if begun is not None:
        yield _dearth(yard, together, slice(begun, len(typical)), told_s, over=False)


def _dearth(yard: Yard, together: _Yard, span: slice, told_s: float, *, over: bool) -> Finding:
    """Put one dearth into words and figures."""
    typical = together.typical_kg(together.gain_kg)[span]
    known = typical[~np.isnan(typical)]
    kg_a_day = float(known.mean())
    return Finding(
        kind="dearth",
        subject=f"yard:{yard.id}",
        start_s=int(together.start_s[span.start]),
        end_s=int(together.start_s[span.stop]) if over else None,
        detected_s=int(told_s),
        confidence=round(min(0.95, 0.6 + 2 * max(0.0, -kg_a_day)), 2),
        status="ended" if over else "open",
        measures={"kg_a_day": round(kg_a_day, 2), "kg_gained": round(kg_a_day * len(typical), 1)},
        evidence=(
            f"the middle hive changed by {kg_a_day:+.2f} kg a day over {len(typical)} days",
            f"bees could fly {together.flying_h[span].mean():.0f} hours a day",
        ),
    )
