"""Is a hive robbed without a fight: `robbing` that only its neighbours' gain shows.

Silent robbing takes some hundred grams a day for weeks, and the traffic is no heavier than usual.
By its own weight such a hive looks like any other in a dearth; but a day is the same for the whole
yard. So the yard is looked at: what a hive falls behind the others, beside what it usually does and
what they differ among themselves, adds up from nothing; when it loses by day, does worse than every
one of them and worse than before, no fewer of its bees fly, and its nights are what they were, it
is being robbed: who starves loses by night as well. Where bees are counted and more fly than the
neighbours' tell, as many as could carry it, that is the robbers themselves (`signals.raids`): a day
or two then tell it. What goes in a day, with a fight, is told by the hive's own weight; what that
tells, and the days after it, are left out here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np

from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.signals.bare import before_each
from hivewatch.signals.beside import (
    Beside,
    above_of,
    before_each_row,
    middle_of,
    nearly_least,
    off_of,
    others_of,
    side_by_side,
)
from hivewatch.signals.days import Days
from hivewatch.signals.raids import LEAST_BEES, raided_kg
from hivewatch.signals.robbed import BEE_KG
from hivewatch.signals.window import Floats

# All thresholds: own choice; tests/unit/detect/test_silent_robbing.py.
BEFORE_DAYS, LEAST_BEFORE = 16, 5  # days that tell how far behind it usually is; known ones of them
BESIDE_KG = 0.1  # [kg/d] behind the middle one of the others, and the usual, counts for nothing,
BESIDE_FLOW = 0.65  # nor does this share of what they gain: no two colonies bring the same,
APART = 1.0  # nor how far the others are from the middle one, the middle figure of theirs
BEHIND_KG = 0.6  # [kg] behind beside all that, added up, is told: three days of half a kilogram;
LEAST_KG, TIMES_OFF = 0.25, 3.0  # [kg] less, but so much, and times what it is mostly off the usual
MOST_DAYS = 0.8  # share of the days before on which it is less off than that
ALONE, ALONE_DAYS = 1.4, 2  # times that, and days, where nobody counts: bees may have stayed out
ONE_OTHER = 3.0  # times that where one other hive alone tells how the day was
FOOD_KG = 0.5  # [kg] of a day's food at most came in: after a great flow nectar dries
WET_DAYS = 2  # [d] before, whose nights may have brought rain that dries
COUNTER_ERROR = 0.03  # of the bees out, beside its own ratio of the days before
AWAY_BEES = 3000.0  # [bees] stay away at most: a busy counter misses more than a hive can lose
MOST_KG = 1.5  # [kg/d] that a day can add or take
NOW_DAYS = 2  # [d] that tell what it falls behind now
SPELL_DAYS = 16  # [d] looked at together at most
MEAN_KG = 0.15  # [kg/d] behind in the mean of the spell, beside the usual
WORST_KG = 0.1  # [kg/d] behind the poorest of the others
LOSES_KG = 0.15  # [kg] by day
FLOW_KG = 0.5  # [kg/d] of the others: in such a flow a weak hive falls behind, but eats its own
NIGHT_KG = 0.08  # [kg] more a night than the others, and the usual: it starves, or something dries
MORE = 1.3  # times its usual share: those are robbers, whatever its own bees missed
FEWER_KG = 0.2  # [kg/d] beyond its food: with fewer bees it brings less by itself, but not that
FEW = 0.95  # times its usual share of the traffic: with less, what it does not bring is its own
FEWEST = 0.85  # times its usual share of the traffic: with less, its own bees are lost, and weigh
FALLS_KG, FALLS_SHARE = 0.15, 0.4  # [kg] by day less than lately, and so much of what it is behind:
LATELY = 6, 2  # [d] before, known ones of them: a flow that it misses is no robbing
RAID_KG = 0.2  # [kg/d] behind where its robbers were counted, counts for nothing,
RAIDS_KG = 0.6  # [kg] and so much beside it, added up, is told: half a kilogram on two days,
RAIDS_LEAST_KG, RAIDS_TIMES_OFF = 0.25, 1.5  # [kg] or less, as above
WELL_KG, WELL_DAYS = 0.2, 4  # [kg/d] behind beside the usual, [d] in a row: it is over
UNKNOWN_DAYS = 10  # [d] and it is not known any longer


def find(_yard: Yard, days: Mapping[str, Days]) -> list[Finding]:
    """Say which hives of a yard are robbed silently.

    Parameters
    ----------
    days : Mapping
        Hive -> its days, all up to the same moment.

    Returns
    -------
    list[Finding]
        Of kind `robbing`; `kg_behind_yard` is what it falls behind in a day.

    References
    ----------
    Cumulative sums that start anew when they fall: E. S. Page, Biometrika 41, 100 (1954); the most
    likely day of a change: D. V. Hinkley, Biometrika 57, 1 (1970).
    """
    weighed = {hive: one for hive, one in sorted(days.items()) if not np.isnan(one.day_kg).all()}
    if len(weighed) < 2:  # noqa: PLR2004 - one other hive tells how the day was
        return []
    yard = side_by_side(list(weighed.values()))
    return [
        _robbed(hive, row, yard, spell)
        for row, hive in enumerate(weighed)
        for spell in _spells(yard, row)
    ]


class _Sum:
    """What adds up from day to day, and begins anew where nothing is left or nobody knows."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self.kg, self.first, self._last = 0.0, -1, -1

    def since(self, day: int) -> int:
        """Give the first of the days that add up, which a day would go on or begin."""
        if day - self._last > UNKNOWN_DAYS or day - self.first >= SPELL_DAYS:
            self.kg, self.first = 0.0, -1
        return day if self.first < 0 else self.first

    def add(self, day: int, kg: float) -> float:
        """Add a day, if it is known; gives what has added up."""
        if not np.isnan(kg):
            self.first, self.kg, self._last = self.since(day), max(self.kg + kg, 0.0), day
            self.first = self.first if self.kg else -1
        return self.kg


