"""What a hive holds besides bees and brood: supers and what fills them, stores, what comes in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

import numpy as np

from hivewatch.frames import Frame
from hivewatch.inspections import Inspection, stores_kg
from hivewatch.signals.bare import stepped_kg
from hivewatch.signals.daily import daily_of
from hivewatch.signals.days import DAY_S, Days, days_of
from hivewatch.signals.larder import larder_of, likely_kg
from hivewatch.signals.window import Floats, HiveWindow

DAY_H = 24.0
SEASON_DAYS = 240  # [d] own choice: what was put on before that stood through no winter
GAIN_DAYS, GAIN_LEAST = 5, 3  # [d] own choice: the middle of so many days is what comes in now
FRESH_DAYS = 3  # [d] own choice: an older weight says nothing of today
JUDGED_DAYS = 14  # [d] own choice: two rounds; what was judged before is eaten, or more has come


@dataclass(frozen=True)
class Held:
    """What a hive holds, None where nobody knows.

    Parameters
    ----------
    supers : int
        Standing on it, as visits say.
    filled_kg : float or None
        Honey that has come into them; 0 without any. [kg]
    gain_kg : float or None
        What it gains a day at present, from dawn to dawn. [kg/d]
    stores_kg : float or None
        Honey in all of the hive. [kg]
    stores_on : date or None
        The day of that.
    is_weighed : bool
        Whether a scale tells the stores; else a visit judged them.
    eaten_kg : float or None
        What it takes of them a day, as nights after idle days show. [kg/d]
    lacks_empty : bool
        A scale would tell the stores, if anybody knew what the empty hive weighs.
    """

    supers: int = 0
    filled_kg: float | None = 0.0
    gain_kg: float | None = None
    stores_kg: float | None = None
    stores_on: date | None = None
    is_weighed: bool = False
    eaten_kg: float | None = None
    lacks_empty: bool = False


NOTHING_HELD = Held(filled_kg=None)


def held_of(
    window: HiveWindow,
    noted: Sequence[Inspection],
    frame: Frame,
    box_combs: int,
    zone: tzinfo,
    as_of: date,
) -> Held:
    """Say what a hive holds.

    Parameters
    ----------
    window : HiveWindow
        Up to the moment; takes `weight`.
    noted : Sequence[Inspection]
        What was seen and done, up to the moment.
    frame : Frame
        Of the brood boxes.
    box_combs : int
        Combs in one box.
    zone : tzinfo
        Of the yard.
    as_of : date
        The local day of the moment.
    """
    days = days_of(window)
    bare_kg = days.dawn_kg - stepped_kg(days, days.dawn_s)
    supers, filled_kg = _supers(days, bare_kg, noted, box_combs * frame.super_kg, as_of)
    weighed, eaten = None, None
    if window.has("weight"):
        larder = larder_of(window, noted)
        weighed = _last(days, larder.stores_kg, as_of)
        if weighed is not None:
            at = days.day.index(weighed[1])
            weighed = likely_kg(weighed[0], float(larder.error_kg[at])), weighed[1]
        eaten = _last(days, daily_of(window).rest_kg_per_h * DAY_H, as_of)
    kg, on = weighed or _judged(noted, frame, zone, as_of) or (None, None)
    lacks_empty = kg is None and window.has("weight") and window.hive.empty_kg is None
    eaten_kg = None if eaten is None else eaten[0]
    return Held(
        supers, filled_kg, _gain(days, as_of), kg, on, weighed is not None, eaten_kg, lacks_empty
    )


def supers_on(noted: Sequence[Inspection]) -> int:
    """Count the supers that stand, as visits say; a harvest takes all of them."""
    supers = 0
    for one in sorted(noted, key=lambda one: one.at_s):
        for action in one.actions:
            supers = _stand(supers, action.what)
    return supers


def _stand(supers: int, what: str) -> int:
    """Give the supers that stand after something was done."""
    if what == "harvested":
        return 0
    return max(0, supers + {"super added": 1, "super removed": -1}.get(what, 0))


def _supers(
    days: Days, bare_kg: Floats, noted: Sequence[Inspection], super_kg: float, as_of: date
) -> tuple[int, float | None]:
    """Count the supers that stand, and the honey that has come since they went on.

    What comes in goes into the supers while one is on: they are put on when there is no room below
    (common practice, no source). Who takes one off takes a full one; a harvest takes all.
    """
    since_s = datetime(as_of.year, as_of.month, as_of.day, tzinfo=UTC).timestamp()
    since_s -= SEASON_DAYS * DAY_S
    known = np.flatnonzero(np.isfinite(bare_kg))
    first_s = float(days.dawn_s[known[0]]) - DAY_S if known.size else np.inf
    supers, filled_kg, before_kg = 0, 0.0, 0.0
    is_known = True
    done = sorted((one.at_s, action.what) for one in noted for action in one.actions)
    for at_s, what in (*((at, what) for at, what in done if at >= since_s), (np.inf, "")):
        now_kg = 0.0
        if known.size:
            now_kg = float(np.interp(at_s, days.dawn_s[known], bare_kg[known]))
        if supers:
            is_known = is_known and known.size > 0
            filled_kg = max(0.0, filled_kg + now_kg - before_kg)
        before_kg = now_kg
        if what == "super added" and not supers:
            is_known = at_s >= first_s
        elif what == "super removed":
            filled_kg = max(0.0, filled_kg - super_kg)
        supers = _stand(supers, what)
        filled_kg = filled_kg if supers else 0.0
    return supers, filled_kg if is_known or not supers else None


def _gain(days: Days, as_of: date) -> float | None:
    """Give the middle gain of the last days that are known. [kg/d]."""
    lately = [
        float(kg)
        for day, kg in zip(days.day, days.gain_kg, strict=True)
        if as_of - timedelta(days=GAIN_DAYS) <= day < as_of and np.isfinite(kg)
    ]
    return float(np.median(lately)) if len(lately) >= GAIN_LEAST else None


def _last(days: Days, figures: Floats, as_of: date) -> tuple[float, date] | None:
    """Give the last figure that is known, and its day; None where it is old."""
    for day, figure in zip(reversed(days.day), reversed(figures.tolist()), strict=True):
        if day < as_of - timedelta(days=FRESH_DAYS):
            return None
        if np.isfinite(figure):
            return figure, day
    return None


def _judged(
    noted: Sequence[Inspection], frame: Frame, zone: tzinfo, as_of: date
) -> tuple[float, date] | None:
    """Give the stores as the last visit judged them. [kg]."""
    for one in sorted(noted, key=lambda one: one.at_s, reverse=True):
        day = one.at.astimezone(zone).date()
        kg = stores_kg(one, frame)
        if day < as_of - timedelta(days=JUDGED_DAYS):
            return None
        if kg is not None:
            return kg, day
    return None
