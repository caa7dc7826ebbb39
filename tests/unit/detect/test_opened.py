"""Openings that only the course of the nest's warmth shows, on made-up nests."""

from __future__ import annotations

import pytest
from nests import MadeUpNest

from hivewatch.detect import opened


def startled(hour, kelvin=0.9):
    """A nest in May in England that heats at once at an hour of the twentieth day."""
    nest = MadeUpNest(first="2026-05-01", days=24)
    nest.add(nest.at(20, hour), nest.at(20, hour + 1), kelvin, hours=0.2)
    return nest


@pytest.mark.parametrize("quantities", [("nest",), ("nest", "weight"), ("nest", "bees-in")])
def test_a_startled_nest_by_day_is_an_opening(limits, quantities):
    nest = startled(14)
    (one,) = opened.find(nest.window(quantities), (), limits)
    assert (one.kind, one.subject, one.status) == ("handling", "hive:hazel-1", "ended")
    assert abs(one.start_s - nest.at(20, 14)) <= 1800
    assert one.start_s < one.detected_s == one.end_s
    assert one.confidence == 0.5
    assert 0.6 <= one.measures["nest_rose_k"] <= 1.0


def test_at_night_nobody_opens_a_hive(limits):
    assert opened.find(startled(1).window(("nest",)), (), limits) == []


def test_a_swarm_that_left_startled_the_nest(limits):
    nest = startled(14)
    nest.lose(nest.at(20, 14.5), 2.0)
    assert opened.find(nest.window(("nest", "weight")), (), limits) == []


def test_a_step_of_the_scale_is_told_by_the_scale(limits):
    nest = startled(14)
    nest.lose(nest.at(20, 14.2), -6.0)
    assert opened.find(nest.window(("nest", "weight")), (), limits) == []


def test_without_a_nest_there_is_nothing_to_say(limits):
    assert opened.find(startled(14).window(("weight",)), (), limits) == []
