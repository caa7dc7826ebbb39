"""Queens that fade, as two visits tell it, and swarms that counted bees speak against."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime

import numpy as np
import pytest
from nests import DAY_S, MadeUpNest, day_of

from hivewatch.detect import queen
from hivewatch.detect.queen_visits import signs_of
from hivewatch.inspections import Inspection
from hivewatch.signals.season import laying_level, laying_level_at_least

FULL, HALF = (4500, 9000, 18_000), (2400, 4800, 14_000)  # 1,500 and 800 eggs a day


@pytest.fixture
def nest():
    return MadeUpNest(first="2026-04-20", days=90, air_cel=13)


def visit(nest, day, brood, **more):
    """Make a visit at noon; `brood` is eggs, larvae, capped cells."""
    at = datetime.fromtimestamp(nest.at(day, 12), UTC)
    cells = dict(zip(("eggs", "open", "capped"), brood, strict=True))
    return Inspection.model_validate(
        {"hive": "hazel-1", "at": at.isoformat(), "brood": cells} | more
    )


def failing(nest, visits):
    return [one for one in signs_of(nest.window(["nest"]), visits) if one.what == "failing"]


def test_two_visits_with_half_the_brood_tell_a_queen_that_fades(nest):
    seen = [visit(nest, day, FULL) for day in (10, 20)]
    seen += [visit(nest, day, HALF) for day in (34, 44)]
    assert failing(nest, seen[:3]) == []  # one may be a cold week
    (one,) = failing(nest, seen)
    assert one.at_s == seen[3].at_s
    assert "53%" in one.words  # 800 of 1,500
    assert day_of(nest, one.since_s) == pytest.approx(34.5 - 9)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ((HALF, {"queen_cells": {"count": 6}}), (HALF, {})),
        ((HALF, {}), (HALF, {"queen_cells": {"count": 6}})),
        ((HALF, {}), (HALF, {"stores_kg": 2.0})),
        ((HALF, {"actions": [{"what": "split"}]}), (HALF, {})),
        ((HALF, {"stores_kg": 0.4}), (HALF, {})),
        ((HALF, {}), ((4200, 4800, 14_000), {})),
        ((HALF, {"queen": "new"}), (HALF, {})),
    ],
    ids=[
        "cells",
        "cells later",
        "short of food",
        "split",
        "hungry",
        "eggs as before",
        "another queen",
    ],
)
def test_what_else_accounts_for_it_is_no_queen_that_fades(nest, first, second):
    seen = [visit(nest, day, FULL) for day in (10, 20)]
    seen += [
        visit(nest, day, brood, **more)
        for day, (brood, more) in zip((34, 44), (first, second), strict=True)
    ]
    assert failing(nest, seen) == []


def test_counts_that_err_tell_no_sound_queen_to_fade_more_than_once_in_a_hundred_seasons(nest):
    """Hold it against eyes that are a sixth off, of a sound queen who lays a tenth more or less."""
    chance, told = np.random.default_rng(11), 0
    for _ in range(200):
        seen = []
        for day in range(5, 90, 12):
            laid = chance.normal(1.0, 0.1)
            eyes = laid * np.exp(chance.normal(0, 0.175, 3))
            seen.append(visit(nest, day, [round(n * k) for n, k in zip(FULL, eyes, strict=True)]))
        told += bool(failing(nest, seen))
    assert told <= 2


def test_eggs_without_larvae_are_a_queen_that_begins(nest):
    begun = visit(nest, 50, (3200, 0, 400), stores_kg=9)
    assert failing(nest, [visit(nest, 25, FULL, stores_kg=8), begun]) == []


def test_a_queen_that_has_begun_is_not_held_against_the_one_before(nest):
    before = [visit(nest, day, FULL, stores_kg=6) for day in (2, 14)]
    little = visit(nest, 72, (900, 1100, 4300), stores_kg=9)
    for then, is_told in (((1300, 0, 0), False), ((1300, 2600, 5200), True)):
        found = failing(nest, [*before, visit(nest, 46, then, stores_kg=8), little])
        assert bool(found) is is_told


def test_no_swarm_has_left_a_hive_with_more_bees_than_before(limits):
    """Hold a queen's loss against a scale that lost a kilogram, whatever it was."""
    nest = MadeUpNest(first="2026-04-20", days=60, air_cel=13)
    nest.lose(nest.at(33, 10), 1.2)
    none = {"queen": "not seen", "queen_cells": {"count": 8, "stage": "capped"}}
    for after, is_told in ((23_000, True), (14_000, False)):
        seen = [
            visit(nest, 30, FULL, adults=15_000),
            visit(nest, 44, (0, 0, 9000), adults=after, **none),
        ]
        found = queen.find(nest.window(("nest", "ambient", "weight")), seen, limits)
        assert [one.detected_s for one in found] == ([seen[1].at_s] if is_told else [])
    assert seen[1].at_s - seen[0].at_s == 14 * DAY_S


def test_a_queen_that_failed_and_then_is_gone_is_told_again(nest, limits):
    seen = [visit(nest, day, FULL) for day in (10, 20)]
    seen += [visit(nest, day, HALF) for day in (34, 44)]
    seen += [visit(nest, 60, (0, 0, 6000), queen="not seen")]
    fails, gone = queen.find(nest.window(("nest", "weight")), seen, limits)
    assert (fails.detected_s, fails.status) == (seen[3].at_s, "ended")
    assert (gone.detected_s, gone.status) == (seen[4].at_s, "open")


def test_laying_that_falls_in_late_summer_is_no_queen_that_fades(limits):
    late = MadeUpNest(first="2026-07-20", days=60, air_cel=14)
    seen = [visit(late, day, FULL) for day in (5, 15)]
    seen += [visit(late, day, HALF) for day in (36, 46)]
    assert queen.find(late.window(["nest"]), seen, limits) == []


def test_nearer_to_the_equator_laying_may_fall_as_soon_as_where_the_curve_was_made():
    for latitude in (38.0, -38.0):
        late = date(2026, 8, 20) if latitude > 0 else date(2026, 2, 19)
        assert laying_level(late, latitude) > 1.5 * laying_level_at_least(late, latitude)
        as_there = laying_level(late, math.copysign(47.0, latitude))
        assert laying_level_at_least(late, latitude) == pytest.approx(as_there)
    late = date(2026, 8, 20)
    assert laying_level_at_least(late, 52.0) == laying_level(late, 52.0)
    assert laying_level_at_least(late, 5.0) == 1.0  # no season there
