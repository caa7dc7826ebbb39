"""Toppled and taken: told with the second reading, and not of a keeper's visit."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.detect import off_scale
from hivewatch.detect.run import detect, look_again_s

STEPS_MIN = (1, 5, 10, 15, 30, 60)
OWN = ("handling", "toppled", "taken")


@pytest.fixture
def said(limits):
    def ask(window, kinds=OWN):
        return [one for one in detect(window, (), limits, window.as_of_s) if one.kind in kinds]

    return ask


def second_reading_after(hive, at_s):
    return int(hive.time_s[np.searchsorted(hive.time_s, at_s, side="right") + 1])


@pytest.mark.parametrize("step_min", STEPS_MIN)
@pytest.mark.parametrize("hour", [2.2, 14.2])
@pytest.mark.parametrize(("left_kg", "swing_kg"), [(0.3, 0.0), (3.0, 0.0), (6.0, 4.0)])
def test_a_toppled_hive_is_told_by_the_second_reading(
    made_up_hive, said, step_min, hour, left_kg, swing_kg
):
    hive = made_up_hive(step_s=60 * step_min, days=4)
    fell_s = hive.at(2, hour)
    hive.fall(fell_s, left_kg, swing_kg=swing_kg)
    hive.cool(fell_s, hours=2)
    (toppled,) = said(hive.window())
    assert toppled.kind == "toppled"
    assert fell_s < toppled.start_s <= fell_s + hive.step_s
    assert toppled.detected_s == second_reading_after(hive, fell_s)
    assert toppled.end_s is None
    assert toppled.status == "open"
    assert toppled.measures["kg"] == pytest.approx(left_kg - 38.5, abs=swing_kg + 2)
    (then,) = said(hive.window(until_s=toppled.detected_s))
    assert (then.kind, then.start_s, then.detected_s) == (
        "toppled",
        toppled.start_s,
        toppled.detected_s,
    )


@pytest.mark.parametrize("step_min", STEPS_MIN)
@pytest.mark.parametrize("hour", [2.2, 14.2])
@pytest.mark.parametrize("left_kg", [-0.4, 0.0, 1.0])
def test_a_hive_that_is_taken_with_its_probe_is_told_by_the_second_reading(
    made_up_hive, said, step_min, hour, left_kg
):
    hive = made_up_hive(step_s=60 * step_min, days=4)
    gone_s = hive.at(2, hour)
    hive.fall(gone_s, left_kg)
    (taken,) = said(hive.window(gone=("nest", gone_s)))
    assert taken.kind == "taken"
    assert taken.detected_s == second_reading_after(hive, gone_s)
    assert taken.end_s is None


@pytest.mark.parametrize("step_min", [5, 15, 30])
def test_a_probe_left_behind_in_the_open_says_taken(made_up_hive, said, step_min):
    hive = made_up_hive(step_s=60 * step_min, days=4)
    gone_s = hive.at(2, 2.2)
    hive.fall(gone_s, 0.1)
    hive.cool(gone_s, hours=0.05)
    (taken,) = said(hive.window())
    assert taken.kind == "taken"
    assert any("probe" in words for words in taken.evidence)


@pytest.mark.parametrize("step_min", STEPS_MIN)
def test_without_a_nest_probe_an_empty_scale_says_taken_and_remains_say_toppled(
    made_up_hive, said, step_min
):
    for left_kg, kind in ((0.2, "taken"), (3.5, "toppled")):
        hive = made_up_hive(step_s=60 * step_min, days=4)
        hive.fall(hive.at(2, 2.2), left_kg)
        assert [one.kind for one in said(hive.window(("weight",)))] == [kind]


@pytest.mark.parametrize(("left_kg", "kind"), [(0.1, "taken"), (0.9, "toppled"), (-0.2, "taken")])
def test_where_nothing_but_the_scale_tells_what_is_left_says_which_and_how_unsure(
    made_up_hive, said, left_kg, kind
):
    hive = made_up_hive(days=4)
    hive.fall(hive.at(2, 14.2), left_kg)
    (one,) = said(hive.window(("weight",)))
    assert (one.kind, one.confidence) == (kind, off_scale.UNSURE)
    assert "nothing else tells" in one.evidence[1]


@pytest.mark.parametrize(
    ("share", "after_h", "kind"), [(0.2, 0, "toppled"), (0.2, 1, "toppled"), (0.0, 0, "taken")]
)
def test_bees_that_still_pass_the_entrance_say_that_it_lies_there(
    made_up_hive, said, share, after_h, kind
):
    hive = made_up_hive(days=4)
    fell_s = hive.at(2, 14.2)
    hive.fall(fell_s, 0.0)
    left = np.where(hive.time_s > fell_s + 3600 * after_h, 1000 * share, 0.0)
    hive.series["bees-out"] = np.where(hive.time_s > fell_s, left, 1000.0)
    hive.series["bees-in"] = hive.series["bees-out"]
    (one,) = said(hive.window(("weight", "bees-in", "bees-out")))
    assert one.kind == kind
    assert 3600 * after_h <= one.detected_s - fell_s <= 3600 * after_h + 3 * hive.step_s
    known = hive.window(("weight", "bees-in", "bees-out"), until_s=fell_s + 2 * hive.step_s)
    assert [first.kind for first in said(known)] == [
        "toppled" if share and not after_h else "taken"
    ]


def test_a_nest_that_cools_makes_it_surer(made_up_hive, said):
    hive = made_up_hive(days=4)
    fell_s = hive.at(2, 14)
    hive.fall(fell_s, 2.0)
    hive.cool(fell_s, hours=2)
    (early,) = said(hive.window(until_s=fell_s + 900))
    (late,) = said(hive.window())
    assert early.confidence < late.confidence == 0.98
    assert early.detected_s == late.detected_s
    assert any("cooled" in words for words in late.evidence)


def test_a_nest_that_stays_as_warm_speaks_for_a_broken_scale(made_up_hive, said):
    hive = made_up_hive(days=4)
    fell_s = hive.at(2, 14)
    hive.fall(fell_s, 0.0)
    (early,) = said(hive.window(until_s=fell_s + 900))
    (late,) = said(hive.window())
    assert early.kind == late.kind == "toppled"
    assert late.confidence == 0.5 < early.confidence
    assert "look at the scale" in late.evidence[-1]


def test_a_scale_that_goes_light_and_silent_was_taken_with_its_hive(made_up_hive, said, limits):
    hive = made_up_hive(step_s=600, days=4)
    gone_s = hive.at(2, 2)
    hive.fall(gone_s, 0.2)
    last_s = int(hive.time_s[np.searchsorted(hive.time_s, gone_s, side="right")])
    last = hive.window(("weight",), until_s=last_s)
    assert said(last) == []
    again_s = look_again_s(last, limits)
    assert again_s == last_s + 180 * 60 + 1
    (taken,) = [one for one in detect(last, (), limits, again_s) if one.kind == "taken"]
    assert taken.detected_s == again_s - 1
    assert off_scale.next_look_s(hive.window(("weight",), until_s=gone_s), limits) is None


def test_a_hive_set_up_again_ends_it(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=4)
    fell_s, up_s = hive.at(2, 2), hive.at(2, 9.5)
    hive.fall(fell_s, 2.0, until_s=up_s)
    toppled, handling = said(hive.window())
    assert toppled.kind == "toppled"
    assert toppled.end_s == up_s + 300
    assert toppled.status == "ended"
    assert (handling.kind, handling.end_s) == ("handling", up_s + 300)
    assert "set on the scale" in handling.evidence[0]


@pytest.mark.parametrize("step_min", [1, 5, 10, 15])
def test_a_hive_off_its_scale_for_less_than_an_hour_was_handled(made_up_hive, said, step_min):
    hive = made_up_hive(step_s=60 * step_min, days=4)
    off_s, on_s = hive.at(2, 14), hive.at(2, 14.7)
    hive.fall(off_s, 0.5, until_s=on_s)
    (handling,) = said(hive.window())
    assert handling.kind == "handling"
    assert handling.measures["kg_lifted"] == pytest.approx(38, abs=2)
    # while it is off nobody can know: it is told, and withdrawn when it is back
    told = said(hive.window(until_s=off_s + 3 * hive.step_s), ("toppled", "taken"))
    assert len(told) == 1


@pytest.mark.parametrize("step_s", [60, 300, 900])
@pytest.mark.parametrize("kg", [0.0, -3.0, 299.0])
def test_one_bad_reading_is_nothing(made_up_hive, said, step_s, kg):
    hive = made_up_hive(step_s=step_s, days=4)
    hive.series["weight"][[200, 300]] = kg
    assert said(hive.window()) == []


@pytest.mark.parametrize("step_s", [600, 1800])
def test_a_bad_scale_that_reads_far_too_much_twice_is_nothing(made_up_hive, said, step_s):
    hive = made_up_hive(step_s=step_s, days=4)
    hive.series["weight"][[100, 102]] += 150.0
    assert [one.kind for one in said(hive.window()) if one.kind != "handling"] == []


def test_honey_taken_off_is_handling(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=4)
    hive.add(hive.at(1, 12), 40)
    hive.add(hive.at(2, 12), -45, 10)
    assert [one.kind for one in said(hive.window())] == ["handling", "handling"]


def test_a_hive_that_loses_half_by_night_is_toppled(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=4)
    hive.add(hive.at(2, 1), -19)
    assert [one.kind for one in said(hive.window())] == ["toppled"]


@pytest.mark.parametrize("step_min", [5, 15, 30])
@pytest.mark.parametrize("hours", [0.7, 2.0])
def test_a_hive_that_loses_half_by_day_lies_there_if_its_nest_goes_cold(
    made_up_hive, said, step_min, hours
):
    hive = made_up_hive(step_s=60 * step_min, days=4)
    fell_s = hive.at(2, 12)
    hive.fall(fell_s, 16.0)
    assert [one.kind for one in said(hive.window())] == ["handling"]
    hive.cool(fell_s, hours=hours)
    (toppled,) = said(hive.window())
    assert (toppled.kind, toppled.status) == ("toppled", "open")
    assert toppled.detected_s - fell_s <= (0.7 * hours * 3600) + 2 * hive.step_s
    (then,) = said(hive.window(until_s=toppled.detected_s))
    assert (then.kind, then.start_s) == ("toppled", toppled.start_s)


def test_a_probe_that_cools_in_its_cage_within_half_an_hour_was_taken(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=4)
    hive.fall(hive.at(2, 14), 0.1)
    hive.cool(hive.at(2, 14), hours=0.35)
    assert [one.kind for one in said(hive.window())] == ["taken"]


def test_a_hive_taken_apart_for_an_hour_in_the_cold_does_not_lie_there(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=4)
    hive.fall(hive.at(2, 12), 16.0, until_s=hive.at(2, 12) + 3000)
    hive.cool(hive.at(2, 12), hours=0.7)
    assert "toppled" not in [one.kind for one in said(hive.window())]


def test_a_keeper_who_moves_hive_and_scale_away_is_no_thief(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=3)
    hive.fall(hive.at(2, 12), 0.0)
    hive.devices = [("scale-1", hive.at(0, 0), hive.at(2, 14))]
    window = hive.window(("weight",))
    assert [one.kind for one in said(window, ("toppled", "taken"))] == []
    assert [one.kind for one in said(window.at(hive.at(2, 13)), ("toppled", "taken"))] == ["taken"]


def test_a_new_scale_that_starts_from_nothing_is_no_theft(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=3)
    new_s = hive.at(2, 12)
    hive.devices = [("scale-1", hive.at(0, 0), new_s), ("scale-2", new_s, None)]
    hive.fall(new_s - 1, 0.0)
    assert said(hive.window(("weight",)), ("toppled", "taken")) == []


def test_the_weight_of_the_empty_hive_sets_what_is_nothing(made_up_hive, said):
    for empty_kg, kinds in ((None, ["toppled"]), (18.0, ["handling"])):
        hive = made_up_hive(step_s=300, days=3, empty_kg=empty_kg)
        hive.fall(hive.at(2, 12), 10.0)
        assert [one.kind for one in said(hive.window(("weight",)))] == kinds


@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_a_few_readings_do_no_harm(made_up_hive, said, n):
    hive = made_up_hive(step_s=300, days=1)
    window = hive.window(until_s=int(hive.time_s[0]) + 300 * (n - 1))
    assert len(window.of("weight")) == n
    assert said(window) == []


def test_a_toppled_hive_whose_scale_then_falls_silent_is_not_taken_as_well(made_up_hive, limits):
    hive = made_up_hive(step_s=600, days=4)
    hive.fall(hive.at(2, 2), 4.0)
    two = hive.window(("weight",), until_s=hive.at(2, 2) + 1200)
    assert [one.kind for one in detect(two, (), limits, hive.at(3, 2)) if one.kind in OWN] == [
        "toppled"
    ]
