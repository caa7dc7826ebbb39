"""Boxes that were put on and taken off: as written down, or as their steps look."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hivewatch.inspections import Inspection
from hivewatch.signals import boxes
from hivewatch.signals.days import days_of
from hivewatch.signals.window import Series

FOOD = [(3, False, False), (2, False, True), (9, False, True), (9, True, False), (3, True, True)]


@pytest.fixture
def hive(made_up_hive):
    return made_up_hive(days=20, flow_kg=0.0, empty_kg=21.5)


def seen(hive, day, *actions):
    at = np.datetime64(hive.at(day, 12), "s").item().isoformat() + "+00:00"
    told = {"hive": "hazel-1", "at": at, "actions": list(actions)}
    return Inspection.model_validate(told, strict=False)


def found(hive, *visits, rough_kg=12.0):
    window = hive.window()
    days = days_of(window)
    rough = np.full(len(days), rough_kg)
    return boxes.boxes_of(window, days, days.dawn_kg, rough, visits)


def test_what_is_written_down_counts(hive) -> None:
    hive.add(hive.at(5, 12), 9.7)
    fed = {"what": "fed", "kg": 3.5}
    visit = seen(hive, 5, fed, {"what": "super added", "kg": 6.2})
    assert found(hive, visit).kg[[5, 6, 19]].tolist() == [0.0, 6.2, 6.2]
    unweighed = found(hive, seen(hive, 5, fed, {"what": "super added"})).kg
    assert unweighed[6] == pytest.approx(6.2, abs=0.2)


def test_a_visit_that_says_nothing_of_a_box_leaves_it_to_its_step(hive) -> None:
    hive.add(hive.at(5, 12), 6.2)
    assert found(hive, seen(hive, 5)).kg.tolist() == found(hive).kg.tolist()
    assert found(hive, seen(hive, 5, {"what": "fed"})).kg[-1] == 0


def test_a_box_that_was_put_on_while_the_scale_was_silent_counts(hive) -> None:
    """From the visit on, if the hive is the heavier for it."""
    hive.add(hive.at(8, 12), 6.2)
    window = hive.window()
    heard = (hive.time_s < hive.at(6, 12)) | (hive.time_s > hive.at(10, 12))
    weight = Series(hive.time_s[heard], hive.series["weight"][heard])
    days = days_of(replace(window, series={"weight": weight}))
    kg = {
        day: boxes.boxes_of(window, days, days.dawn_kg, np.full(len(days), 12.0), [visit]).kg
        for day in (8, 15)
        for visit in [seen(hive, day, {"what": "super added", "kg": 6.2})]
    }
    assert kg[8][[8, 9, 19]].tolist() == [0.0, 6.2, 6.2]
    assert kg[15][-1] == 0


@pytest.mark.parametrize(("month", "is_south", "is_food"), FOOD)
def test_it_is_fed_in_autumn_and_in_winter(month, is_south, is_food) -> None:
    """Common practice, no source; in spring it goes by what is left."""
    at_s = int(np.datetime64(f"2025-{month:02d}-15T12:00", "s").astype(np.int64))
    assert boxes._is_fed_then(boxes._Opening(at_s, at_s, 6.2), is_south=is_south) is is_food


def test_one_visit_in_two_steps_counts_once(hive) -> None:
    hive.add(hive.at(5, 11.5), 6.2)
    hive.add(hive.at(5, 12.5), 3.5)
    visit = seen(hive, 5, {"what": "super added", "kg": 6.2}, {"what": "fed", "kg": 3.5})
    assert found(hive, visit).kg[-1] == 6.2


def test_what_is_lifted_off_and_put_on_again_is_no_box(hive) -> None:
    hive.add(hive.at(5, 12), -7.2)
    hive.add(hive.at(5, 12.4), 7.2)
    hive.add(hive.at(9, 12), -6.0)
    hive.add(hive.at(9, 12.5), 12.3)
    one = found(hive)
    assert one.kg[8] == 0
    assert one.doubt_kg2[6] == 0
    assert one.kg[10] == pytest.approx(6.3, abs=0.2)


def test_a_step_that_nobody_wrote_down_is_a_box_where_there_is_food(hive) -> None:
    hive.add(hive.at(5, 12), 6.2)
    rich, poor = found(hive), found(hive, rough_kg=3.0)
    assert rich.kg[6] == pytest.approx(6.2, abs=0.2)
    assert poor.kg[6] == 0
    assert rich.doubt_kg2[6] == pytest.approx(boxes.LIKELY_KG**2)
    assert poor.doubt_kg2[6] == pytest.approx(boxes.UNTOLD_KG**2)
    assert rich.doubt_kg2[[4, 5, 7]].tolist() == [0, 0, 0]


def test_with_two_full_combs_it_is_room_and_a_great_step_is_room_and_food(hive) -> None:
    """Two full combs, 4 kg, are the least a keeper leaves: common practice, no source."""
    hive.add(hive.at(5, 12), 6.2)
    hive.add(hive.at(9, 12), 9.8)
    assert found(hive, rough_kg=4.5).kg[6] == pytest.approx(6.2, abs=0.2)
    poor = found(hive, rough_kg=2.0)
    assert poor.kg[[6, 10]].tolist() == [0.0, boxes.EMPTY_BOX_KG]
    assert poor.doubt_kg2[10] == pytest.approx(boxes.LIKELY_KG**2)


def test_a_harvest_takes_all_and_their_doubt(hive) -> None:
    hive.add(hive.at(5, 12), 6.2)
    hive.add(hive.at(9, 12), -16.0)
    for visits in ((), (seen(hive, 9, {"what": "harvested", "kg": 16.0}),)):
        one = found(hive, *visits)
        assert one.kg[10] == 0
        assert np.flatnonzero(one.are_off).tolist() == [10]


def test_a_hive_that_fell_keeps_its_boxes(hive) -> None:
    hive.add(hive.at(3, 12), 6.2)
    hive.fall(hive.at(10, 1), 0.3, until_s=hive.at(14, 10))
    one = found(hive)
    assert one.kg[[4, 12, 16]] == pytest.approx([6.2, 6.2, 6.2], abs=0.2)
    assert not one.are_off.any()


def test_a_hive_that_was_set_up_without_its_boxes_has_none(hive) -> None:
    hive.add(hive.at(3, 12), 6.2)
    hive.fall(hive.at(10, 1), 0.3, until_s=hive.at(14, 10))
    hive.add(hive.at(14, 10), -18.0)  # 44 kg fell, 26 kg were set up
    assert found(hive).kg[[4, 12, 16]] == pytest.approx([6.2, 6.2, 0.0], abs=0.2)


def test_one_of_several_boxes_is_taken_off(hive) -> None:
    """One with honey, or two without: that stays in doubt unless somebody wrote it down."""
    for day in (3, 6, 9):
        hive.add(hive.at(day, 12), 6.2)
    hive.add(hive.at(12, 12), -7.0)
    assert found(hive, rough_kg=40.0).doubt_kg2[13] == pytest.approx(boxes.UNTOLD_KG**2)
    written = found(hive, seen(hive, 12, {"what": "super removed"}), rough_kg=40.0)
    assert written.doubt_kg2[13] < 0.1
    assert found(hive, rough_kg=40.0).kg[13] == pytest.approx(3 * 6.2 - boxes.EMPTY_BOX_KG, abs=0.3)