class _Spell(NamedTuple):
    """Days on which a hive was robbed, by their places."""

    first: int
    told: int
    well: int | None  # the first on which it keeps up again
    is_seen: bool  # robbers were counted


def _spells(yard: Beside, row: int) -> Iterator[_Spell]:
    """Give the spells in which a hive was robbed."""
    own = _Own(yard, row)
    raids_kg = raided_kg(yard, row) - np.fmax(np.fmin(RAID_KG, own.off), own.hungrier)
    plain = _more(yard.plain[row], np.delete(yard.plain, row, axis=0))
    usual = np.nan_to_num(_usual(plain))
    behind, raids, free = _Sum(), _Sum(), 0
    for day in np.flatnonzero(~np.isnan(plain)).tolist():
        if day < free:
            continue
        first = behind.since(day)
        kg = behind.add(day, own.behind_kg(first, day))
        since = own.told_since(first, day, kg) if kg else None
        base = float(own.usual[first])
        raided = raids.add(day, float(raids_kg[day]))
        is_seen = raided > 0 and raided >= own.raids_told_kg(raids.first, day)
        if is_seen:
            base = float(usual[raids.first])
            since = _since(plain - base, raids.first, day)
        if since is None:
            continue
        well, free = _well(plain - base, day)
        yield _Spell(since, day, well, is_seen)
        behind, raids = _Sum(), _Sum()


