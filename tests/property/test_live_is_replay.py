"""The daemon that evaluates as data come in, and a replay over history, find the same.

Arrival orders, repeats, late blocks, wrong clocks, restarts and inspections at random moments; the
clock is turned by hand. Nothing here knows what the detectors ought to find: the two ways of asking
are held against each other, and against one look over everything with nothing kept in between.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from lived import (
    DAY_S,
    LIMITS,
    START_S,
    Course,
    Life,
    Live,
    courses,
    in_order,
    lives,
    play,
    without_ids,
)

from hivewatch import watch
from hivewatch.detect import run
from hivewatch.replay import find
from hivewatch.signals.days import days_of
from hivewatch.signals.weighed import as_weighed
from hivewatch.store import apiary, inspections
from hivewatch.store.open import Store
from hivewatch.store.windows import read_window


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    made = Store(tmp_path_factory.mktemp("store") / "hivewatch.db")
    yield made
    made.close()


def seeded(examples):
    return settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    )


@seeded(12)
@given(life=lives, course=courses)
def test_when_all_has_come_the_findings_are_those_of_one_look_over_everything(store, life, course):
    live = Live(store)
    told = play(live, life, course)
    now_s, standing = max(told.items())
    with store.read() as connection:
        known = apiary.read(connection)
        whole, days = [], {}
        for hive in ("hazel-1", "hazel-2"):
            noted = inspections.read(connection, hive=hive)
            window = read_window(connection, known, hive, now_s)
            whole += watch.find(window, noted, LIMITS.alerts, now_s)
            days[hive] = as_weighed(days_of(window))
        whole = run.told_once([*whole, *run.detect_yard(known.yards[0], days)])
    assert without_ids(standing) == without_ids(whole)
    assert len({one.id for one in standing}) == len(standing)


@seeded(12)
@given(life=lives, course=courses)
def test_a_replay_of_any_moment_tells_what_was_told_then(store, life, course):
    live = Live(store)
    told = play(live, life, course)
    for moment_s, then in told.items():
        replayed = find(store, LIMITS.alerts, as_of_s=moment_s, is_replay=True)
        assert without_ids(replayed) == without_ids(then), datetime.fromtimestamp(moment_s, UTC)


@seeded(8)
@given(life=lives, course=courses)
def test_what_came_in_time_keeps_its_name(store, life, course):
    live = Live(store)
    told = play(live, life, replace(course, late=[], shuffled=False))
    for moment_s, then in told.items():
        assert in_order(find(store, LIMITS.alerts, as_of_s=moment_s, is_replay=True)) == then


@seeded(8)
@given(life=lives, one=courses, other=courses)
def test_two_orders_of_arrival_end_in_the_same_findings(store, life, one, other):
    """Wrong clocks aside: whether a time is ahead depends on when it comes."""
    life = replace(life, wrong_clock=[])
    visits = one.visits
    ends = []
    for course in (one, replace(other, visits=visits)):
        live = Live(store)
        play(live, life, course)
        live.clock.at_s = START_S + 9 * DAY_S
        ends.append(without_ids(live.look()))
    assert ends[0] == ends[1]


def test_a_clock_so_wrong_that_nothing_is_stored_is_told_at_once(store):
    live = Live(store)
    live.clock.at_s = START_S + DAY_S
    assert "clock" not in {one.kind for one in live.look()}
    ahead = json.dumps([{"t": START_S + 9 * DAY_S, "n": "weight", "u": "kg", "v": 40.0}]).encode()
    live.take([(live.clock.at_s, "scale-1", ahead)])
    assert "clock" in {one.kind for one in live.look()}


def test_such_a_life_is_told_of(store):
    """The properties above would hold for detectors that say nothing."""
    life = Life(1, 50.0, 12.0, 20.0, [(30.0, 39.0)], [(5.0, 3.0)])
    told = play(Live(store), life, Course([], 0.0, shuffled=False, looks=0, restarts=0, visits=[]))
    kinds = {one.kind for one in max(told.items())[1]}
    assert {"toppled", "silent", "low_battery", "clock"} <= kinds
