"""Does the food last: `low_stores`, with the days that are left.

Told while there is time to feed: when what is in the combs, at the rate at which it is taken, lasts
less than two weeks and is less than a keeper would leave in the hive at any time of the year.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import NormalDist

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.larder import LEAST_ERROR_KG, Larder, larder_of, likely_kg
from hivewatch.signals.window import HiveWindow

# tests/unit/detect/test_stores.py
LOW_DAYS = 13.0  # [d] own choice: a keeper comes every week or two
LOW_KG = 4.0  # [kg] common practice, no source: two full combs, the least at any time
WELL_DAYS, WELL_KG = 16.0, 5.0  # [d], [kg] own choice: when it is over
ALWAYS_LOW_KG, ALWAYS_WELL_KG = 0.9, 1.5  # [kg] own choice: what a cluster may not reach
RATE_SHARE = 0.2  # own choice: two in three of made-up seasons keep to it
# [kg], own choice: an error that a well-kept hive has, too; of what is off beyond it so much must
# be low as well, else boxes that nobody wrote down hide more than anybody can know
USUAL_KG, SURE = 1.2, 1.5
SURE_MOST = 0.95  # own choice; an even chance is the least: what lies above its mark is not told
IN_A_ROW = 2  # [d] own choice: dawns that agree; a wet or windy one does not


def find(window: HiveWindow, inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when the stores run low.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `weight`, and either `hive.empty_kg` or a visit that
        judged the stores; where neither is known, nothing is said.
    inspections : Sequence[Inspection]
        What was seen and done.

    Returns
    -------
    list[Finding]
        Of kind `low_stores`; `days_left`, `stores_kg` and `kg_a_day` as they were when it was told,
        `days_error` and `kg_error` how far off they may be. `confidence` is how likely the stores
        are below the mark by which they are told, were they off as a normal error is.

    References
    ----------
    The method is our own, see `larder_of`; that a scale "can warn of starvation": Human et al.
    (2013), COLOSS BEEBOOK, miscellaneous methods 4.1.3.
    """
    if not window.has("weight"):
        return []
    days = days_of(window)
    larder = larder_of(window, inspections)
    return [_low(window, days, larder, *spell) for spell in _spells(larder)]


def _spells(larder: Larder) -> Iterator[tuple[int, int, int | None]]:
    """Go through the days: give the first low one, the one that told it, and the first well one."""
    stores_kg, days_left = larder.stores_kg, larder.days_left
    most_kg = stores_kg + SURE * np.maximum(larder.error_kg - USUAL_KG, 0.0)
    is_low = (most_kg < LOW_DAYS * larder.rate_kg) & (most_kg < LOW_KG) | (most_kg < ALWAYS_LOW_KG)
    is_well = (days_left >= WELL_DAYS) & (stores_kg >= ALWAYS_WELL_KG) | (stores_kg >= WELL_KG)
    low: list[int] = []
    well: list[int] = []
    told: int | None = None
    for i in np.flatnonzero(~np.isnan(days_left)).tolist():
        if told is None:
            low = [*low, i] if is_low[i] else []
            if len(low) == IN_A_ROW:
                told, well = i, []
            continue
        well = [*well, i] if is_well[i] else []
        if len(well) == IN_A_ROW:
            yield low[0], told, well[0]
            told, low = None, []
    if told is not None:
        yield low[0], told, None


def _sure(kg: float, error_kg: float, low_kg: float) -> float:
    """Give how likely stores are low, if they are off as a normal error is; never quite certain."""
    return min(NormalDist().cdf((low_kg - kg) / max(error_kg, LEAST_ERROR_KG)), SURE_MOST)


def _low(
    window: HiveWindow, days: Days, larder: Larder, first: int, told: int, well: int | None
) -> Finding:
    """Put a shortage into words and figures."""
    rate, error_kg = float(larder.rate_kg[told]), float(larder.error_kg[told])
    known = window.hive.empty_kg is not None
    weighed_kg = float(larder.stores_kg[told])
    kg = likely_kg(weighed_kg, error_kg)
    low_kg = max(min(LOW_DAYS * rate, LOW_KG), ALWAYS_LOW_KG)
    left = kg / rate
    error_d = float(np.hypot(error_kg / rate, RATE_SHARE * left))
    span = f"{max(left - error_d, 0.0):.0f} to {left + error_d:.0f}"
    until = len(days) if well is None else well + 1
    lowest = first + int(np.nanargmin(larder.stores_kg[first:until]))
    lowest_kg = likely_kg(float(larder.stores_kg[lowest]), float(larder.error_kg[lowest]))
    return Finding(
        kind="low_stores",
        subject=f"hive:{window.hive.id}",
        start_s=int(days.dawn_s[first]),
        end_s=None if well is None else int(days.dawn_s[well]),
        detected_s=int(days.dawn_s[told]),
        confidence=round(_sure(weighed_kg, error_kg, low_kg), 2),
        measures={
            "days_left": round(left, 1),
            "days_error": round(error_d, 1),
            "stores_kg": round(kg, 1),
            "kg_error": round(error_kg, 1),
            "kg_a_day": round(rate, 2),
            "lowest_stores_kg": round(lowest_kg, 1),
        },
        evidence=(
            f"about {kg:.1f} kg of honey, to {error_kg:.1f} kg or so",
            f"{rate:.2f} kg a day go: {span} days are left if nothing comes in",
            "stores from the weight less the empty hive, boxes, bees, brood and pollen"
            if known
            else "stores from the last visit that judged them, and the weight since",
        ),
        status="open" if well is None else "ended",
    )
