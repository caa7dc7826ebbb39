"""Has a swarm left where a coarse scale alone tells of it: `swarm`, by the neighbours' stillness.

Two kilograms that are gone from one reading to the next, half an hour later, are a swarm or a
keeper's hands: the scale does not know. The yard does, for who opens one hive opens the next. On
the real scales of 2014 every such loss fell on a visit that moved other hives of the yard as well.
Where all others stood still for hours before and after, and nothing was put on before, bees left.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.detect.left import measures_of
from hivewatch.detect.swarm import FLOW_KG_PER_H
from hivewatch.signals.days import DAY_S, Days
from hivewatch.signals.exodus import FORAGERS_KG
from hivewatch.signals.steps import Step
from hivewatch.signals.sun import sun_height_deg

# Own choices where no source is named; tests/unit/detect/test_unvisited.py, test_arizona.py.
MOST_KG = 4.5  # [kg] common practice, no source: the heaviest prime swarms
QUICK_S = 900  # [s] what goes sooner is told by the hive itself, as a handling to be asked about
SLOW_S = 3900  # [s] the coarsest feed that tells when it was
SHARP = 0.95  # share of it from one reading to the next: else the hive itself tells a swarm
LIFTED_KG = 2.0  # [kg] a part in somebody's hands
SWARM_DEG = 20.0  # [deg] common practice, no source: swarms leave in the middle of the day
VISIT_S = 3 * 3600  # [s] a visit to a yard takes less
MOVED_KG = 0.3  # [kg] a step of another hive: somebody, or the weather
FED_S, FED_SHARE = 2 * DAY_S, 0.8  # so long before, so much of it was put on: feed is carried off
SURE = 0.5  # a keeper may open a single hive


def find(yard: Yard, days: Mapping[str, Days]) -> list[Finding]:
    """Say which hives of a yard a swarm has left, by the scales alone.

    Parameters
    ----------
    days : Mapping
        Hive -> its days, all up to the same moment.

    Returns
    -------
    list[Finding]
        Of kind `swarm`, told at dusk; `hives_still` is how many others were weighed meanwhile.
    """
    return [
        _left(hive, one, step, day, still)
        for hive, one in sorted(days.items())
        for step, day in _losses(yard, one)
        if (still := _still(hive, days, step))
    ]


def _losses(yard: Yard, one: Days) -> Iterator[tuple[Step, int]]:
    """Give the losses as of a swarm that the scale alone has seen, and the day of each."""
    for step in one.steps:
        if not _is_loss(yard, step):
            continue
        day = int(one.start_s.searchsorted(step.before_s, side="right")) - 1
        if (
            0 <= day < len(one)
            and not np.isnan(one.dusk_kg[day])
            and not _stood_still(one, day - 1)
            and np.isnan([one.nest_cel[day], one.bees_out[day]]).all()
            and not any(_speaks_against(step, other) for other in one.steps)
        ):
            yield step, day


def _stood_still(one: Days, day: int) -> bool:
    """Say whether the scale was stuck all day and all night: what it says then came before."""
    return day >= 0 and one.day_kg[day] == one.night_kg[day] == 0


def _is_loss(yard: Yard, step: Step) -> bool:
    """Say whether a step can be a swarm's that left between two readings of a coarse feed."""
    return (
        FORAGERS_KG <= -step.size_kg <= MOST_KG
        and QUICK_S < step.after_s - step.before_s <= SLOW_S
        and -step.size_kg * SHARP <= abs(step.sharp_kg)
        and max(step.low_kg, step.high_kg) < LIFTED_KG
        and sun_height_deg(yard, (step.before_s + step.after_s) // 2) >= SWARM_DEG
    )


def _speaks_against(step: Step, other: Step) -> bool:
    """Say whether another step of the hive says that somebody was there, or had fed it."""
    if other is step:
        return False
    was_fed = (
        step.before_s - FED_S <= other.after_s <= step.before_s
        and other.size_kg >= -FED_SHARE * step.size_kg
    )
    return was_fed or _is_near(step, other)


def _is_near(step: Step, other: Step) -> bool:
    return other.before_s <= step.after_s + VISIT_S and step.before_s - VISIT_S <= other.after_s


def _still(hive: str, days: Mapping[str, Days], step: Step) -> int:
    """Count the other hives that were weighed that day; 0 where one of them moved as well."""
    still = 0
    for name, one in days.items():
        day = int(one.start_s.searchsorted(step.before_s, side="right")) - 1
        if name == hive or not 0 <= day < len(one) or np.isnan(one.day_kg[day]):
            continue
        if any(abs(it.size_kg) >= MOVED_KG and _is_near(step, it) for it in one.steps):
            return 0
        still += 1
    return still


def _left(hive: str, one: Days, step: Step, day: int, still: int) -> Finding:
    """Put a swarm into words and figures."""
    minutes = (step.after_s - step.before_s) / 60
    error_kg = float(np.hypot(step.spread_kg, FLOW_KG_PER_H * minutes / 60))
    others = "the other hive" if still == 1 else f"none of the {still} others"
    moved = f"{others} did not move" if still == 1 else f"{others} moved"
    return Finding(
        kind="swarm",
        subject=f"hive:{hive}",
        start_s=step.before_s,
        end_s=step.after_s,
        detected_s=max(step.settled_s, int(one.dusk_s[day])),
        confidence=SURE,
        measures=measures_of(-step.size_kg, error_kg) | {"hives_still": float(still)},
        evidence=(
            f"{-step.size_kg:.1f} kg left within {minutes:.0f} min by day and did not come back",
            f"{moved} within hours of it, as on a visit; or somebody opened this one alone",
        ),
        status="ended",
    )
