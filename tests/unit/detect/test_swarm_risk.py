"""Queen cells seen at a visit say by when a hive may swarm."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from hivewatch.alerts.rules import UNSURE_BELOW
from hivewatch.detect import swarm_risk
from hivewatch.inspections import Inspection
from hivewatch.inspections.model import Action, Brood

DAY_S = 86_400


def visit(at_s: int, count: int, stage: str | None) -> Inspection:
    return Inspection.model_validate(
        {
            "hive": "hazel-1",
            "at": datetime.fromtimestamp(at_s, UTC).isoformat(),
            "queen_cells": {"count": count, "stage": stage},
        }
    )


@pytest.mark.parametrize(("stage", "days"), [("eggs", 8), ("open", 5), ("capped", 0)])
def test_the_stage_of_the_furthest_cell_says_by_when(
    made_up_hive: Callable, limits: object, stage: str, days: int
) -> None:
    hive = made_up_hive(days=4)
    (one,) = swarm_risk.find(hive.window(), [visit(hive.at(2, 12), 3, stage)], limits)
    assert one.status == "open"
    assert one.measures == {"cells": 3, "days_until_capped": days}
    assert one.start_s == hive.at(2, 12)


def test_cups_alone_are_no_risk(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive(days=4)
    assert swarm_risk.find(hive.window(), [visit(hive.at(2, 12), 5, "cups")], limits) == []
    assert swarm_risk.find(hive.window(), [visit(hive.at(2, 12), 0, None)], limits) == []


def test_a_later_visit_without_cells_ends_it(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive(days=9)
    seen = [visit(hive.at(2, 12), 3, "open"), visit(hive.at(6, 12), 0, None)]
    (one,) = swarm_risk.find(hive.window(), seen, limits)
    assert (one.status, one.end_s) == ("ended", hive.at(6, 12))


def test_the_swarm_that_left_ends_it(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive(days=9)
    hive.add(hive.at(5, 13), -2.1, minutes=10)
    (one,) = swarm_risk.find(hive.window(), [visit(hive.at(2, 12), 3, "capped")], limits)
    assert one.status == "ended"
    assert abs(one.end_s - hive.at(5, 13)) < 1800


def test_it_ends_by_itself_when_the_cells_are_old(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive(days=16)
    (one,) = swarm_risk.find(hive.window(), [visit(hive.at(2, 12), 1, "capped")], limits)
    assert one.end_s == hive.at(12, 12)


def test_cells_that_a_swarm_left_are_no_new_risk(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive(days=26)
    hive.add(hive.at(4, 13), -2.1, minutes=10)
    seen = [visit(hive.at(8, 12), 5, "capped"), visit(hive.at(22, 12), 5, "open")]
    (one,) = swarm_risk.find(hive.window(), seen, limits)
    assert one.start_s == hive.at(22, 12)  # weeks later the hive may swarm again


@pytest.mark.parametrize(
    ("eggs", "larvae", "is_risk"),
    # Laying 1,500 a day (3, 6 and 12 days; common practice, no source): it goes on; it stopped
    # three days ago, as before a swarm; it stopped seven days ago; it stopped ten days ago.
    [(4500, 9000, True), (0, 9000, True), (0, 3000, False), (0, 0, False)],
)
def test_cells_of_a_hive_whose_queen_is_gone_are_no_risk(
    made_up_hive: Callable, limits: object, eggs: int, larvae: int, *, is_risk: bool
) -> None:
    hive = made_up_hive(days=4)
    one = visit(hive.at(2, 12), 8, "capped")
    counted = one.model_copy(update={"brood": Brood(eggs=eggs, open=larvae, capped=18000)})
    assert len(swarm_risk.find(hive.window(), [counted], limits)) == is_risk


@pytest.mark.parametrize(
    ("eggs", "queen", "is_risk"),
    [
        (0, "not seen", False),  # raised in need, or left by a swarm
        (0, "absent", False),
        (0, "seen", True),  # she has stopped, as before a swarm
        (0, None, True),  # nobody wrote down whether she was looked for
        (3000, "not seen", True),  # somebody laid these within three days
    ],
)
def test_cells_where_neither_queen_nor_egg_is_found_are_no_risk(
    made_up_hive: Callable, limits: object, eggs: int, queen: str | None, *, is_risk: bool
) -> None:
    hive = made_up_hive(days=4)
    one = visit(hive.at(2, 12), 8, "open")
    counted = {"brood": Brood(eggs=eggs, open=9000, capped=18000), "queen": queen}
    seen = one.model_copy(update=counted)
    assert len(swarm_risk.find(hive.window(), [seen], limits)) == is_risk


@pytest.mark.parametrize(
    ("day", "latitude", "is_risk"),
    [
        ("2026-07-25", 50.0, True),
        ("2026-09-04", 50.0, False),  # to replace a queen
        ("2026-09-04", -36.0, True),  # spring
        ("2026-03-20", -36.0, False),
        ("2026-09-04", 28.0, True),  # no winter to speak of
    ],
)
def test_cells_of_late_summer_replace_a_queen(
    made_up_hive: Callable, limits: object, day: str, latitude: float, *, is_risk: bool
) -> None:
    window = made_up_hive(days=4).window()
    window = replace(window, yard=replace(window.yard, latitude=latitude))
    at_s = int(datetime.fromisoformat(f"{day}T12:00:00+00:00").timestamp())
    assert len(swarm_risk.find(window, [visit(at_s, 3, "open")], limits)) == is_risk


def judged(at_s: int, **shares: float) -> Inspection:
    """Ten sides of a nest, all alike."""
    nest = {"eggs": 0.0, "open": 0.1, "capped": 0.35, "honey": 0.4, "pollen": 0.1, "bees": 1.0}
    sides = [
        {"frame": number, "side": side, **nest, **shares}
        for number in range(1, 6)
        for side in ("a", "b")
    ]
    at = datetime.fromtimestamp(at_s, UTC).isoformat()
    return Inspection.model_validate({"hive": "hazel-1", "at": at, "frames": sides})


def test_a_crowded_nest_with_honey_where_brood_should_be_is_a_risk_that_rings_nobody(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive(days=4)
    (one,) = swarm_risk.find(hive.window(), [judged(hive.at(2, 12))], limits)
    assert one.measures == {"bees_share": 1.0, "stored_share": 0.5, "days_until_capped": 8}
    assert one.status == "open"
    assert one.confidence < UNSURE_BELOW


@pytest.mark.parametrize(
    "shares",
    [
        {"bees": 0.7},  # room above
        {"honey": 0.25, "capped": 0.5},  # a good brood comb: a third of stores around the brood
        {"open": 0.05, "capped": 0.05},  # stores, but cells to lay in as well
        {"eggs": 0.2, "open": 0.02, "capped": 0.2},  # she finds cells, as the eggs show
        {"open": 0.0, "capped": 0.0},  # no nest
    ],
)
def test_a_nest_with_room_is_no_risk(
    made_up_hive: Callable, limits: object, shares: dict[str, float]
) -> None:
    hive = made_up_hive(days=4)
    assert swarm_risk.find(hive.window(), [judged(hive.at(2, 12), **shares)], limits) == []


def test_sides_that_nobody_judged_say_nothing(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive(days=4)
    seen = judged(hive.at(2, 12))
    few = seen.model_copy(update={"frames": seen.frames[:3]})
    no_bees = tuple(side.model_copy(update={"bees": None}) for side in seen.frames)
    assert swarm_risk.find(hive.window(), [few], limits) == []
    assert (
        swarm_risk.find(hive.window(), [seen.model_copy(update={"frames": no_bees})], limits) == []
    )


def test_room_given_ends_the_risk_at_once_and_later(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive(days=9)
    room = {"actions": (Action(what="super added", kg=6.0),)}
    given = judged(hive.at(2, 12)).model_copy(update=room)
    assert swarm_risk.find(hive.window(), [given], limits) == []
    later = Inspection.model_validate(
        {"hive": "hazel-1", "at": datetime.fromtimestamp(hive.at(5, 12), UTC).isoformat()}
    ).model_copy(update=room)
    (one,) = swarm_risk.find(hive.window(), [judged(hive.at(2, 12)), later], limits)
    assert (one.status, one.end_s) == ("ended", hive.at(5, 12))


def test_cells_tell_more_than_a_crowd(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive(days=9)
    at_s = hive.at(2, 12)
    both = judged(at_s).model_copy(update={"queen_cells": visit(at_s, 4, "open").queen_cells})
    (one,) = swarm_risk.find(hive.window(), [both, judged(hive.at(4, 12))], limits)
    assert (one.measures["cells"], one.status) == (4, "open")  # nobody looked for cells again
    found = swarm_risk.find(hive.window(), [judged(at_s), visit(hive.at(5, 12), 4, "eggs")], limits)
    assert [(one.status, "cells" in one.measures) for one in found] == [
        ("ended", False),
        ("open", True),
    ]


@pytest.mark.parametrize(("day", "is_risk"), [("2026-05-20", True), ("2026-09-04", False)])
def test_a_crowd_of_late_summer_is_no_risk(
    made_up_hive: Callable, limits: object, day: str, *, is_risk: bool
) -> None:
    window = made_up_hive(days=4).window()
    at_s = int(datetime.fromisoformat(f"{day}T12:00:00+00:00").timestamp())
    assert len(swarm_risk.find(window, [judged(at_s)], limits)) == is_risk


def test_a_hive_that_swarmed_in_an_earlier_season_is_likelier_to(
    made_up_hive: Callable, limits: object
) -> None:
    quiet, hive = made_up_hive(days=99), made_up_hive(days=99)
    hive.add(hive.at(4, 13), -2.1, minutes=10)
    (before,) = swarm_risk.find(quiet.window(), [judged(quiet.at(97, 12))], limits)
    (one,) = swarm_risk.find(hive.window(), [judged(hive.at(97, 12))], limits)
    assert before.confidence < one.confidence < UNSURE_BELOW
