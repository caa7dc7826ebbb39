"""What the nest's warmth says of brood."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from made_up_yard import days_with

from hivewatch.comb import CombCount
from hivewatch.comb.course import begin, run_to
from hivewatch.comb.laying_told import Told
from hivewatch.comb.nest import choose, fit, nest_says
from hivewatch.comb.sensed import NOTHING, Sensed
from hivewatch.comb.start import Visit

FIRST = date(2026, 5, 1)
COUNT = 42


def said(nest_cel, air_cel=12.0, sd_k=0.3):
    figures = {"nest_cel": nest_cel, "ambient_cel": air_cel, "nest_sd_k": sd_k}
    days = days_with(FIRST, COUNT, **{k: np.full(COUNT, v) for k, v in figures.items()})
    return list(nest_says(days, range(COUNT)).values())


@pytest.mark.parametrize(
    ("nest_cel", "says"), [(34.5, True), (33.2, True), (36.2, True), (31.5, None), (37.5, None)]
)
def test_a_steady_nest_in_the_published_range_has_brood(nest_cel, says):
    """33 to 36 Cel: Stabentheiner et al. 2010."""
    assert set(said(nest_cel)) == (set() if says is None else {says})


@pytest.mark.parametrize("more", [{"sd_k": 1.5}, {"sd_k": 0.0}, {"air_cel": 30.0}])
def test_a_nest_that_swings_or_stands_still_or_hot_air_say_nothing(more):
    assert said(34.5, **more) == []


def test_a_nest_that_was_warm_and_follows_the_air_has_none():
    nest = np.where(np.arange(COUNT) < COUNT // 2, 34.5, 24.0)
    told = said(nest)
    assert told == sorted(told, reverse=True)
    assert min(told.count(True), told.count(False)) >= 2


def test_a_probe_that_never_showed_brood_may_stand_at_the_wall():
    assert said(24.0) == []


def test_members_that_fit_alike_all_stay():
    chosen = choose(np.full(50, 0.3), np.random.default_rng(1))
    assert np.array_equal(chosen, np.arange(50))


@pytest.mark.parametrize("has_brood", [True, False])
def test_members_are_replaced_by_those_that_fit(has_brood):
    brood = np.zeros((21, 200))
    brood[10, :100] = 10_000
    fits = fit(brood, has_brood=has_brood)
    assert ((fits > 0) & (fits <= 1)).all()
    chosen = choose(fits, np.random.default_rng(1))
    assert ((chosen < 100).mean() > 0.8) if has_brood else ((chosen < 100).mean() < 0.2)


def test_a_warm_nest_speaks_for_the_queen_and_a_cold_one_against_her():
    visit = Visit(FIRST, CombCount(4200, 8400, 16800), 30_000)
    stop, told = FIRST + timedelta(days=5), FIRST + timedelta(days=26)
    unsure = Sensed(laying=(Told("stopped", stop, told, 0.5),))
    weeks = [FIRST + timedelta(days=at) for at in (28, 35)]

    def lays(sensed):
        course = run_to(begin(visit, 3, 50.0, sensed, 200), weeks[-1])
        return float((course.colony.brood[:, 0].sum(axis=0) > 3000).mean())

    warm = lays(replace(unsure, nest=dict.fromkeys(weeks, True)))
    cold = lays(replace(unsure, nest=dict.fromkeys(weeks, False)))
    assert cold < 0.15
    assert 0.4 < lays(unsure) < 0.8 < warm
    alone = lays(replace(NOTHING, nest=dict.fromkeys(weeks, False)))
    assert alone == 1.0  # no member fits better than another