class _Own:
    """A hive beside the others of its yard."""

    def __init__(self, yard: Beside, row: int) -> None:
        """Work out what is usual on each day, by the days before."""
        self.own, self.others = yard.gain[row], np.delete(yard.gain, row, axis=0)
        self.middle, self.eaten = middle_of(self.others), yard.eaten[row]
        self.count = (~np.isnan(self.others)).sum(axis=0)
        self.more = _more(self.own, self.others)
        hungrier = above_of(self.eaten, np.delete(yard.eaten, row, axis=0))
        leaner = before_each(self.middle, BEFORE_DAYS, LEAST_BEFORE) - self.middle
        self.hungrier = np.minimum(hungrier, np.nan_to_num(np.maximum(leaner, 0.0)))
        self.usual = _usual(self.more)
        night = np.maximum(-yard.night, 0.0)
        self.wet = above_of(night[row], np.delete(night, row, axis=0))
        income_kg = np.maximum(self.middle + np.fmin(self.eaten, FOOD_KG), 0.0)
        self.off = off_of(self.more, income_kg, (BEFORE_DAYS, LEAST_BEFORE, MOST_DAYS))
        self.apart = middle_of(np.abs(self.others - self.middle))
        self.beside = BESIDE_KG + APART * self.apart
        self.day = yard.day[row]
        flown = others_of(yard.out, row)
        self.share = yard.out[row] / np.where(flown >= LEAST_BEES, flown, np.nan)
        self.usual_share = before_each_row(self.share, BEFORE_DAYS, LEAST_BEFORE)
        self.night = yard.night[row] - middle_of(np.delete(yard.night, row, axis=0))
        self.usual_night = before_each(self.night, BEFORE_DAYS, LEAST_BEFORE)
        usual_own = before_each(self.own, BEFORE_DAYS, LEAST_BEFORE)
        self.before = np.fmin(usual_own, before_each(self.own, *LATELY))
        self.away = _away_kg(yard.out[row], yard.back[row])

    def behind_kg(self, first: int, day: int) -> float:
        """Give what a day adds to a spell that began on the first day; NaN where it is unknown."""
        usual_kg = max(self.usual[first], self.hungrier[day])
        kg = float(self.more[day] - self.beside[day] - usual_kg)
        return kg if np.isnan(kg) else min(max(kg, -MOST_KG), MOST_KG)

    def raids_told_kg(self, first: int, day: int) -> float:
        """Give how much must be carried off by robbers that are counted."""
        off = RAIDS_TIMES_OFF * _mean(self.off[first : day + 1])
        return max(off, RAIDS_LEAST_KG) + self.other_kg(first, day)

    def other_kg(self, first: int, day: int) -> float:
        """Give what rain that dries, and bees that stayed away, may take of what it is behind."""
        wet = self.wet[max(first - WET_DAYS, 0) : first].sum()
        return float(wet + np.nansum(self.away[first : day + 1]))

    def flies(self, first: int, span: slice) -> float:
        """Give how many of its bees fly, times the usual beside nearly all neighbours."""
        share = np.array([_mean(one[span]) for one in self.share])
        usual = self.usual_share[:, first]
        return float(nearly_least((share / np.where(usual > 0, usual, np.nan))[:, np.newaxis])[0])

    def told_since(self, first: int, day: int, kg: float) -> int | None:
        """Give since when a hive is robbed that has fallen so far behind; None while it is not."""
        off = _mean(np.fmax(self.off, self.apart)[first : day + 1])
        told_kg = min(max(TIMES_OFF * off, LEAST_KG), BEHIND_KG)
        told_kg *= 1.0 if self.count[day] > 1 else ONE_OTHER
        kg -= self.other_kg(first, day)
        if np.isnan(self.more[day]) or kg < told_kg:
            return None
        base = float(self.usual[first])
        since = _since(self.more - base, first, day)
        span = slice(since, day + 1)
        mine, yard = _mean(self.own[span]), _mean(self.middle[span])
        flies, behind = self.flies(first, span), yard - mine - base
        eats = mine + _mean(self.eaten[span]) > -FEWER_KG
        if flies < FEWEST or (eats and (yard >= FLOW_KG or flies < FEW)):
            return None
        if np.isnan(flies) and (kg < ALONE * told_kg or day - since < ALONE_DAYS - 1):
            return None
        # tonight's loss is not known yet
        if _mean(self.night[since:day]) - self.usual_night[first] > NIGHT_KG:
            return None
        fell_kg = self.before[since] - mine
        fell = fell_kg >= max(FALLS_KG, FALLS_SHARE * behind) or flies >= MORE
        poorest = np.fmin.reduce(self.others[:, span], axis=0)
        is_robbed = (
            fell
            and _mean(self.day[span]) <= mine / 2
            and mine < -LOSES_KG
            and behind > MEAN_KG
            and _mean(poorest - self.own[span]) > WORST_KG
        )
        return since if is_robbed else None


