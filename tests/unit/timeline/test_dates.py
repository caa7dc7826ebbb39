"""What starts a queen calendar, and what settles it."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from visited import AT_S, DAY_S, found, visit

from hivewatch.inspections import Brood, QueenCells
from hivewatch.timeline.dates import queen_events

LONDON = ZoneInfo("Europe/London")
DAY = date(2026, 5, 12)


def events(findings=(), visits=(), days=0):
    return queen_events(findings, visits, LONDON, DAY + timedelta(days=days))


def cells(count=4, stage="capped"):
    return QueenCells(count=count, stage=stage)


@pytest.mark.parametrize(
    ("seen", "starts"),
    [
        ({"queen_cells": cells(stage="eggs")}, "cell with egg"),
        ({"queen_cells": cells(stage="open")}, "open cell"),
        ({"queen_cells": cells()}, "capped cell"),
        ({"queen_cells": cells(stage="emerged")}, "emerged cell"),
        ({"queen": "virgin"}, "virgin seen"),
        ({"queen": "absent"}, "queen lost"),
        ({"queen": "absent", "queen_cells": cells()}, "capped cell"),
    ],
)
def test_what_a_visit_sees_starts_a_calendar(seen, starts):
    (one,) = events(visits=[visit(**seen)])
    assert (one.seen, one.on, one.over_s, one.id) == (starts, DAY, None, "v1")


def test_nothing_to_see_starts_nothing():
    assert events(visits=[visit(), visit(queen="seen"), visit(queen_cells=cells(0, None))]) == []
    assert events(visits=[visit(queen_cells=cells(3, "cups"))]) == []  # cups are always there


def test_a_swarm_and_a_new_queen_start_one():
    assert events([found("swarm", kg=2.0)])[0].seen == "swarm left"
    assert events(visits=[visit(AT_S, "requeened")])[0].seen == "requeened"
    assert events(visits=[visit(AT_S, "queen caged")])[0].seen == "queen caged"
    assert events([found("swarm", status="withdrawn"), found("swarm", status="explained")]) == []
    assert events([found("swarm", confidence=0.4)]) == []


def test_eggs_settle_it_once_they_can_be_hers():
    """A capped cell: first eggs 7 days after an emergence that can be today (queen calendar)."""
    swarm_cells = visit(queen_cells=cells())
    early, late = (visit(AT_S + n * DAY_S, name="v2", queen="eggs seen") for n in (6, 7))
    assert events(visits=[swarm_cells, early], days=20)[0].over_s is None
    assert events(visits=[swarm_cells, late], days=20)[0].over_s == AT_S + 7 * DAY_S
    counted = visit(AT_S + 9 * DAY_S, name="v3", brood=Brood(eggs=300))
    assert events(visits=[swarm_cells, counted], days=20)[0].over_s == AT_S + 9 * DAY_S


def test_the_old_queen_without_cells_settles_them():
    again = visit(AT_S + 3 * DAY_S, name="v2", queen="seen", queen_cells=cells(0, None))
    assert events(visits=[visit(queen_cells=cells()), again], days=5)[0].over_s == AT_S + 3 * DAY_S


def test_the_newer_event_takes_over():
    both = [visit(queen_cells=cells()), visit(AT_S + 3 * DAY_S, name="v2", queen="virgin")]
    first, second = events(visits=both, days=5)
    assert (first.over_s, second.over_s) == (AT_S + 3 * DAY_S, None)


def test_cells_seen_just_after_a_swarm_say_less_than_the_swarm():
    seen = [visit(AT_S + 2 * DAY_S, queen_cells=cells())]
    assert [one.seen for one in events([found("swarm")], seen, days=5)] == ["swarm left"]


def test_what_is_long_past_or_to_come_is_left_out():
    assert events(visits=[visit(queen="virgin")], days=61) == []
    assert events(visits=[visit(queen="virgin")], days=-1) == []
