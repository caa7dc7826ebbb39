"""What sensors say of the days between visits, in the ensemble."""

from __future__ import annotations

import pickle
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from hivewatch.comb import CombCount
from hivewatch.comb.colony import Colony
from hivewatch.comb.course import Course, begin, meet, run_to, run_together
from hivewatch.comb.outlook import Hive, look_ahead
from hivewatch.comb.sensed import NOTHING, Sensed
from hivewatch.comb.start import Visit

DAY = date(2026, 5, 20)
GOOD = Visit(DAY, CombCount(4200, 8400, 16800), 30000)
SWARM = DAY + timedelta(days=5)
JUNE = date(2026, 6, 10)  # no bees from before winter are left


def after(days: int, sensed: Sensed = NOTHING, members: int = 200) -> Course:
    return run_to(begin(GOOD, 3, 50.0, sensed, members), DAY + timedelta(days=days))


def bees(colony: Colony) -> float:
    return float(np.median(colony.adults))


def test_a_swarm_takes_its_bees_and_leaves_the_sealed_brood() -> None:
    quiet, swarmed = after(5), after(5, Sensed(swarms={SWARM: (14000.0, 0.1)}))
    assert bees(swarmed.colony) == pytest.approx(bees(quiet.colony) - 14000, rel=0.08)
    assert np.array_equal(swarmed.colony.brood[7:], quiet.colony.brood[7:])
    assert swarmed.traits.laying.max() == 0


def test_a_new_queen_lays_when_the_calendar_says() -> None:
    """From 11 days (out on day 4, eggs a week later) to 22 (out on day 8, eggs two weeks later)."""
    sensed = Sensed(swarms={SWARM: (14000.0, 0.1)})
    assert after(5 + 10, sensed).traits.laying.max() == 0
    assert 0.2 < np.mean(after(5 + 17, sensed).traits.laying > 0) < 0.9
    assert after(5 + 23, sensed).traits.laying.min() > 100


def test_a_swarm_larger_than_the_colony_leaves_somebody() -> None:
    left = after(5, Sensed(swarms={SWARM: (90000.0, 0.1)})).colony
    assert left.adults.min() > 0
    assert all(part.min() >= 0 for part in vars(left).values())


def test_the_next_visit_settles_what_a_swarm_left_open() -> None:
    course = after(25, Sensed(swarms={SWARM: (14000.0, 0.1)}))
    found = Visit(course.day, CombCount(3000, 2000, 0), 18000)
    met = meet(course, found)
    assert np.median(met.colony.brood_class(0)) == pytest.approx(3000, rel=0.2)
    assert np.median(met.traits.laying) == pytest.approx(1000, rel=0.35)


def test_flights_that_rise_speak_for_more_foragers_or_harder_work_and_not_for_brood() -> None:
    base = after(0)
    usual = float(np.log(np.median(base.colony.foragers.sum(axis=0))))
    span = [DAY + timedelta(days=d) for d in range(1, 13) if d % 3 == 0]
    steady = after(12, Sensed(flights=dict.fromkeys(span, (usual, 0.2))))
    rising = Sensed(flights={day: (usual + 0.06 * n, 0.2) for n, day in enumerate(span)})
    more = after(12, rising)
    assert more.colony.foragers.sum() > 1.001 * steady.colony.foragers.sum()
    assert np.median(more.own[2]) > np.median(steady.own[2]) + 0.03
    assert np.median(more.colony.brood) == pytest.approx(np.median(steady.colony.brood), rel=0.02)


def test_one_level_of_flights_teaches_the_counter_and_not_the_colony() -> None:
    """A counter that shows a third of all bees is no colony of a third."""
    span = [DAY + timedelta(days=d) for d in range(3, 16, 3)]
    usual = float(np.log(np.median(after(0).colony.foragers.sum(axis=0))))
    third = after(15, Sensed(flights=dict.fromkeys(span, (usual - 1.1, 0.2))))
    assert bees(third.colony) == pytest.approx(bees(after(15).colony), rel=0.1)
    assert np.median(third.own[0]) < -0.7


def test_lost_foragers_are_gone() -> None:
    lost = after(5, Sensed(losses={SWARM: 2000.0}))
    assert bees(after(5).colony) - bees(lost.colony) == pytest.approx(2000, rel=0.2)


def test_the_same_days_give_the_same_numbers_however_they_are_cut() -> None:
    sensed = Sensed(swarms={SWARM: (14000.0, 0.1)}, flights={DAY + timedelta(days=6): (9.0, 0.2)})
    whole = after(12, sensed)
    cut = run_to(after(4, sensed), DAY + timedelta(days=12))
    assert np.array_equal(whole.colony.house, cut.colony.house)
    assert np.array_equal(whole.own, cut.own)


