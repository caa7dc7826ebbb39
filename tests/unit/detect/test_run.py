"""All detectors over one hive, and who is told where two claim the same."""

from __future__ import annotations

from dataclasses import replace

import pytest

from hivewatch.detect.finding import Finding
from hivewatch.detect.run import (
    DETECTORS,
    PRECEDENCE,
    detect,
    is_of_yard,
    rests_on_yard,
    settle_claims,
    told_once,
)


def a(kind, start_s, end_s, subject="hive:hazel-1", status="ended"):
    return Finding(kind, subject, start_s, end_s, start_s, 0.9, status=status)


def test_of_two_that_claim_the_same_move_the_first_in_the_list_is_told():
    assert PRECEDENCE.index("taken") < PRECEDENCE.index("toppled") < PRECEDENCE.index("handling")
    toppled, handling = a("toppled", 100, 900), a("handling", 50, 120)
    assert settle_claims([handling, toppled]) == [toppled]


def test_while_it_lasts_a_fall_claims_every_later_move():
    toppled = a("toppled", 100, None, status="open")
    before, after = a("handling", 0, 50), a("handling", 5000, 5100)
    assert settle_claims([before, toppled, after]) == [toppled, before]


def test_the_handling_in_which_a_fall_ends_is_told_beside_it():
    toppled, set_up = a("toppled", 100, 900), a("handling", 800, 900)
    during = a("handling", 500, 600)
    assert settle_claims([toppled, during, set_up]) == [toppled, set_up]


def test_apart_in_time_both_are_told():
    found = [a("toppled", 100, 900), a("handling", 901, 950)]
    assert settle_claims(found) == found


def test_a_nest_that_cools_because_the_hive_fell_is_not_told_beside_it():
    day = 86_400
    toppled = a("toppled", 10 * day, 20 * day)
    colder, warmer = a("brood_end", 9 * day, 9 * day), a("brood_onset", 21 * day, 21 * day)
    later = a("brood_end", 60 * day, 60 * day)
    assert settle_claims([colder, warmer, later, toppled]) == [later, toppled]


def test_of_a_dead_hive_its_death_is_told_and_not_its_brood():
    day = 86_400
    dead = a("dead_out", 10 * day, None, status="open")
    colder, before = a("brood_end", 11 * day, 11 * day), a("brood_end", 2 * day, 2 * day)
    assert settle_claims([colder, before, dead]) == [before, dead]


def test_of_a_colony_that_left_whole_the_swarm_and_the_empty_hive_are_told():
    day = 86_400
    swarm, empty = a("swarm", 10 * day, 10 * day + 900), a("dead_out", 11 * day, None)
    assert settle_claims([swarm, empty]) == [empty, swarm]


def test_a_hive_that_is_set_up_again_and_stays_empty_is_dead_as_well():
    day = 86_400
    toppled = a("toppled", 10 * day, 20 * day)
    dead, cold = a("dead_out", 11 * day, None, status="open"), a("dead_out", 11 * day, 20 * day)
    assert settle_claims([toppled, dead]) == [dead, toppled]
    assert settle_claims([toppled, cold]) == [toppled]


@pytest.mark.parametrize(("kind", "after_d", "told"), [
    ("toppled", 2, False), ("toppled", 20, True), ("taken", 20, False),
])  # fmt: skip
def test_bees_that_lived_on_beside_their_scale_may_die_there(
    kind: str, after_d: int, *, told: bool
) -> None:
    day = 86_400
    fell = a(kind, 10 * day, None, status="open")
    dead = a("dead_out", (10 + after_d) * day, None, status="open")
    assert (dead in settle_claims([fell, dead])) is told


def test_other_subjects_and_other_kinds_are_left_alone():
    found = [
        a("silent", 100, 900, "device:scale-1"),
        a("toppled", 100, 900),
        a("handling", 100, 900, "hive:hazel-2"),
    ]
    assert settle_claims(found) == found


