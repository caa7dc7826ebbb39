"""What else than her queen takes a hive's brood, and what tells of her loss before it is gone."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from nests import DAY_S, MadeUpNest, day_of

from hivewatch.detect import queen
from hivewatch.detect.queen_visits import signs_of
from hivewatch.inspections import Inspection

FULL, FEW = (4500, 9000, 18_000), (1500, 2700, 16_000)  # 1,500 and 470 eggs a day of late
ALL = ("nest", "ambient", "weight", "bees-in", "bees-out")
OPEN_CELLS = {"queen": "not seen", "queen_cells": {"count": 8, "stage": "open"}}


@pytest.fixture
def nest():
    return MadeUpNest(first="2026-04-20", days=90, air_cel=13)


def visit(nest, day, brood=None, **more):
    """Make a visit at noon; `brood` is eggs, larvae, capped cells."""
    at = datetime.fromtimestamp(nest.at(day, 12), UTC)
    if brood is not None:
        more["brood"] = dict(zip(("eggs", "open", "capped"), brood, strict=True))
    return Inspection.model_validate({"hive": "hazel-1", "at": at.isoformat()} | more)


def find(nest, limits, visits=(), quantities=ALL):
    return queen.find(nest.window(quantities), visits, limits)


def failing(nest, visits):
    return [one for one in signs_of(nest.window(["nest"]), visits) if one.what == "failing"]


@pytest.mark.parametrize("nights", [3, 5, 6])
def test_a_lid_off_for_days_chills_at_once_and_is_no_lost_queen(nest, limits, nights):
    nest.add(nest.at(40, 9), nest.at(40 + nights, 18), -9)
    assert find(nest, limits) == []


def test_a_lid_off_from_one_noon_to_the_next_but_one_is_no_lost_queen(nest, limits):
    nest.add(nest.at(40, 11), nest.at(42, 9), -12)
    assert find(nest, limits) == []


@pytest.mark.parametrize("share", [0.0, 0.7])
def test_a_nest_that_is_warm_again_when_a_young_queen_is_due_has_her_though_it_is_small(
    nest, limits, share
):
    nest.has_brood(slice(57, 90), 0.0)
    nest.has_brood(slice(66, 90), share)
    nest.lose(nest.at(36, 12), 2.0)
    assert bool(find(nest, limits)) is not bool(share)


def test_warmth_before_a_young_queen_can_lay_is_no_end_of_it(nest, limits):
    nest.has_brood(slice(52, 90), 0.0)  # gone by day 52: she was lost on day 31
    nest.has_brood(slice(57, 60), 1.0)  # three hot days
    seen = [visit(nest, 28, FULL), visit(nest, 44, (0, 0, 9000), queen="not seen")]
    (one,) = find(nest, limits, seen)
    assert one.detected_s == seen[1].at_s
    assert one.end_s is None or day_of(nest, one.end_s) >= 31 + 18


def test_open_cells_and_no_queen_are_told_when_no_swarm_has_left(nest, limits):
    seen = [visit(nest, 30, FULL), visit(nest, 40, FULL, **OPEN_CELLS)]
    (one,) = find(nest, limits, seen)
    assert one.detected_s == seen[1].at_s + 8 * DAY_S
    assert abs(day_of(nest, one.start_s) - 38.5) < 0.1
    assert "open queen cells" in one.evidence[0]


def test_open_cells_before_a_swarm_or_with_her_among_them_are_no_loss(nest, limits):
    seen = [visit(nest, 30, FULL), visit(nest, 40, FULL, **OPEN_CELLS)]
    assert find(nest, limits, seen, ["nest"]) == []  # who would have seen the swarm
    assert find(nest, limits, [*seen, visit(nest, 45, FULL, queen="eggs seen")]) == []
    among = OPEN_CELLS | {"queen": "seen"}
    assert find(nest, limits, [seen[0], visit(nest, 40, FULL, **among)]) == []
    nest.lose(nest.at(43, 12), 2.2)
    assert find(nest, limits, seen) == []


def test_a_visit_that_saw_eggs_and_counted_none_is_believed(nest, limits):
    few = visit(nest, 40, (0, 3000, 15_000), queen="eggs seen")
    assert find(nest, limits, [visit(nest, 25, FULL), few]) == []


def test_brood_of_weeks_of_hunger_says_nothing_of_the_queen(nest):
    before, after = visit(nest, 10, FULL, stores_kg=6), visit(nest, 40, (900, 1800, 9000))
    assert len(failing(nest, [before, after])) == 1
    hungry = visit(nest, 28, (300, 2000, 9000), stores_kg=0.3)
    assert failing(nest, [before, hungry, after]) == []


def test_a_new_queen_is_judged_when_bees_of_her_own_nurse(nest):
    begun = [visit(nest, 10, (0, 0, 1400), queen="not seen"), visit(nest, 20, FULL)]
    assert failing(nest, [*begun, visit(nest, 38, (900, 1800, 9000))]) == []
    assert len(failing(nest, [*begun, visit(nest, 60, (900, 1800, 9000))])) == 1


def test_little_brood_that_was_no_more_before_is_no_failing_queen(nest):
    early = visit(nest, 10, (2500, 1900, 2300))  # much of it laid this week
    assert failing(nest, [early, visit(nest, 30, (500, 1300, 3300))]) == []
    much = visit(nest, 10, (2500, 1900, 9300))
    assert len(failing(nest, [much, visit(nest, 30, (500, 1300, 3300))])) == 1


@pytest.mark.parametrize(
    ("then", "is_told"),
    [
        ({"stores_kg": 14}, True),
        ({"stores_kg": 6}, False),  # food went: she rests
        ({"stores_kg": 6, "actions": [{"what": "harvested"}]}, True),
        ({"stores_kg": 14, "adults": 18_000}, False),  # a third of the bees have left
        ({"stores_kg": 14, "queen_cells": {"count": 6}}, False),
    ],
)
def test_few_eggs_and_few_larvae_while_food_comes_in_are_told_by_one_visit(nest, then, is_told):
    seen = [visit(nest, day, FULL, stores_kg=9, adults=30_000) for day in (10, 22)]
    found = failing(nest, [*seen, visit(nest, 36, FEW, **({"adults": 31_000} | then))])
    assert [one.at_s for one in found] == ([nest.at(36, 12)] if is_told else [])


@pytest.mark.parametrize(("stores_kg", "is_told"), [(1.5, False), (8, True)])
def test_a_visit_without_eggs_and_with_hardly_food_tells_no_lost_queen(
    nest, limits, stores_kg, is_told
):
    seen = [visit(nest, 30, FULL), visit(nest, 60, (0, 300, 11_000), stores_kg=stores_kg)]
    assert bool(find(nest, limits, seen)) is is_told


def test_hunger_that_was_over_for_two_weeks_does_not_account_for_it(limits):
    for again_d, is_told in ((36, True), (53, False)):
        nest = MadeUpNest(first="2026-04-20", days=90, air_cel=13)
        nest.has_brood(slice(59, 90), 0.0)
        nest.has_brood(58, 0.8)
        seen = [visit(nest, 30, FULL, stores_kg=8), visit(nest, again_d, stores_kg=0.3)]
        nest.lose(nest.at(again_d, 13), -4.0)  # fed
        assert bool(find(nest, limits, seen)) is is_told


def test_a_visit_soon_after_that_finds_no_food_accounts_for_it(nest, limits):
    nest.has_brood(slice(59, 90), 0.0)
    nest.has_brood(58, 0.8)
    assert len(find(nest, limits)) == 1
    assert find(nest, limits, [visit(nest, 64, (0, 0, 300), stores_kg=0.2)]) == []


def test_after_a_swarm_trouble_begins_when_the_young_queen_is_overdue(nest, limits):
    nest.has_brood(slice(57, 90), 0.0)
    nest.lose(nest.at(36, 12), 2.0)
    empty = visit(nest, 73, (0, 0, 0), queen="not seen")
    found = find(nest, limits, [visit(nest, 30, FULL), empty])
    assert day_of(nest, found[0].start_s) == pytest.approx(36.5 + 35 - 7, abs=0.6)
