"""Does nectar come in: `nectar_flow` and `dearth`, for a yard. Its hives vote.

No published definition of a flow's start and end names a threshold, so these are our own: a flow
begins with two good days of the yard's middle hive, and ends with the day on which what it brought
stood highest, before too much of it was missing again; what those two days alone brought is taken
back then, if it was little. A dearth is the same the other way round:
losses on days on which bees can fly, added up. Weight without steps is taken, from dawn to dawn,
so that neither feeding nor a super counts; a wet lid is no gain.
"""

from __future__ import annotations

from calendar import isleap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from hivewatch.apiary import Yard
from hivewatch.detect import own_flow
from hivewatch.detect.finding import Finding
from hivewatch.signals.bare import before_each
from hivewatch.signals.days import HOUR_S, Days
from hivewatch.signals.window import Floats
from hivewatch.signals.yard import Flags, YardDays, yard_days

# All thresholds: own choice; tests/unit/detect/test_flow.py and the scoreboard hold them.
GOOD_KG = 0.35  # [kg/d] a good day of the yard's middle hive
TWO_GOOD_KG = 0.95  # [kg] of two good days together
WET_KG = 0.3  # [kg] at both its dawns: in a day amid rain no flow begins
DUSK_KG = 0.4  # [kg/d] a good second day, as it is judged at dusk, before the night has ripened it
DUSK_TWO_KG = 0.98  # [kg] together with the first day
DRIED = 0.3  # of the water allowed for at the first dawn that may not have been there
APART_DAYS = 1  # [d] from the first good day to the second, at most
HALF_KG = 0.4  # [kg] of these days, from half of the hives
BESIDE_KG = 0.3  # [kg/d] what a flow brings counts above this
MISSING_KG = 2.0  # [kg] so much of it gone again ends a flow: five poor days
MISSING_MOST_KG = 0.4  # [kg/d] that one day can take: no storm ends a flow
SPURT_KG, SPURT_DAYS = 1.5, 2  # [kg], [d] less within so few: a warm day or two, and no flow
DAWNS_KG = 0.15  # [kg] error of a total by its first and its last dawn, where lids are dry
SPREAD = 0.5  # of the error of the hives' mean: their middle one is off by no more in four of five
ALONE = 0.3  # of its total that a hive may be off by from what its yard's middle hive brings
AGREE_KG = 0.2  # [kg/d] a hive that votes for the flow
IDLE_KG = 0.1  # [kg/d] a loss of so much is no dearth yet
LOST_KG = 1.2  # [kg] lost beyond that begins a dearth: four days of the worst, two weeks of 0.2
LOST_MOST_KG = 0.4  # [kg/d] that one day can take or give: what dries, or a shower
WARM_SHARE = 0.95  # of the light hours: a day so warm leaves time between its showers
DAY_H, TWILIGHT_H = 24.0, 3.0  # [h]; what `Days` leaves out around sunset and sunrise
DEARTH_DAYS = 8  # [d] from its first day to the one that tells it
FLOWN_H = 1.0  # [h/d] with less nobody brings anything
FLYING_H = 4.0  # [h/d] that such a day is light and warm
FLOWN_BEES = 10_000  # [bees/d] out of a hive on such a day: forty a minute in these hours
FLOWN_SHARE, FLOWN_DAYS = 0.25, 14  # of the most of so many days: fewer fly when it is cold
SEASON = (105, 265)  # [d] 15 April to 22 September; without brood to feed there is no dearth
GRAMS = 3  # decimals of a kilogram: a scale of 50 g shows 0.35 kg exactly
HALF_YEAR_D, YEAR_D, FEB = 183, 365, 2
TROPIC = 15.0  # [deg] nearer to the equator it may be any month