def test_findings_come_by_time_and_without_ids(made_up_hive, limits):
    hive = made_up_hive(step_s=300, days=5)
    hive.add(hive.at(2, 12), 5.0)
    hive.fall(hive.at(4, 2), 1.0)
    window = hive.window()
    found = detect(window, (), limits, window.as_of_s)
    assert [one.kind for one in found] == ["handling", "toppled"]
    assert [one.start_s for one in found] == sorted(one.start_s for one in found)
    assert {one.id for one in found} == {""}
    assert {one.subject for one in found} == {"hive:hazel-1"}


def test_nothing_later_than_the_moment_counts(made_up_hive, limits):
    hive = made_up_hive(step_s=300, days=5)
    hive.fall(hive.at(4, 2), 1.0)
    assert detect(hive.window(), (), limits, hive.at(4, 2)) == []


def test_time_that_passes_without_readings_counts(made_up_hive, limits):
    hive = made_up_hive(step_s=300, days=2)
    found = detect(hive.window(), (), limits, hive.at(9, 0))
    assert [one.kind for one in found] == ["silent"]


def test_every_detector_is_a_room_of_its_own():
    names = [detector.__name__.rsplit(".", 1)[-1] for detector in DETECTORS]
    assert {"handling", "off_scale", "device"} <= set(names)
    assert len(set(names)) == len(names)
    assert all(callable(detector.find) for detector in DETECTORS)


def test_a_kind_that_gives_way_is_not_told_with_the_other_and_leaves_it_its_place():
    robbing = a("robbing", 100, 900)
    for other in ("taken", "toppled"):
        assert settle_claims([robbing, a(other, 500, 600)]) == [a(other, 500, 600)]
    assert settle_claims([robbing, a("forager_loss", 200, 950)]) == [robbing]
    assert settle_claims([robbing, a("handling", 500, 600)]) == [robbing, a("handling", 500, 600)]
    swarm = a("swarm", 100, 900)
    assert settle_claims([a("orientation_flight", 800, 1000), swarm]) == [swarm]
    later = a("orientation_flight", 1000, 1200)
    assert settle_claims([later, swarm]) == [later, swarm]


def a_robbing(start_s, end_s, told_s, **measures):
    status = "open" if end_s is None else "ended"
    return Finding("robbing", "hive:hazel-1", start_s, end_s, told_s, 0.7, measures, status=status)


@pytest.mark.parametrize("is_first_by_yard", [True, False])
def test_one_robbing_that_weight_and_neighbours_tell_stays_the_one_told_first(is_first_by_yard):
    day = 86_400
    first, later = {"kg_behind_yard": 0.6}, {"kg_lost": 2.5}
    if not is_first_by_yard:
        first, later = later, first
    one = a_robbing(1 * day, 3 * day, 2 * day, **first)
    other = a_robbing(4 * day, None, 4 * day + 600, **later)
    for found in ([one, other], [other, one]):
        (told,) = told_once(found)
        assert (told.start_s, told.detected_s) == (one.start_s, one.detected_s)
        assert (told.end_s, told.status) == (None, "open")
        assert rests_on_yard(told) == is_first_by_yard
        assert is_of_yard(told)
        assert told.measures["kg_lost"] == 2.5
    over = replace(other, end_s=9 * day, status="ended")
    (told,) = told_once([one, over])
    assert (told.end_s, told.status) == (9 * day, "ended")


def test_what_goes_on_with_two_robbings_makes_them_one():
    day = 86_400
    before, after = a_robbing(1 * day, 2 * day, 1 * day), a_robbing(12 * day, 13 * day, 12 * day)
    assert told_once([after, before]) == [before, after]
    (told,) = told_once([before, after, a_robbing(0, None, 14 * day)])
    assert (told.start_s, told.end_s) == (before.start_s, None)


def test_robbings_of_other_hives_and_what_else_is_told_stay_as_they_are():
    day = 86_400
    one = a_robbing(1 * day, 3 * day, 2 * day)
    far, other = replace(one, start_s=8 * day, end_s=9 * day), replace(one, subject="hive:hazel-2")
    flow = replace(one, kind="nectar_flow", subject="yard:hazel-end")
    assert told_once([flow, far, other, one]) == [flow, other, one, far]
    explained = replace(one, status="explained", explained_by="a")
    assert told_once([explained, a_robbing(3 * day, None, 3 * day)]) == [explained]