def test_nothing_sensed_is_an_outlook_of_inspections_alone() -> None:
    hive = Hive("h", 50.0, seed=3)
    assert look_ahead(hive, [GOOD], DAY) == look_ahead(hive, [GOOD], DAY, Sensed())


def test_more_bees_at_dawn_speak_for_more_foragers() -> None:
    base = after(0)
    usual = float(np.log(0.2 * np.median(base.colony.foragers.sum(axis=0))))
    span = [DAY + timedelta(days=d) for d in (7, 14, 21)]
    steady = after(21, Sensed(dawn=dict.fromkeys(span, (usual, 0.15))))
    rising = after(21, Sensed(dawn={d: (usual + 0.2 * n, 0.15) for n, d in enumerate(span)}))
    assert rising.colony.foragers.sum() > 1.02 * steady.colony.foragers.sum()
    assert rising.own[0] == pytest.approx(steady.own[0], abs=1.0)
    assert np.median(rising.own[1]) > np.median(steady.own[1])


def test_hard_work_costs_foragers() -> None:
    course = after(0)
    hard = replace(course, own=course.own + np.array([[0.0], [0.0], [0.5], [0.0], [0.0], [0.0]]))
    then = DAY + timedelta(days=6)
    assert (
        run_to(hard, then).colony.foragers.sum() < 0.96 * run_to(course, then).colony.foragers.sum()
    )


def observed() -> Sensed:
    """Give a month in which everything is told that sensors can tell."""
    days = [DAY + timedelta(days=day) for day in range(30)]
    return Sensed(
        flying={day: 0.4 + 0.02 * nth for nth, day in enumerate(days)},
        flow_kg=dict.fromkeys(days, 0.8),
        flights=dict.fromkeys(days[::3], (9.0, 0.2)),
        dawn=dict.fromkeys(days[::7], (7.5, 0.15)),
        swarms={days[9]: (9000.0, 0.2)},
        losses={days[20]: 800.0},
    )


def numbers(course: Course) -> list[np.ndarray]:
    return [
        *vars(course.colony).values(),
        *vars(course.traits).values(),
        course.own,
        course.again,
        course.emerged,
    ]


def test_hives_moved_on_together_are_as_if_each_were_alone() -> None:
    quiet, told = NOTHING, observed()
    until = DAY + timedelta(days=24)
    apart = [
        begin(GOOD, seed, latitude, sensed, 50)
        for seed, latitude, sensed in ((1, 50.0, told), (2, -37.0, quiet), (3, 60.0, told))
    ]
    apart[1] = run_to(apart[1], DAY + timedelta(days=3))  # ahead of the others
    for one, other in zip(run_together(apart, until), apart, strict=True):
        alone = run_to(other, until)
        assert one.day == alone.day == until
        for mine, its in zip(numbers(one), numbers(alone), strict=True):
            assert mine == pytest.approx(its, rel=1e-4, abs=1e-3)


def test_a_restart_gives_the_same_numbers_and_a_hive_takes_less_than_100_kb() -> None:
    told = observed()
    middle, until = DAY + timedelta(days=11), DAY + timedelta(days=24)
    again = Visit(middle, CombCount(900, 7000, 15000), 21000)
    half = run_to(begin(GOOD, 3, 50.0, told, 200), middle)
    straight = run_to(meet(half, again), until)
    kept = pickle.loads(pickle.dumps(half))  # as from a store
    restarted = run_to(meet(kept, again), until)
    for mine, its in zip(numbers(restarted), numbers(straight), strict=True):
        assert np.array_equal(mine, its)
    assert sum(part.nbytes for part in numbers(half)) + half.again_laying.nbytes < 100_000


def test_a_queen_that_paused_lays_again_in_most_members_before_anybody_comes() -> None:
    found = Visit(JUNE, CombCount(0, 5600, 16000), 30000)
    course = begin(found, 3, 50.0, NOTHING, 400)
    assert course.traits.laying.max() == 0
    soon = run_to(course, JUNE + timedelta(days=14)).traits.laying[0] > 0
    late = run_to(course, JUNE + timedelta(days=32)).traits.laying[0] > 0
    assert 0.1 < soon.mean() < 0.5
    assert 0.6 < late.mean() < 0.9
    assert np.all(late[soon])


def test_a_visit_that_finds_eggs_takes_back_the_day_on_which_they_were_awaited() -> None:
    course = begin(Visit(JUNE, CombCount(0, 5600, 16000), 30000), 3, 50.0, NOTHING, 400)
    met = meet(run_to(course, JUNE + timedelta(days=5)), after_visit(5, 3600, 2000, 15000))
    assert np.all(np.isinf(met.again))


def after_visit(days: int, *cells: float) -> Visit:
    return Visit(JUNE + timedelta(days=days), CombCount(*cells), 31000)
