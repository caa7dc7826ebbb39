"""Dates that nobody kept, and a hive that is gone: what the round still asks for."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from visited import AT_S, DAY_S, HOUR_S, found, visit

from hivewatch.apiary import Hive
from hivewatch.rounds import ADVICE
from hivewatch.timeline.reasons import wants_of
from hivewatch.timeline.wants import Facts

HIVE = Hive("hazel-1", "hazel", "langstroth-deep", 10, 1)
ZONE = ZoneInfo("Europe/London")
COUNTED = visit(AT_S, name="count", adults=20000)


def wants(days, *more):
    """Give the reasons so many days after a swarm at a hive that was counted that morning."""
    swarm = found("swarm", AT_S + HOUR_S, subject="hive:hazel-1")
    known = Facts(HIVE, (swarm, *more), (COUNTED,))
    return wants_of(known, ADVICE, AT_S + days * DAY_S, ZONE, 52.2).reasons


@pytest.mark.parametrize(
    ("days", "asked"),
    [
        (2, ["look for cells"]),
        (6, ["look for cells"]),  # three days late, and still of use
        (30, ["failed if no eggs"]),  # of three dates that are past, the one that matters now
        (50, ["failed if no eggs"]),
    ],
)
def test_a_date_that_is_past_gives_way_to_the_next(days, asked):
    assert [one.about for one in wants(days) if one.source == "queen date"] == asked


def test_no_reason_says_of_a_day_that_is_past_that_it_is_still_to_come():
    for days in range(60):
        today = datetime.fromtimestamp(AT_S + days * DAY_S, UTC).astimezone(ZONE).date()
        for one in wants(days):
            if one.source == "queen date":
                assert ("it is late already" in one.why) == (one.by < today)


def test_of_a_hive_that_is_gone_nothing_else_is_said():
    gone = found("taken", AT_S + 20 * DAY_S, lasts_s=None, subject="hive:hazel-1")
    silent = found("silent", AT_S + 20 * DAY_S, lasts_s=None, subject="device:probe-1")
    assert {one.about for one in wants(25)} != {"taken"}
    assert [one.about for one in wants(25, gone, silent)] == ["taken"]


def test_of_a_dead_hive_no_super_no_count_and_no_queen_is_asked_for():
    dead = found("dead_out", AT_S + 20 * DAY_S, lasts_s=None, subject="hive:hazel-1")
    silent = found("silent", AT_S + 20 * DAY_S, lasts_s=None, subject="device:probe-1")
    assert {one.about for one in wants(25, silent)} >= {"count", "look for eggs"}
    assert {one.about for one in wants(25, dead, silent)} == {"dead_out", "silent"}


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (0, "The brood boxes will be full on 19 May: a super by 16 May"),
        (5, "The brood boxes will be full on 19 May: a super today"),
        (7, "The brood boxes are full: a super today"),
        (9, "The brood boxes have been full since 19 May: a super today"),
    ],
)
def test_a_day_that_is_past_is_said_as_past(days, words):
    room = {"super_by": "2026-05-16", "crowded_on": "2026-05-19"}
    known = Facts(HIVE, (), (COUNTED,), {"as_of": "2026-05-12", "room": room})
    told = wants_of(known, ADVICE, AT_S + days * DAY_S, ZONE, 52.2).reasons
    assert [one.words for one in told if one.source == "outlook"] == [words]


def test_a_super_that_is_due_when_the_hive_may_be_opened_again_keeps_its_day():
    virgin = visit(AT_S, name="virgin", queen="virgin", adults=9000)  # closed until 22 May
    room = {"super_by": "2026-05-24", "crowded_on": "2026-05-27"}
    known = Facts(HIVE, (), (virgin,), {"as_of": "2026-05-12", "room": room})
    told = wants_of(known, ADVICE, AT_S, ZONE, 52.2)
    assert told.closed_until == date(2026, 5, 22)
    assert [one.by for one in told.reasons if one.about == "super"] == [date(2026, 5, 24)]
