"""Three weeks back, three weeks ahead, from what visits counted and sensors say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from hivewatch.comb.calendar import EMERGENCY_EGGS_DAYS
from hivewatch.comb.colony import Colony, empty_days
from hivewatch.comb.course import NEVER, Course, begin, meet, run_to
from hivewatch.comb.held import NOTHING_HELD, Held
from hivewatch.comb.need import Need, need_of
from hivewatch.comb.past import FIGURES, add_day, figures
from hivewatch.comb.priors import Traits, stream
from hivewatch.comb.reading import WITHIN, Range
from hivewatch.comb.room import Boxes, Room, room_of
from hivewatch.comb.sensed import NOTHING, Sensed
from hivewatch.comb.stages import WORKER, Floats
from hivewatch.comb.start import BEE_LIFE_DAYS, LAYING_MAX, MEMBERS, Visit
from hivewatch.frames import Frame
from hivewatch.signals.season import is_laying_season, laying_growth, laying_level

AHEAD_DAYS = BACK_DAYS = 21

VISIT_TOO_OLD_DAYS = 60
"""Visits longer ago are not started from. Own choice: by then no bee that was counted as brood is a
house bee, and summer adults have been replaced once."""

RESUMES = 0.3
"""Part of members whose queen lays again, where laying had stopped. Own choice: the median then
says no eggs and the 80 % range reaches up to a new queen's laying."""

WORKERS_LAY_DAYS = 21
"""Days without open brood after which workers begin to lay: three to four weeks after the loss of a
queen, from memory; losing open brood for three weeks, common practice, no source."""


@dataclass(frozen=True)
class Hive:
    """What must be known of a hive besides its visits.

    Parameters
    ----------
    hive : str
        Its id.
    latitude : float
        Of its yard. [deg]
    seams : float or None
        Seams between the combs of all boxes that bees may use; None where the frames are not known.
    bees_a_seam : float or None
        Bees on both combs of a full seam.
    seed : int
        For its members; the same seed gives the same numbers.
    frame : Frame or None
        Of the brood boxes; None where nobody says.
    box_combs : int
        Combs in one box.
    """

    hive: str
    latitude: float
    seams: float | None = None
    bees_a_seam: float | None = None
    seed: int = 0
    frame: Frame | None = None
    box_combs: int = 0

    @property
    def boxes(self) -> Boxes:
        """Its boxes, without supers."""
        return Boxes(self.seams, self.bees_a_seam, self.frame, self.box_combs)


@dataclass(frozen=True)
class Outlook:
    """The colony from 21 days back to 21 ahead; `day` 0 is `as_of`.

    `laying` has days -21 to 21; so has each of `past.FIGURES` in `figures`, but none before the
    first visit that the outlook rests on. `workers_lay_from` is by when workers may lay, where open
    brood is missing.
    """

    hive: str
    as_of: date
    visit: Visit
    laying: dict[int, Range]
    figures: dict[str, dict[int, Range]]
    room: Room
    need: Need
    restarted_on: date | None
    workers_lay_from: date | None = None

    @property
    def adults(self) -> dict[int, Range]:
        """Adult workers, from today on."""
        return self._from_today("adults")

    @property
    def foragers(self) -> dict[int, Range]:
        """Foragers among them, from today on."""
        return self._from_today("foragers")

    @property
    def emerging(self) -> dict[int, Range]:
        """Bees that emerge on a day, from today on."""
        return self._from_today("emerging")

    @property
    def brood(self) -> dict[str, Range]:
        """Cells of each stage, today."""
        return {stage: self.figures[stage][0] for stage in ("eggs", "open", "capped")}

    def _from_today(self, name: str) -> dict[int, Range]:
        return {day: span for day, span in self.figures[name].items() if day >= 0}


def look_ahead(
    hive: Hive,
    visits: Sequence[Visit],
    as_of: date,
    sensed: Sensed = NOTHING,
    members: int = MEMBERS,
    held: Held = NOTHING_HELD,
    within: float = WITHIN,
) -> Outlook | None:
    """Say how a colony stands and what it will be.

    Starts from the first usable visit of the last `VISIT_TOO_OLD_DAYS`, moves on day by day,
    brings in each later visit, and then goes on for three weeks.

    Parameters
    ----------
    hive : Hive
        Where it stands and what room it has.
    visits : Sequence[Visit]
        In any order; those after `as_of` are not looked at.
    as_of : date
        Local day.
    sensed : Sensed
        What sensors say of the days; the season's mean stands for what they do not.
    members : int
        Size of the ensemble.
    held : Held
        Supers, stores, and what comes in.
    within : float
        How often a range is to hold the truth.

    Returns
    -------
    Outlook or None
        None when nothing usable was counted.
    """
    oldest = as_of - timedelta(days=VISIT_TOO_OLD_DAYS)
    usable = sorted(
        (v for v in visits if oldest <= v.day <= as_of and v.says_something), key=lambda v: v.day
    )
    while usable and not usable[0].can_start:
        usable.pop(0)
    if not usable:
        return None
    course = begin(usable[0], hive.seed, hive.latitude, sensed, members)
    for visit in usable[1:]:
        course = meet(_lived(course, visit.day, as_of), visit)
    return _ahead(hive, _lived(course, as_of, as_of), as_of, held, within)


