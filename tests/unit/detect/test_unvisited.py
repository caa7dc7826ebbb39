"""A swarm that a coarse scale alone has seen, told by neighbours that stood still."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_up_yard import YARD, cut, yard_of

from hivewatch.detect import unvisited
from hivewatch.detect.run import YARD_DETECTORS, is_of_yard
from hivewatch.signals.steps import Step

DAY, COUNT = 20, 30
NOON_S = 12 * 3600
ME, OTHER = "hazel-0", "hazel-2"


def step_of(days, kg, after_min=0, *, every_min=30, **more):
    """A step between two readings of a coarse feed, about noon of the day."""
    before_s = int(days.start_s[DAY]) + NOON_S + 60 * after_min
    after_s = before_s + 60 * every_min
    figures = {
        "before_s": before_s,
        "after_s": after_s,
        "settled_s": after_s + 60 * every_min,
        "level_kg": 40.0,
        "size_kg": kg,
        "spread_kg": 0.05,
        "low_kg": 0.0,
        "high_kg": 0.0,
        "within_kg": kg,
        "sharp_kg": abs(kg),
        "readings": 0,
    }
    return Step(**(figures | more))


def with_steps(yard, **of):
    """Let some hives of a yard have steps."""
    names = {"me": ME, "other": OTHER}
    return yard | {
        names[who]: replace(yard[names[who]], steps=tuple(steps)) for who, steps in of.items()
    }


def known(yard):
    """Let everybody be weighed at dusk as well."""
    return {
        name: replace(one, dusk_kg=np.where(np.isnan(one.day_kg), np.nan, 40.0))
        for name, one in yard.items()
    }


@pytest.fixture
def yard():
    return known(yard_of([0.3] * COUNT, hives=4))


@pytest.mark.parametrize("kg", [1.5, 2.5, 4.0])
@pytest.mark.parametrize("every_min", [30, 60])
def test_a_loss_at_once_while_the_others_stood_still_is_a_swarm(yard, kg, every_min):
    step = step_of(yard[ME], -kg, every_min=every_min)
    (one,) = unvisited.find(YARD, with_steps(yard, me=[step]))
    assert (one.kind, one.subject) == ("swarm", f"hive:{ME}")
    assert (one.start_s, one.end_s) == (step.before_s, step.after_s)
    assert one.measures["kg_lost"] == pytest.approx(kg)
    assert one.measures["hives_still"] == 3
    assert is_of_yard(one)
    assert unvisited in YARD_DETECTORS


def test_it_is_told_when_everybody_is_weighed_at_dusk_and_not_before(yard):
    told = with_steps(yard, me=[step_of(yard[ME], -2.0)])
    (one,) = unvisited.find(YARD, told)
    assert one.detected_s == int(yard[ME].dusk_s[DAY])
    by_day = {name: cut(days, DAY + 1) for name, days in told.items()}
    assert unvisited.find(YARD, by_day) == [one]
    nobody = np.where(np.arange(DAY + 1) == DAY, np.nan, by_day[ME].dusk_kg)
    by_day[ME] = replace(by_day[ME], dusk_kg=nobody)
    assert unvisited.find(YARD, by_day) == []


@pytest.mark.parametrize("after_min", [-150, 0, 150])
@pytest.mark.parametrize("kg", [-2.5, 0.8, 9.0])
def test_who_opened_another_hive_meanwhile_opened_this_one(yard, kg, after_min):
    steps = [step_of(yard[ME], -2.0)]
    moved = [step_of(yard[OTHER], kg, after_min)]
    assert unvisited.find(YARD, with_steps(yard, me=steps, other=moved)) == []
    long_ago = [step_of(yard[OTHER], kg, after_min - 400)]
    told = unvisited.find(YARD, with_steps(yard, me=steps, other=long_ago))
    assert f"hive:{ME}" in [one.subject for one in told]


@pytest.mark.parametrize("after_min", [-100, 100])
def test_a_hive_that_was_worked_at_has_not_swarmed(yard, after_min):
    steps = [step_of(yard[ME], -2.0), step_of(yard[ME], 1.2, after_min)]
    assert unvisited.find(YARD, with_steps(yard, me=steps)) == []


def test_feed_that_was_given_the_day_before_is_carried_off(yard):
    fed, gone = step_of(yard[ME], 2.2, -24 * 60), step_of(yard[ME], -2.0)
    assert unvisited.find(YARD, with_steps(yard, me=[fed, gone])) == []


@pytest.mark.parametrize(
    "more",
    [
        {"kg": -1.0},  # foragers
        {"kg": -6.0},  # honey
        {"kg": 2.0},
        {"kg": -2.0, "every_min": 15},  # asked about by the hive itself
        {"kg": -2.0, "every_min": 120},
        {"kg": -2.0, "sharp_kg": 1.4},  # seen by two readings: told by the hive itself
        {"kg": -2.0, "low_kg": 8.0},
        {"kg": -2.0, "after_min": 8 * 60},  # in the evening
    ],
)
def test_other_losses_are_not_told_here(yard, more):
    more = dict(more)
    step = step_of(yard[ME], more.pop("kg"), **more)
    assert unvisited.find(YARD, with_steps(yard, me=[step])) == []


@pytest.mark.parametrize("name", ["nest_cel", "bees_out"])
def test_where_a_probe_or_a_counter_is_at_work_it_is_asked_instead(yard, name):
    told = with_steps(yard, me=[step_of(yard[ME], -2.0)])
    told[ME] = replace(told[ME], **{name: np.full(COUNT + 1, 34.0)})
    assert unvisited.find(YARD, told) == []


def test_a_scale_that_was_stuck_says_all_at_once_what_came_before(yard):
    told = with_steps(yard, me=[step_of(yard[ME], -2.0)])
    stuck = (np.arange(COUNT + 1) >= DAY - 3) & (np.arange(COUNT + 1) < DAY)
    still = {name: np.where(stuck, 0.0, getattr(told[ME], name)) for name in ("day_kg", "night_kg")}
    assert unvisited.find(YARD, told | {ME: replace(told[ME], **still)}) == []


def test_a_hive_alone_has_nobody_to_ask(yard):
    told = with_steps(yard, me=[step_of(yard[ME], -2.0)])
    assert unvisited.find(YARD, {ME: told[ME]}) == []
    unweighed = np.full(COUNT + 1, np.nan)
    silent = {name: replace(one, day_kg=unweighed) for name, one in told.items() if name != ME}
    assert unvisited.find(YARD, silent | {ME: told[ME]}) == []
