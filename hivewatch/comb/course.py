"""From a visit to today: the colony day by day, with what sensors say of the days in between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

import numpy as np

from hivewatch.comb.assimilate import bring_in, first_colony
from hivewatch.comb.colony import Colony, empty_days, join_hives, take_hives
from hivewatch.comb.done import Change, change, lost, swarmed
from hivewatch.comb.follow import follow_foragers
from hivewatch.comb.laying_told import AROUND_DAYS, Told, turn, worth_of_failing
from hivewatch.comb.nest import choose, fit
from hivewatch.comb.own import draw_own, season_of, wander
from hivewatch.comb.past import days_of_rows, no_days, rows_of
from hivewatch.comb.priors import DRIFTING, Traits, draw_noise, join_traits, stream, take_traits
from hivewatch.comb.queen import (
    STOPPED_PART,
    come_back,
    expected_laying,
    wait_for_eggs,
    worth_by_laying,
)
from hivewatch.comb.rates import CHUNK_HIVES, Day, advance_one_day
from hivewatch.comb.sensed import Sensed, against_usual, days_between
from hivewatch.comb.stages import Floats
from hivewatch.comb.start import LAYING_MAX, Visit
from hivewatch.signals.season import (
    growths_by_season,
    is_laying_season,
    usual_flying,
    winter_shares,
)

USUAL_FLOW_KG = 0.6
"""Income on a full flying day where no scale says it. Own choice: a season's honey and the colony's
own need, some 90 kg over 150 days."""

NEVER = np.inf


@dataclass(frozen=True)
class Course:
    """One hive at the end of a day, in all its members.

    Parameters
    ----------
    colony, traits : Colony, Traits
        Bees, brood, and what each member supposes.
    own : Floats
        What is the hive's own, on the log scale, shape (6, members): see `comb.own`.
    again, again_laying : Floats
        The day (ordinal) on which a queen begins to lay, `NEVER` for none; and how much.
    emerged : Floats
        Bees that emerged today.
    past : Floats
        The days before, as `comb.past` keeps them.
    day, visit : date, Visit
        This day, and the last visit.
    restarted : date or None
        When a visit was so far off that the colony was drawn afresh.
    seed, latitude, sensed
        What does not change.
    """

    colony: Colony
    traits: Traits
    own: Floats
    again: Floats
    again_laying: Floats
    emerged: Floats
    past: Floats
    day: date
    visit: Visit
    restarted: date | None
    seed: int
    latitude: float
    sensed: Sensed
    against_usual: float

    def days_of(self, dates: Sequence[date]) -> list[Day]:
        """Make the day of each date from what is known of it and its season."""
        later_d, fall = season_of(self.own)
        growth = growths_by_season(dates, self.latitude, later_d)
        growth = np.where(growth < 1.0, growth**fall, growth).astype(np.float32)
        share = winter_shares(dates, self.latitude, later_d).astype(np.float32)
        days = []
        for place, day in enumerate(dates):
            usual = min(1.0, self.against_usual * usual_flying(day, self.latitude))
            flown = self.sensed.flying.get(day, usual)
            flow = self.sensed.flow_kg.get(day, USUAL_FLOW_KG * flown)
            weather = [np.full((1, 1), value, np.float32) for value in (flown, flow)]
            season = share[place : place + 1], growth[place : place + 1]
            days.append(Day(weather[0], weather[1], *season))
        return days


def begin(visit: Visit, seed: int, latitude: float, sensed: Sensed, members: int) -> Course:
    """Start from a visit."""
    none = np.zeros(members)
    empty = Colony(*(np.empty((0, 1, members), np.float32) for _ in range(4)))
    nobody = Traits(*(none[None] for _ in DRIFTING))
    own = draw_own(stream(seed, visit.day, "own"), members)
    wait = np.full(members, NEVER)
    usual = against_usual(sensed, latitude)
    course = Course(
        *(empty, nobody, own, wait, none, none, no_days(members), visit.day, visit, None),
        *(seed, latitude, sensed, usual),
    )
    colony, traits = first_colony(visit, seed, course.days_of, latitude, members)
    emerged = np.asarray(colony.brood[-1, 0], np.float64)
    own[3] = worth_by_laying(
        *(own[3], traits.laying[0], colony.adults[0], visit.day, latitude, season_of(own))
    )
    course = replace(course, colony=colony, traits=traits, own=own, emerged=emerged)
    return _done(_requeen(course), visit)


def run_to(course: Course, until: date) -> Course:
    """Move on to the end of another day."""
    return run_together([course], until)[0]


def run_together(courses: Sequence[Course], until: date) -> list[Course]:
    """Move many hives on to the end of another day: each as if it were alone, but sooner."""
    moved = list(courses)
    for day in days_between(min(one.day for one in moved), until):
        due = [place for place, one in enumerate(moved) if one.day < day]
        for first in range(0, len(due), CHUNK_HIVES):
            places = due[first : first + CHUNK_HIVES]
            for place, one in zip(
                places, _next_day([moved[place] for place in places], day), strict=True
            ):
                moved[place] = one
    return moved


def _next_day(courses: Sequence[Course], day: date) -> list[Course]:
    """Move some hives on by a day, and take in what their sensors say of it."""
    noise = draw_noise([one.seed for one in courses], day, courses[0].own.shape[1])
    traits = join_traits([_come_back(lay_again(one, day), one) for one in courses])
    owns = [wander(one.own, stream(one.seed, day, "own")) for one in courses]
    here = [one.days_of([day])[0] for one in courses]
    flying = [one.flying * np.exp(own[2]) for one, own in zip(here, owns, strict=True)]
    together = Day(
        np.concatenate(flying).astype(np.float32),
        *(
            np.concatenate([getattr(one, name) for one in here])
            for name in ("flow_kg", "winter_share", "season_growth")
        ),
    )
    colony, traits, ledger = advance_one_day(
        join_hives([one.colony for one in courses]), traits, together, noise
    )
    after = [
        replace(
            one,
            colony=take_hives(colony, slice(place, place + 1)),
            traits=take_traits(traits, slice(place, place + 1)),
            own=owns[place],
            emerged=np.asarray(ledger.emerged[place], np.float64),
            day=day,
        )
        for place, one in enumerate(courses)
    ]
    return _follow([_by_nest(_take_in(one, day), day) for one in after], day)


def meet(course: Course, visit: Visit) -> Course:
    """Bring in a visit on its day; what it says of the days before changes these, too."""
    colony, traits, moved, afresh = bring_in(
        *(course.colony, course.traits, np.concatenate([course.own, rows_of(course.past)]), visit),
        *(course.seed, course.days_of, course.latitude),
    )
    own, rows = np.split(moved, [len(course.own)])
    restarted = visit.day if afresh else course.restarted
    last = visit if visit.is_count else course.visit
    met = replace(course, colony=colony, traits=traits, own=own, past=days_of_rows(rows))
    met = replace(met, visit=last, restarted=restarted)
    return _done(_requeen(met) if visit.is_count else met, visit)


def _done(course: Course, visit: Visit) -> Course:
    """Take in what somebody did to the colony."""
    generator = stream(course.seed, visit.day, "done")
    for what in visit.done:
        level = np.exp(_expected(course))
        after = change(
            what,
            Change(course.colony, course.traits, course.again, course.again_laying),
            course.day.toordinal(),
            np.minimum(level, LAYING_MAX),
            generator,
        )
        course = replace(course, **vars(after))
    return course


def _come_back(traits: Traits, course: Course) -> Traits:
    """Let laying come back a little to what is expected."""
    laying = come_back(np.asarray(traits.laying[0], np.float64), _expected(course))
    return replace(traits, laying=laying[None].astype(np.float32))


def _expected(course: Course) -> Floats:
    """Give the log of what queen, bees and season let expect today."""
    adults, season = course.colony.adults[0], season_of(course.own)
    return expected_laying(course.own[3], adults, course.day, course.latitude, season)


def _requeen(course: Course) -> Course:
    """Where a visit in the season found hardly an egg, draw when laying goes on."""
    laying, today = course.traits.laying[0], course.day.toordinal()
    level = np.exp(_expected(course))
    stopped = laying < STOPPED_PART * level
    course = replace(course, again=np.where(stopped, course.again, NEVER))
    stopped &= ~((course.again > today) & (course.again < NEVER))  # whose day is known keep it
    if not stopped.any() or not is_laying_season(course.day, course.latitude):
        return course
    generator = stream(course.seed, course.day, "requeen")
    wait = wait_for_eggs(empty_days(course.colony), generator, laying.size)
    return replace(
        course,
        again=np.where(stopped, today + wait, course.again),
        again_laying=np.where(stopped, np.minimum(level, LAYING_MAX), course.again_laying),
    )


def lay_again(course: Course, day: date) -> Traits:
    """Let queens begin whose day it is."""
    traits = course.traits
    starts = (course.again == day.toordinal()) & (traits.laying[0] < course.again_laying)
    if not starts.any():
        return traits
    laying = np.where(starts, course.again_laying, traits.laying[0])[None].astype(np.float32)
    return replace(traits, laying=laying)


def _take_in(course: Course, day: date) -> Course:
    """Take in who left on a day, a swarm or foragers that were lost, and what is told of laying."""
    sensed = course.sensed
    for told in sensed.laying:
        course = _told_of_laying(course, told, day)
    if day in sensed.swarms:
        generator = stream(course.seed, day, "swarm")
        before = Change(course.colony, course.traits, course.again, course.again_laying)
        after = swarmed(before, day.toordinal(), *sensed.swarms[day], generator)
        course = replace(course, **vars(after))
    if day in sensed.losses:
        course = replace(course, colony=lost(course.colony, sensed.losses[day]))
    return course


def _told_of_laying(course: Course, told: Told, day: date) -> Course:
    """Take in what a finding says of laying."""
    if told.what == "failing":
        if day != told.told:
            return course
        level = np.exp(_expected(course))
        generator, own = stream(course.seed, day, "told"), course.own.copy()
        own[3] = worth_of_failing(told, own[3], course.traits.laying[0], level, generator)
        return replace(course, own=own)
    in_season = [is_laying_season(one, course.latitude) for one in (told.day, told.told)]
    if abs((day - told.day).days) > AROUND_DAYS or (told.what == "stopped" and not in_season[0]):
        return course
    before = Change(course.colony, course.traits, course.again, course.again_laying)
    level, generator = np.exp(_expected(course)), stream(course.seed, told.day, "told")
    after = turn(told, day, before, level, generator, is_season=in_season[1])
    return replace(course, **vars(after))


def _by_nest(course: Course, day: date) -> Course:
    """Let members that the nest's warmth contradicts give way to others."""
    if day not in course.sensed.nest:
        return course
    fits = fit(course.colony.brood[:, 0], has_brood=course.sensed.nest[day])
    chosen = choose(fits, stream(course.seed, day, "nest"))
    return replace(
        course,
        colony=Colony(*(part[..., chosen] for part in vars(course.colony).values())),
        traits=Traits(*(part[..., chosen] for part in vars(course.traits).values())),
        own=course.own[:, chosen],
        again=course.again[chosen],
        again_laying=course.again_laying[chosen],
        emerged=course.emerged[chosen],
        past=course.past[..., chosen],
    )


def _follow(courses: list[Course], day: date) -> list[Course]:
    """Take in how many flew on a day, and how many were missing at dawn."""
    signs: tuple[tuple[Literal["flights", "dawn"], tuple[int, ...]], ...]
    signs = (("flights", (0, 2)), ("dawn", (1, 2)))
    for sign, through in signs:
        places = [place for place, one in enumerate(courses) if day in getattr(one.sensed, sign)]
        if not places:
            continue
        some = [courses[place] for place in places]
        colony, own = follow_foragers(
            join_hives([one.colony for one in some]),
            np.stack([one.own[:3] for one in some], axis=1),
            through,
            np.array([getattr(one.sensed, sign)[day] for one in some]),
            [stream(one.seed, day, sign) for one in some],
        )
        for nth, place in enumerate(places):
            mine = slice(nth, nth + 1)
            courses[place] = replace(
                some[nth],
                colony=take_hives(colony, mine),
                own=np.concatenate([own[:, nth], some[nth].own[3:]]),
            )
    return courses