def _lived(course: Course, until: date, as_of: date) -> Course:
    """Move on to the end of another day, and remember the last three weeks."""
    course = run_to(course, min(until, max(course.day, as_of - timedelta(days=BACK_DAYS))))
    while course.day < until:
        course = replace(course, past=add_day(course.past, course.colony, course.emerged))
        course = run_to(course, course.day + timedelta(days=1))
    return course


def _ahead(hive: Hive, course: Course, as_of: date, held: Held, within: float) -> Outlook:
    """Go on for three weeks and keep the ranges."""
    alive = _alive_by_age(course.traits)
    laying = {
        -age - 1: one for age, one in enumerate(_ranges(course.colony.brood[:, 0] / alive, within))
    }
    now, days = course.colony, list(np.expm1(course.past))
    first = -len(days)
    course = _resumes(course, hive, as_of)
    laid = []
    for ahead in range(AHEAD_DAYS + 1):
        course = run_to(course, as_of + timedelta(days=ahead))
        laid.append(course.traits.laying[0])
        days.append(figures(course.colony, course.emerged))
    laying |= dict(enumerate(_ranges(laid, within)))
    by_figure = {
        name: dict(enumerate(_ranges([day[place] for day in days], within), start=first))
        for place, name in enumerate(FIGURES)
    }
    adults = {day: span for day, span in by_figure["adults"].items() if day >= 0}
    cells = sum(by_figure[stage][0].median for stage in ("eggs", "open", "capped"))
    return Outlook(
        hive.hive,
        as_of,
        course.visit,
        dict(sorted(laying.items())),
        by_figure,
        room_of(hive.boxes, held, adults, cells, as_of, hive.latitude),
        need_of(held, adults, laying, as_of, hive.latitude),
        course.restarted,
        _workers_lay_from(now, hive.latitude, as_of),
    )


def _alive_by_age(traits: Traits) -> Floats:
    hazard = WORKER.daily_loss()[:, None] * np.asarray(traits.brood_loss[0], np.float64)
    return np.asarray(np.exp(-(np.cumsum(hazard, axis=0) - hazard)))


def _ranges(rows: Sequence[Floats] | Floats, within: float) -> list[Range]:
    """Read the range of each row's members off, as np.quantile, many times as fast."""
    tail = (1.0 - within) / 2.0
    ordered = np.sort(np.asarray(rows, np.float64), axis=1)
    members = ordered.shape[1]
    places = (members - 1) * np.array([tail, 0.5, 1.0 - tail])
    before = places.astype(np.int64)
    low, high = ordered[:, before], ordered[:, np.minimum(before + 1, members - 1)]
    return [Range(*row) for row in (low + (places - before) * (high - low)).tolist()]


def _resumes(course: Course, hive: Hive, as_of: date) -> Course:
    """Draw when members whose queen does not lay begin again, and how much they lay.

    In the season that is a new queen, after the days that she needs; one that is due already keeps
    her day. In winter it is the old one: any day while days grow longer, not before.
    """
    colony, laying = course.colony, course.traits.laying[0]
    generator = stream(hive.seed, as_of, "laying again")
    draws = generator.uniform(size=(2, laying.size))
    ahead = as_of + timedelta(days=AHEAD_DAYS)
    level = laying_level(ahead, hive.latitude)
    if not is_laying_season(as_of, hive.latitude):
        rising = laying_growth(ahead, ahead - timedelta(days=1), hive.latitude) > 1.0
        wait, chance = 1.0 + 2 * AHEAD_DAYS * draws[0], 1.0 if rising else 0.0
    else:
        first, last = EMERGENCY_EGGS_DAYS
        first = max(1, first - empty_days(colony))
        wait, chance = first + (last - first) * draws[0], RESUMES
    due = (course.again > as_of.toordinal()) & (course.again < NEVER)
    stopped = (laying < 1.0) & ~due
    usual = np.asarray(colony.adults[0], np.float64) / BEE_LIFE_DAYS * level
    laid = np.minimum(np.maximum(usual, colony.brood[:, 0].max(axis=0)), LAYING_MAX)
    drawn = np.where(draws[1] < chance, as_of.toordinal() + np.ceil(wait), NEVER)
    return replace(
        course,
        again=np.where(stopped, drawn, course.again),
        again_laying=np.where(stopped, laid, course.again_laying),
    )


def _workers_lay_from(colony: Colony, latitude: float, as_of: date) -> date | None:
    """Say when open brood will have been missing so long that workers begin to lay.

    Not later than that, where all brood is gone: then the last egg may be older than it could show.
    None where open brood is there, and in winter, when a colony rests without.
    """
    empty = empty_days(colony)
    adults = float(np.median(colony.adults))
    if adults < 1 or empty < WORKER.cap_day or not is_laying_season(as_of, latitude):
        return None
    return as_of + timedelta(days=WORKER.cap_day + WORKERS_LAY_DAYS - empty)