def _usual(more_kg: Floats) -> Floats:
    """Give how far behind a hive usually is, by the days before each; 0 where it is ahead."""
    return np.maximum(before_each(more_kg, BEFORE_DAYS, LEAST_BEFORE), 0.0)


def _more(own: Floats, others: Floats) -> Floats:
    """Give how much more the others gained, beside what a flow makes of it."""
    middle = middle_of(others)
    return np.asarray(middle - own - BESIDE_FLOW * np.maximum(middle, 0.0))


def _away_kg(out: Floats, back: Floats) -> Floats:
    """Give what the bees weigh that stayed away, beyond what its counter is mostly off [kg]."""
    ratio = back / np.where(out > 0, out, np.nan)
    fewer = before_each(ratio, BEFORE_DAYS, LEAST_BEFORE) - ratio
    off = before_each(np.abs(fewer), BEFORE_DAYS, LEAST_BEFORE, MOST_DAYS)
    away = out * np.maximum(fewer - np.fmax(off, COUNTER_ERROR), 0.0)
    return np.asarray(BEE_KG * np.minimum(away, AWAY_BEES))


def _mean(figures: Floats) -> float:
    """Give the mean of those that are known; NaN where none is."""
    known = figures[~np.isnan(figures)]
    return float(known.mean()) if len(known) else np.nan


def _since(more_kg: Floats, first: int, told: int) -> int:
    """Give the day on which what it falls behind rose to what it is now: the likeliest one."""
    now = _mean(more_kg[max(first, told - NOW_DAYS + 1) : told + 1])
    rising = np.nan_to_num(more_kg[first:told] - now / 2)
    return first + int(np.argmin(np.append(0.0, np.cumsum(rising))))


def _well(more_kg: Floats, told: int) -> tuple[int | None, int]:
    """Give the first of the days in a row on which it keeps up again, and when that is known.

    Until then nothing new is told; None and the number of days while it does not keep up.
    """
    well: list[int] = []
    last = told
    for day in (told + 1 + np.flatnonzero(~np.isnan(more_kg[told + 1 :]))).tolist():
        if day - last > UNKNOWN_DAYS:
            return last + 1, day
        last = day
        well = [*well, day] if more_kg[day] < WELL_KG else []
        if len(well) == WELL_DAYS:
            return well[0], day + 1
    return None, len(more_kg)


def _robbed(hive: str, row: int, yard: Beside, spell: _Spell) -> Finding:
    """Put a silent robbing into words and figures."""
    first, told, well, is_seen = spell
    span = slice(first, told + 1)
    middle = _mean(middle_of(np.delete(yard.plain, row, axis=0))[span])
    mine = _mean(yard.plain[row, span])
    return Finding(
        kind="robbing",
        subject=f"hive:{hive}",
        start_s=int(yard.begin_s[first]),
        end_s=None if well is None else int(yard.dusk_s[well - 1]),
        detected_s=int(yard.dusk_s[told]),
        confidence=0.8 if is_seen else 0.7,
        measures={"kg_behind_yard": round(middle - mine, 2)},
        evidence=(
            f"by day it changed by {mine:+.2f} kg, the yard's middle hive by {middle:+.2f} kg",
            "before that it kept up with the others, and now it is behind every one of them",
            *(["as many more bees flew there as could carry that off"] if is_seen else []),
        ),
        status="open" if well is None else "ended",
    )
