"""What findings say of laying, in the ensemble."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from hivewatch.comb import CombCount
from hivewatch.comb.course import Course, begin, meet, run_to
from hivewatch.comb.laying_told import AROUND_DAYS, Told
from hivewatch.comb.sensed import NOTHING, Sensed
from hivewatch.comb.start import Visit

DAY = date(2026, 5, 20)
GOOD = Visit(DAY, CombCount(4200, 8400, 16800), 30000)
STOP = DAY + timedelta(days=10)
TOLD = STOP + timedelta(days=21)
LOST = Sensed(laying=(Told("stopped", STOP, TOLD, 0.9),))


def after(days: int, sensed: Sensed = NOTHING, visit: Visit = GOOD) -> Course:
    return run_to(begin(visit, 3, 50.0, sensed, 200), visit.day + timedelta(days=days))


def rests(course: Course) -> float:
    return float((course.traits.laying[0] < 1.0).mean())


def test_as_many_members_stop_as_the_finding_is_sure_and_about_its_day() -> None:
    assert rests(after(10 - AROUND_DAYS - 1, LOST)) == 0
    assert 0.2 < rests(after(10, LOST)) < 0.8
    assert rests(after(10 + AROUND_DAYS, LOST)) == pytest.approx(0.9, abs=0.06)


def test_no_brood_follows_and_no_bees_after_it() -> None:
    told, untold = after(31, LOST), after(31)
    assert np.median(told.colony.brood.sum(axis=0)) < 2000
    assert np.median(untold.colony.brood.sum(axis=0)) > 20_000
    assert np.median(after(45, LOST).colony.adults) < 0.8 * np.median(after(45).colony.adults)


def test_a_new_queen_lays_no_sooner_than_the_nest_could_have_hidden_her() -> None:
    told = after(10 + AROUND_DAYS, LOST)
    due = told.again[np.isfinite(told.again)]
    assert due.min() > TOLD.toordinal() - 6
    assert 0.1 < (due <= TOLD.toordinal() + 30).sum() / 200 < 0.6
    assert rests(after(60, LOST)) == pytest.approx(0.9 - len(due) / 200, abs=0.08)


def test_counted_eggs_put_it_right() -> None:
    found = Visit(TOLD, CombCount(4000, 8000, 0), 28_000)
    met = meet(after(31, LOST), found)
    assert np.median(met.colony.brood_class(0)) == pytest.approx(4000, rel=0.2)
    assert np.median(met.traits.laying) == pytest.approx(1333, rel=0.3)


def test_in_winter_nothing_is_told() -> None:
    winter = Visit(date(2026, 1, 20), CombCount(300, 600, 1200), 9000)
    day = winter.day + timedelta(days=10)
    stop = Sensed(laying=(Told("stopped", day, day + timedelta(days=20), 0.9),))
    assert np.array_equal(
        after(20, stop, winter).colony.brood, after(20, NOTHING, winter).colony.brood
    )


def test_brood_that_begins_dates_the_young_queen() -> None:
    swarm = DAY + timedelta(days=2)
    left = Sensed(swarms={swarm: (14_000.0, 0.1)})
    lays = Told("begun", swarm + timedelta(days=12), swarm + timedelta(days=18), 0.9)
    told = replace(left, laying=(lays,))
    assert rests(after(2 + 15, left)) > 0.5
    assert rests(after(2 + 20, told)) < 0.2


def test_who_lays_already_is_not_told_to_begin() -> None:
    told = Sensed(laying=(Told("begun", STOP, TOLD, 0.9),))
    assert np.array_equal(after(20, told).traits.laying, after(20).traits.laying)


def test_a_failing_queen_stays_as_low_as_she_was_counted() -> None:
    low = Visit(STOP, CombCount(1200, 2600, 6000), 30_000)
    fails = Sensed(laying=(Told("failing", DAY, STOP + timedelta(days=1), 0.9),))
    later = STOP + timedelta(days=30)
    sound, failing = (
        run_to(meet(after(10, sensed), low), later).traits.laying for sensed in (NOTHING, fails)
    )
    assert np.median(failing) < 0.8 * np.median(sound)
    assert np.median(failing) == pytest.approx(400, rel=0.4)
