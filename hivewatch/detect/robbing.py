"""Is the hive being robbed: `robbing`, with what was carried off.

Robbers carry honey out as long as they can fly: from morning to evening the weight falls, steadily,
by more than the bees that are away weigh, below all that it was in the days before, and at night it
stands. A counter sees them come and go, far more than is usual and as many in as out. Left to
others: what goes at once (a swarm, a box, a hand), what stays away and is counted (foragers that
did not come home), and what had come with rain or syrup and dries.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.detect.robbed_day import BUSY, MARGIN_BUSY_KG, Hit, Watch
from hivewatch.inspections import Inspection
from hivewatch.signals.bare import bare_dawns_kg, bare_weight, before_each, stepped_kg
from hivewatch.signals.carried import worked
from hivewatch.signals.days import DAY_S, Days, days_of
from hivewatch.signals.levels import known_or
from hivewatch.signals.robbed import USUAL_DAYS, can_fly, robbed_days
from hivewatch.signals.window import Floats, HiveWindow, first_beyond, first_from

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/detect/test_robbing.py.
USUAL_KG = (0.15, 1.0)  # [kg] bounds of that: 1,500 to 10,000 bees away at noon
FLOOR_DAYS = 3  # days back that a wet lid can have been dry
SNOW_DAYS, SNOW_CEL = 10, 3.0  # [d], [Cel] the same for snow: days after a mean of less
BACK_S = 11 * DAY_S  # [s] as for `hivewatch.signals.carried`
OVER_DAYS = 4  # days without, and it is over: rain keeps robbers at home, too


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when the hive was robbed.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `weight`; takes `bees-in`, `bees-out` and `ambient`
        where there are any.

    Returns
    -------
    list[Finding]
        Of kind `robbing`, told on the day; `measures` are `kg_lost` and, where bees are counted,
        `traffic_times` the usual.

    References
    ----------
    No published figures of robbing were found: the method is our own.
    """
    days, bare = days_of(window), bare_weight(window)
    if bare.skipped + len(bare) < 3 or not len(days):  # noqa: PLR2004
        return []
    dawn_kg = bare_dawns_kg(window)
    deep_kg = dawn_kg - lowest_of(window)
    first = max(int(days.start_s.searchsorted(window.carried.until_s, side="right")) - 1, 0)
    at_dusk = robbed_days(days, first)
    if not (at_dusk | (deep_kg > USUAL_KG[0] + MARGIN_BUSY_KG))[first:].any():
        return []
    usual_kg = before_each(deep_kg, USUAL_DAYS, 3, first=first)
    usual_kg = known_or(usual_kg, USUAL_KG[1]).clip(*USUAL_KG)
    suspect = (deep_kg > usual_kg + MARGIN_BUSY_KG) & can_fly(days) & ~np.isnan(dawn_kg)
    suspects = first + np.flatnonzero((suspect | at_dusk)[first:])
    if not len(suspects):
        return []
    floor_kg = _floor(days, dawn_kg, days.dusk_kg - stepped_kg(days, days.dusk_s))
    watch = Watch(window, days, bare, dawn_kg, usual_kg, floor_kg)
    judged = [watch.judge(i, at_dusk=bool(at_dusk[i])) for i in suspects.tolist()]
    hits = [hit for hit in judged if hit is not None]
    return [_robbed(window, days, run) for run in _runs(hits)]


def lowest_of(window: HiveWindow) -> Floats:
    """Give the lowest weight from sunrise to dusk, without steps; NaN without readings [kg]."""
    return worked(window, "lowest", _lowest)


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the lowest weights of the days before."""
    n = int(np.searchsorted(days_of(window).start_s, until_s))
    return {"lowest": lowest_of(window)[:n].copy()}


def _lowest(window: HiveWindow, kept: Floats | None) -> Floats:
    """Give the lowest weights that are known, and those since."""
    days, bare, first = days_of(window), bare_weight(window), 0 if kept is None else len(kept)
    low = first_from(bare.time_s, days.rise_s[first:])
    high = first_beyond(bare.time_s, days.dusk_s[first:])
    lowest = np.full(len(days) - first, np.nan)
    for i in np.flatnonzero(high > low).tolist():
        lowest[i] = bare.value[low[i] : high[i]].min()
    return lowest if kept is None else np.append(kept, lowest)


def _floor(days: Days, dawn_kg: Floats, dusk_kg: Floats) -> Floats:
    """Give the lowest dawn or dusk weight of the days before, this dawn included [kg].

    Snow lies longer than rain: where it can have been, longer ago counts.
    """
    each = np.fmin(dawn_kg, dusk_kg)
    cold = before_each(days.ambient_cel, SNOW_DAYS, 1, 0.0)
    lately, long = before_each(each, FLOOR_DAYS, 1, 0.0), before_each(each, SNOW_DAYS, 1, 0.0)
    return np.fmin(np.where(cold >= SNOW_CEL, lately, long), dawn_kg)


def _runs(hits: Sequence[Hit]) -> Iterator[list[Hit]]:
    """Join days that follow each other."""
    run: list[Hit] = []
    for hit in hits:
        if run and hit.day - run[-1].day > OVER_DAYS:
            yield run
            run = []
        run.append(hit)
    if run:
        yield run


def _robbed(window: HiveWindow, days: Days, run: Sequence[Hit]) -> Finding:
    """Put a robbing into words and figures."""
    first, last = run[0], run[-1]
    over = last.day + OVER_DAYS
    is_over = over < len(days) and window.as_of_s >= days.dusk_s[over]
    kg = sum(hit.lost_kg for hit in run)
    measures: dict[str, float] = {"kg_lost": round(kg, 2), "days": len(run)}
    evidence = [
        f"{first.lost_kg:.1f} kg went bit by bit between morning and evening, besides the bees out",
        "in the evening, with all bees home, it had not come back"
        if first.at_dusk
        else "the weight is below that of the days before",
    ]
    busy = [hit.busy for hit in run if hit.busy is not None]
    confidence = 0.6
    if busy:
        measures["traffic_times"] = round(max(busy), 1)
        evidence.append(f"up to {max(busy):.1f} times the usual traffic")
        confidence = 0.9 if max(busy) >= BUSY else 0.55
    if len(run) > 1:
        evidence.append(f"{len(run)} such days, {kg:.1f} kg in all")
    return Finding(
        kind="robbing",
        subject=f"hive:{window.hive.id}",
        start_s=first.start_s,
        end_s=int(days.dusk_s[last.day]) if is_over else None,
        detected_s=first.told_s,
        confidence=confidence,
        measures=measures,
        evidence=tuple(evidence),
        status="ended" if is_over else "open",
    )