@dataclass(frozen=True, slots=True)
class _Flow:
    """A flow by its days: the first, that which told it, the one after the last."""

    first: int
    told: int
    after: int
    over: int | None  # the day that showed that it was over
    told_s: float


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
        `kg_gained`, dawn to dawn and added up from the first day to the last, `kg_error`, within
        which it is in four of five, `kg_a_day`, that by its days, `ripening_kg` that a night took,
        and `hives` that voted.

    References
    ----------
    Cumulative sums that start anew when they fall: E. S. Page, Biometrika 41, 100 (1954). That a
    scale shows "periods without any flow": Human et al. (2013), COLOSS BEEBOOK, miscellaneous
    methods 4.1.3.
    """
    voters = {hive: one for hive, one in days.items() if not np.isnan(one.gain_kg).all()}
    if not voters:
        return []
    together = yard_days(yard, list(voters.values()))
    early, final = (
        np.round(together.typical_kg(one), GRAMS) for one in (together.early_kg, together.gain_kg)
    )
    newest = np.arange(len(final)) >= len(final) - 2  # of these the next dawn may be still to come
    gain = np.where(np.isnan(final) & newest, early, final)
    flows = list(_flows(together, early, gain, _can_be_good(together)))
    return [
        *(
            _flow(yard, list(voters), together, final, gain, one)
            for one in flows
            if not _was_spurt(gain, one)
        ),
        *(
            _dearth(yard, together, final, spell, over=over)
            for spell, over in _dearths(yard, together, final, flows)
        ),
        *own_flow.find(list(voters), list(voters.values()), together),
    ]


def _can_be_good(together: YardDays) -> Flags:
    """Say on which days nectar can have come: bees fly, and by day. Snow falls by night, too."""
    by_day = together.typical_kg(together.day_kg)
    return ~(by_day < GOOD_KG) & ~(together.flying_h < FLOWN_H)


def _flows(together: YardDays, early: Floats, gain: Floats, can_be_good: Flags) -> Iterator[_Flow]:
    """Go through the days: two good ones begin a flow, what is missing ends it."""
    good = -APART_DAYS - 1
    has_rained = np.minimum(together.off_kg, np.append(together.off_kg[1:], 0.0)) >= WET_KG
    day = 0
    while day < len(gain):
        told_s = None
        if can_be_good[day] and day - good <= APART_DAYS:
            told_s = _begun_s(together, early, gain, good, day)
        if told_s is not None:
            after, over = _end(gain, good)
            yield _Flow(good, day, after, over, told_s)
            if over is None:
                return
            day, good = max(after, day + 1), -APART_DAYS - 1
            continue
        if can_be_good[day] and gain[day] >= GOOD_KG and not has_rained[day]:
            good = day
        day += 1


def _begun_s(together: YardDays, early: Floats, gain: Floats, good: int, day: int) -> float | None:
    """Say when two days were seen to begin a flow, whatever may lie on the lids; None if never.

    What a dusk has told stands, though the next dawn may be a little short of it: a finding
    does not hang on the hour at which it is asked for.
    """
    first_kg = float(gain[good]) - DRIED * together.off_kg[good]
    sure_kg = first_kg + early[day] - together.dusk_wet_kg[day]
    is_good = early[day] >= DUSK_KG and sure_kg >= DUSK_TWO_KG
    if is_good and together.has_agreed(good, day, HALF_KG, at_dusk=True):
        return float(together.dusk_s[day])
    sure_kg = first_kg + gain[day] - together.dawn_wet_kg[day]
    is_good = gain[day] >= GOOD_KG and sure_kg >= TWO_GOOD_KG
    if is_good and together.has_agreed(good, day, HALF_KG, at_dusk=False):
        return float(together.dawn_s[day])
    return None


def _end(gain: Floats, first: int) -> tuple[int, int | None]:
    """Give the day after a flow stood highest, and the day that showed it; None while it lasts."""
    level = highest = 0.0
    after = first + 1
    for day in range(first, len(gain)):
        if not np.isnan(gain[day]):
            level += max(float(gain[day]) - BESIDE_KG, -MISSING_MOST_KG)
        if level > highest:
            highest, after = level, day + 1
        if highest - level >= MISSING_KG:
            return after, day
    return len(gain), None


def _was_spurt(gain: Floats, flow: _Flow) -> bool:
    """Say whether what began as a flow was over after a day or two, and brought little."""
    brought_kg = float(np.nansum(gain[flow.first : flow.after]))
    short = flow.after - flow.first <= SPURT_DAYS and brought_kg < SPURT_KG
    return short and flow.over is not None


def _flow(
    yard: Yard, hives: list[str], together: YardDays, final: Floats, gain: Floats, flow: _Flow
) -> Finding:
    """Put one flow into words and figures: `final` by dawns, `gain` as judged at dusk, too."""
    whole = np.flatnonzero(~np.isnan(final[flow.first : flow.after]))
    days = int(whole[-1]) + 1 if len(whole) else flow.after - flow.first  # until the last dawn
    span = slice(flow.first, flow.first + days)
    kg_a_day = float(np.nanmean((final if len(whole) else gain)[span]))
    votes = together.gain_kg[:, span]
    has_voted = ~np.isnan(votes).all(axis=1)
    mean_kg = np.full(len(votes), np.nan)
    mean_kg[has_voted] = np.nanmean(votes[has_voted], axis=1)
    agree, voted = int((mean_kg >= AGREE_KG).sum()), int(has_voted.sum())
    others = [hives[i] for i in np.flatnonzero(mean_kg < AGREE_KG)]
    ripening = together.typical_kg(together.day_kg - together.gain_kg)[span]
    error_kg = _error_kg(together, span, mean_kg[has_voted] * days)
    measures = {
        "kg_a_day": round(kg_a_day, 2),
        "kg_gained": round(kg_a_day * days, 1),
        "kg_error": round(error_kg, 1),
    }
    if not np.isnan(ripening).all():
        measures["ripening_kg"] = round(float(np.nanmedian(ripening)), 2)
    return Finding(
        kind="nectar_flow",
        subject=f"yard:{yard.id}",
        start_s=int(together.start_s[flow.first]),
        end_s=None if flow.over is None else int(together.start_s[flow.after]),
        detected_s=int(flow.told_s),
        confidence=round(0.5 + 0.48 * agree / max(1, voted), 2),
        status="open" if flow.over is None else "ended",
        measures=measures | {"hives": voted},
        evidence=(
            f"the middle hive gained {kg_a_day:.1f} kg a day from dawn to dawn, over {days} days",
            f"{agree} of {voted} hive{'s' * (voted != 1)} gained"
            + (f", not {', '.join(others)}" if others else ""),
        ),
    )


def _error_kg(together: YardDays, span: slice, totals_kg: Floats) -> float:
    """Give how far off a total may be: by water at its ends, and by hives that differ."""
    ends = together.off_kg[[span.start, min(span.stop, len(together.off_kg) - 1)]]
    n = len(totals_kg)
    spread_kg = (
        SPREAD * float(np.std(totals_kg, ddof=1)) / np.sqrt(n)
        if n > 1
        else ALONE * float(np.abs(totals_kg).sum())
    )
    return float(np.sqrt(DAWNS_KG**2 + ((DRIED * ends) ** 2).sum() + spread_kg**2))


def _in_season(yard: Yard, together: YardDays) -> Flags:
    """Say on which days bees have brood to feed, by the calendar of their half of the earth."""
    shift = HALF_YEAR_D if yard.latitude < 0 else 0
    day = [one.timetuple().tm_yday - (one.month > FEB and isleap(one.year)) for one in together.day]
    number = (np.array(day) - 1 + shift) % YEAR_D + 1
    is_tropic = abs(yard.latitude) < TROPIC
    return np.asarray(is_tropic | ((number >= SEASON[0]) & (number <= SEASON[1])), np.bool_)


def _dearths(
    yard: Yard, together: YardDays, gain: Floats, flows: list[_Flow]
) -> Iterator[tuple[tuple[int, int, int], bool]]:
    """Find the spells: first day, day after the last, day that told it; whether it is over.

    What is lost beyond `IDLE_KG` a day adds up from nothing, and starts anew when all of it has
    come back, as far as two dawns tell; so much of it begins a dearth, and so much come back ends
    it where it stood lowest.
    """
    in_season = _in_season(yard, together)
    asked = in_season.copy()
    for flow in flows:
        asked[flow.first : flow.after] = False
    lost = np.where(_could(together, gain) | (gain > 0), -gain - IDLE_KG, 0.0)
    lost = np.nan_to_num(lost).clip(-LOST_MOST_KG, LOST_MOST_KG)
    first, told, last = 0, -1, -1
    level = most = 0.0
    for day in range(len(gain)):
        is_over = told >= 0 and (not asked[day] or most - level - lost[day] >= LOST_KG)
        if is_over:
            yield (first, last + 1 if in_season[day] else day, told), True
        level += lost[day]
        is_none = level <= (DAWNS_KG if lost[day] < 0 else 0.0)
        if is_over or not asked[day] or (told < 0 and is_none):
            first, told, level, most = day + 1, -1, 0.0, 0.0
            continue
        if level >= most:
            most, last = level, day
        if told < 0 and last == day and level >= LOST_KG and day - first + 1 >= DEARTH_DAYS:
            told = day
    if told >= 0:
        yield (first, last + 1, told), False


def _could(together: YardDays, gain: Floats) -> Flags:
    """Say on which days bees could fetch something: dry, warm between showers, or many flew."""
    night_h = (together.dawn_s - together.dusk_s) / HOUR_S + TWILIGHT_H
    is_warm = together.flying_h >= WARM_SHARE * (DAY_H - night_h)
    most = before_each(together.bees_out, FLOWN_DAYS, 1, 1.0)
    flew = together.bees_out >= np.fmax(FLOWN_BEES, FLOWN_SHARE * most)
    is_dry = (together.lid_kg == 0) & (
        (together.flying_h >= FLYING_H) | np.isnan(together.flying_h) & flew
    )
    return np.asarray((is_dry | is_warm) & ~np.isnan(gain), np.bool_)


def _dearth(
    yard: Yard, together: YardDays, gain: Floats, days: tuple[int, int, int], *, over: bool
) -> Finding:
    """Put one dearth into words and figures."""
    first, after, told = days
    kg_a_day, length = float(np.nanmean(gain[first:after])), after - first
    return Finding(
        kind="dearth",
        subject=f"yard:{yard.id}",
        start_s=int(together.start_s[first]),
        end_s=int(together.start_s[after]) if over else None,
        detected_s=int(together.dawn_s[min(told, len(gain) - 1)]),
        confidence=round(min(0.95, 0.6 + max(0.0, -kg_a_day)), 2),
        status="ended" if over else "open",
        measures={"kg_a_day": round(kg_a_day, 2), "kg_gained": round(kg_a_day * length, 1)},
        evidence=(
            f"the middle hive changed by {kg_a_day:+.2f} kg a day over {length} days",
            _flying(together, slice(first, after)),
        ),
    )


def _flying(together: YardDays, span: slice) -> str:
    """Say how bees could fly."""
    if not np.isnan(together.flying_h[span]).all():
        return f"bees could fly {np.nanmean(together.flying_h[span]):.0f} hours a day"
    return f"a hive sent out up to {np.nanmedian(together.bees_out[span]):,.0f} bees a day"
