"""What stands in the calendar, and how it changes."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st
from visited import AT_S, DAY_S, found, visit

from hivewatch.apiary import Hive, Yard
from hivewatch.comb.calendar import queen_calendar
from hivewatch.inspections import Brood, QueenCells
from hivewatch.timeline.agenda import agenda
from hivewatch.timeline.wants import Facts

YARD = Yard("hazel", "Hazel End", 52.2, 0.12, "Europe/London")
HIVE = Hive("hazel-1", "hazel", "langstroth-deep", 10, 1)
TODAY = date(2026, 5, 12)


def stands(findings=(), visits=(), outlook=None, as_of_s=AT_S):
    told = agenda([YARD], {"hazel": [Facts(HIVE, findings, visits, outlook)]}, as_of_s)
    return {one.name: one for one in told}


VIRGIN = visit(AT_S - DAY_S, name="virgin", queen="virgin")


def test_the_queen_dates_are_those_of_the_queen_calendar():
    told = stands(visits=[VIRGIN])
    wanted = queen_calendar("virgin seen", TODAY - timedelta(days=1))
    assert {(one.first, one.last) for one in told.values()} == {
        (due.first, due.last) for due in wanted
    }
    eggs = told["look-for-eggs-virgin"]
    assert eggs.summary == "hazel-1: look for eggs"
    assert "After a virgin queen on 11 May." in eggs.text
    assert eggs.yard == "Hazel End"
    assert not eggs.is_cancelled


def test_a_count_asks_for_the_next_look_and_the_next_count_moves_it():
    first = stands(visits=[visit(AT_S - DAY_S, brood=Brood(eggs=900))])["look-hazel-1"]
    assert first.first == first.last == TODAY + timedelta(days=13)
    again = visit(AT_S, name="v2", adults=20000)
    second = stands(visits=[visit(AT_S - DAY_S, brood=Brood(eggs=900)), again])["look-hazel-1"]
    assert second.first == TODAY + timedelta(days=14)
    assert second.stamp_s > first.stamp_s
    assert stands(visits=[visit(AT_S + 170 * DAY_S, adults=9000)], as_of_s=AT_S + 170 * DAY_S) == {}


def test_nothing_stands_of_a_hive_that_is_dead_or_gone():
    visits = [VIRGIN, visit(AT_S - DAY_S, name="count", adults=9000)]
    assert stands(visits=visits)
    for kind in ("taken", "dead_out"):
        lasts = found(kind, lasts_s=None)
        assert stands([lasts], visits) == {}
        assert stands([found(kind)], visits)  # it stands again, or was not dead
        assert stands([found(kind, lasts_s=None, status="explained")], visits)
    assert stands([found("dead_out", lasts_s=None, confidence=0.4)], visits)


def test_a_super_stands_by_its_day_until_one_is_on():
    outlook = {
        "as_of": "2026-05-12",
        "room": {"super_by": "2026-05-16", "crowded_on": "2026-05-19"},
    }
    assert stands(outlook=outlook)["super-hazel-1"].first == date(2026, 5, 16)
    assert stands(outlook=outlook, visits=[visit(AT_S, "super added")]) == {}


def test_what_is_settled_before_its_day_is_cancelled_and_what_is_past_stays():
    eggs = visit(AT_S + 8 * DAY_S, name="eggs", queen="eggs seen")
    told = stands(visits=[VIRGIN, eggs], as_of_s=AT_S + 8 * DAY_S)
    settled = TODAY + timedelta(days=8)
    assert {one.is_cancelled for one in told.values()} == {True, False}
    for one in told.values():
        assert one.is_cancelled == (one.last >= settled)
        assert (one.stamp_s == eggs.inspection.at_s) == one.is_cancelled


def test_a_swarm_puts_its_dates_down():
    told = stands([found("swarm", AT_S - DAY_S)])
    assert told[f"look-for-cells-swarm-{AT_S - DAY_S}"].summary == "hazel-1: look for queen cells"
    assert any(name.startswith("after-swarm-") for name in told)


seen = st.sampled_from(
    [
        {"queen": "virgin"},
        {"queen": "eggs seen"},
        {"queen": "absent"},
        {"adults": 9000},
        {"queen_cells": QueenCells(count=3, stage="capped")},
        {"queen": "seen", "queen_cells": QueenCells(count=0)},
    ]
)
lives = st.lists(st.tuples(st.integers(0, 40), seen), min_size=2, max_size=7)


@given(lives)
def test_what_changes_has_a_later_stamp_in_whatever_order_it_is_written_down(life):
    visits = [visit(AT_S + day * DAY_S, name=f"v{i}", **said) for i, (day, said) in enumerate(life)]
    before = {}
    for written in range(1, len(visits) + 1):
        after = stands(visits=visits[:written], as_of_s=AT_S + 41 * DAY_S)
        for name, now in after.items():
            old = before.get(name)
            if old is None or (old.first, old.last, old.is_cancelled) == (
                now.first,
                now.last,
                now.is_cancelled,
            ):
                continue
            assert now.stamp_s >= old.stamp_s + 60, name  # SEQUENCE counts minutes
        before = after
