"""Which yard first, why, and what to take."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from visited import AT_S, DAY_S, HOUR_S, found, visit

from hivewatch.apiary import Hive, Yard
from hivewatch.inspections import Brood, QueenCells
from hivewatch.moments import spoken
from hivewatch.rounds import ADVICE
from hivewatch.timeline.kit import Item, for_hive, for_yard
from hivewatch.timeline.order import rank
from hivewatch.timeline.round import plan_round
from hivewatch.timeline.show import round_dict, round_text
from hivewatch.timeline.wants import Facts

TODAY = date(2026, 5, 12)
NOW_S = AT_S + 2 * HOUR_S
COUNTED = visit(AT_S - DAY_S, name="count", brood=Brood(eggs=3000))
FRAME = "langstroth-deep"


def yard(name="hazel", zone="Europe/London"):
    return Yard(name, name.title(), 52.2, 0.12, zone)


def hive(name="hazel-1", home="hazel"):
    return Hive(name, home, FRAME, 10, 1)


def facts(*findings, visits=(COUNTED,), name="hazel-1", home="hazel", outlook=None):
    findings = [replace(one, subject=f"hive:{name}") for one in findings]
    return Facts(hive(name, home), findings, visits, outlook)


def plan(*known, of_yards=None, now_s=NOW_S, names=None):
    homes = names or sorted({one.hive.yard for one in known})
    by_yard = {home: [one for one in known if one.hive.yard == home] for home in homes}
    return plan_round([yard(home) for home in homes], by_yard, of_yards or {}, ADVICE, now_s)


def order(*known, **more):
    return [one.yard for one in plan(*known, **more).visits]


def lasting(kind, **more):
    return found(kind, AT_S - HOUR_S, lasts_s=None, **more)


CELLS = visit(AT_S - 21 * DAY_S, name="cells", queen_cells=QueenCells(count=3, stage="capped"))


def outlook(days):
    by = (TODAY + timedelta(days=days)).isoformat()
    full = (TODAY + timedelta(days=days + 3)).isoformat()
    return {"room": {"seams_of_bees": 8.0, "crowded_on": full, "super_by": by}}


URGENT = {  # one hive of each step of the rule, the most urgent first
    "a": facts(lasting("toppled"), home="a"),
    "b": facts(home="b", outlook=outlook(1)),
    "c": facts(home="c", outlook=outlook(2)),
    "d": facts(lasting("robbing"), home="d"),
    "e": facts(home="e", outlook=outlook(3)),
    "f": facts(lasting("dead_out"), home="f"),
    "g": facts(home="g", visits=()),
    "h": facts(home="h", visits=[visit(AT_S - 30 * DAY_S, adults=20000)]),
    "i": facts(home="i", visits=[visit(AT_S - 16 * DAY_S, adults=20000)]),
}


def test_the_yards_stand_in_the_order_of_the_rule():
    assert order(*URGENT.values()) == list(URGENT)


@given(st.permutations(sorted(URGENT)), st.data())
def test_the_order_is_that_of_the_facts_and_of_nothing_else(homes, data):
    some = homes[: data.draw(st.integers(1, len(homes)))]
    assert order(*(URGENT[home] for home in some), names=some) == sorted(some)


def test_each_yard_says_why_it_stands_above_the_next():
    told = [one.above for one in plan(*URGENT.values()).visits]
    assert told == [
        "1 hive with an emergency here, none at B",
        "a date is due on 13 May here, on 14 May at C",
        "a date is due on 14 May here, none at D",
        "1 hive for today here, none at E",
        "wanted by 15 May here, none at F",
        "1 hive for the next visit here, none at G",
        "the oldest count is not there here, 30 days old at H",
        "the oldest count is 30 days old here, 16 days old at I",
        "",
    ]


def test_one_emergency_stands_above_any_number_of_lesser_things():
    many = [facts(lasting("robbing"), name=f"a-{i}", home="a") for i in range(20)]
    assert order(*many, facts(lasting("toppled"), home="b")) == ["b", "a"]


def test_more_of_the_same_comes_first_and_then_the_name():
    two = [facts(lasting("robbing"), name=f"b-{i}", home="b") for i in range(2)]
    assert order(facts(lasting("robbing"), home="a"), *two) == ["b", "a"]
    assert order(*(facts(lasting("robbing"), home=home) for home in "ba")) == ["a", "b"]


def test_a_yard_that_needs_nothing_says_so():
    got = plan(facts(), facts(lasting("robbing"), home="quarry"), names=["hazel", "quarry", "void"])
    assert [(one.yard, one.words) for one in got.quiet] == [
        ("hazel", "Nothing needs a visit."),
        ("void", "No hives stand there."),
    ]
    assert "Hazel (hazel), 1 hive: nothing needs a visit." in round_text(got)


def test_every_reason_says_what_how_urgent_and_why():
    (one,) = plan(facts(lasting("toppled"), lasting("low_stores"))).visits
    first, second = one.hives[0].reasons
    assert (first.level, second.level) == ("emergency", "today")
    assert first.words == "Toppled since Tuesday 12 May, 13:10"
    assert first.why == "open to rain, robbers and animals"
    assert one.when == "now, as soon as it is safe"
    assert first.id == f"toppled-{AT_S - HOUR_S}"


def test_an_outlook_asks_for_a_super_in_time():
    (one,) = plan(facts(outlook=outlook(5))).visits
    assert one.when == "by Sunday 17 May"
    assert one.hives[0].take == (Item("super", fits=FRAME),)
    assert order(facts(outlook=outlook(15))) == []
    fresh = visit(AT_S - 3 * DAY_S, "super added", name="super")
    assert order(facts(visits=[COUNTED, fresh], outlook=outlook(5))) == []
    on = visit(AT_S - 30 * DAY_S, "super added", name="on")
    off = visit(AT_S - 2 * DAY_S, "super removed", name="off")
    assert order(facts(visits=[COUNTED, on], outlook=outlook(5))) == []
    assert order(facts(visits=[COUNTED, on, off], outlook=outlook(5))) == ["hazel"]
    knows = outlook(5)
    knows["room"]["supers"] = 1  # and wants a second one
    assert order(facts(visits=[COUNTED, on], outlook=knows)) == ["hazel"]
    late = plan(facts(outlook=outlook(-2))).visits[0]
    assert (late.level, late.when) == ("deadline", "today; it was due on 10 May")


def test_a_super_for_nectar_says_so():
    told = outlook(5)
    full = told["room"]["crowded_on"]
    told["room"] |= {"pressed_by": "nectar", "full_on": full, "gain_kg_a_day": 1.24}
    (reason,) = plan(facts(outlook=told)).visits[0].hives[0].reasons
    assert reason.words.startswith("At 1.2 kg a day there is no more room for honey from ")
    assert "brood nest" in reason.why


@pytest.mark.parametrize(
    ("days", "said"), [(1, "due soon, by "), (0, "due soon, by "), (-2, "overdue since ")]
)
def test_the_list_says_of_a_day_whether_it_is_past(days, said):
    """A reason that cannot wait has its day beside it, or how long it has waited."""
    text = round_text(plan(facts(home="b", outlook=outlook(days))))
    assert f"[{said}{spoken(TODAY + timedelta(days=days))}: " in text


def test_a_young_queen_is_looked_for_when_she_should_lay():
    """Queen calendar of a capped cell: look for eggs on day 20 to 23 after it was seen."""
    bees = visit(AT_S - DAY_S, name="bees", adults=20000)
    (one,) = plan(facts(visits=[CELLS, bees])).visits
    (reason,) = one.hives[0].reasons
    assert (reason.about, reason.level) == ("look for eggs", "deadline")
    assert reason.by == date(2026, 4, 21) + timedelta(days=23)
    assert "from 11 May to 14 May: a capped queen cell on 21 April" in reason.words
    assert Item("frame of eggs", fits=FRAME) in one.take
    assert order(facts(visits=[CELLS, COUNTED])) == []  # her eggs are seen
    none = visit(AT_S - HOUR_S, name="none", queen="not seen", adults=9000)
    assert order(facts(visits=[CELLS, none])) == []  # looked for; the next date is a week off
    late = plan(facts(visits=[CELLS, none]), now_s=AT_S + 9 * DAY_S).visits[0].hives[0].reasons
    assert [one.about for one in late] == ["failed if no eggs"]
    assert late[0].take == (Item("queen"),)


def test_a_hive_with_a_young_queen_is_left_closed_if_it_can_wait():
    """A virgin seen today: no opening until her last mating flight (queen calendar)."""
    virgin = visit(AT_S, name="virgin", queen="virgin")
    (one,) = plan(facts(visits=[virgin])).visits
    hive = one.hives[0]
    assert hive.closed_until == TODAY + timedelta(days=10)
    assert hive.by > hive.closed_until
    assert "leave it closed until 22 May if you can" in round_text(plan(facts(visits=[virgin])))
    (urgent,) = plan(facts(lasting("toppled"), visits=[virgin])).visits
    assert urgent.by == TODAY


def test_a_quiet_hive_that_must_stay_closed_is_named():
    virgin = visit(AT_S, name="virgin", queen="virgin", adults=9000)
    (one,) = plan(facts(visits=[virgin]), facts(lasting("robbing"), name="hazel-2")).visits
    assert one.quiet == ("hazel-1",)
    assert "Leave hazel-1 closed until 22 May: a virgin queen on 12 May." in one.mind


def test_what_is_over_asks_only_while_it_is_fresh_and_nobody_has_been_there():
    swarm = found("swarm", AT_S - DAY_S)
    levels = [one.level for one in plan(facts(swarm, visits=[])).visits[0].hives[0].reasons]
    assert "today" in levels
    after = visit(AT_S, name="after", queen="seen", brood=Brood(eggs=3000))
    later = [
        r.about
        for one in plan(facts(swarm, visits=[after])).visits
        for h in one.hives
        for r in h.reasons
    ]
    assert "swarm" not in later
    assert order(facts(found("robbing", AT_S - DAY_S))) == []  # mended itself
    assert order(facts(found("toppled", AT_S - 5 * DAY_S))) == []


def test_what_is_explained_or_withdrawn_or_never_rings_asks_for_nothing():
    quiet = [
        found("toppled", lasts_s=None, status="explained"),
        found("toppled", lasts_s=None, status="withdrawn"),
        found("handling"),
        lasting("brood_onset"),
    ]
    assert order(facts(*quiet)) == []


def test_what_is_unlikely_waits_for_the_next_visit():
    (one,) = plan(facts(lasting("robbing", confidence=0.4))).visits
    assert one.level == "next visit"
    assert "perhaps (40%)" in one.hives[0].reasons[0].words


def test_a_date_in_the_finding_counts():
    (one,) = plan(facts(lasting("low_stores", measures={"days_left": 2}))).visits
    assert (one.level, one.by) == ("deadline", date(2026, 5, 14))
    (one,) = plan(
        facts(lasting("swarm_risk", measures={"cells": 3, "days_until_capped": 5}))
    ).visits
    assert (one.level, one.by) == ("next visit", date(2026, 5, 17))
    (one,) = plan(facts(lasting("queen_trouble", measures={"eggs_by_day": "2026-05-13"}))).visits
    assert (one.level, one.by) == ("deadline", date(2026, 5, 13))
    (one,) = plan(facts(lasting("queen_trouble", measures={"eggs_by_day": "soon"}))).visits
    assert one.level == "next visit"


def test_nobody_opens_a_hive_in_winter_to_count():
    assert order(facts(visits=()), now_s=AT_S + 210 * DAY_S) == []


def test_a_yard_in_flow_wants_supers_where_none_is_fresh():
    flow = lasting("nectar_flow", subject="yard:hazel")
    fresh = visit(AT_S - 3 * DAY_S, "super added", name="super")
    known = [
        facts(name="hazel-1"),
        facts(name="hazel-2", visits=[COUNTED, fresh]),
        facts(name="hazel-3", outlook=outlook(5)),
    ]
    (one,) = plan(*known, of_yards={"hazel": [flow]}).visits
    assert Item("super", 2, fits=FRAME) in one.take
    assert one.reasons[0].about == "nectar_flow"


def test_what_to_take_is_totalled_for_the_yard():
    known = [
        facts(lasting("low_stores"), name="hazel-1"),
        facts(lasting("low_stores"), lasting("silent"), name="hazel-2"),
        facts(lasting("low_battery"), name="hazel-3"),
    ]
    (one,) = plan(*known).visits
    assert {(item.what, item.count, item.unit) for item in one.take} == {
        ("feed", 10, "kg"),
        ("charged battery", 2, ""),
        ("meter", 1, ""),
        ("veil and gloves", 1, ""),
        ("smoker", 1, ""),
    }


def test_one_super_serves_two_reasons():
    assert for_hive([(Item("super"),), (Item("super"),)], FRAME) == (Item("super", fits=FRAME),)
    of_two = [(Item("super", fits="dadant"),), (Item("super", fits=FRAME),)]
    assert len(for_yard(of_two)) == 2  # they do not fit each other


items = st.builds(
    Item, st.sampled_from(["super", "feed", "strap"]), st.integers(1, 9), st.just(""), st.just("")
)


@given(st.lists(st.lists(items, max_size=4), max_size=6))
def test_nothing_is_lost_in_the_total(needs):
    total = {item.what: item.count for item in for_yard(needs)}
    for what in ("super", "feed", "strap"):
        wanted = sum(item.count for need in needs for item in need if item.what == what)
        assert total.get(what, 0) == wanted


def test_the_cautions_are_there():
    (one,) = plan(facts(lasting("toppled")), names=["hazel"]).visits
    assert any("suit up before you come near" in text for text in one.mind)
    assert any("doctor" in text for text in one.mind)
    (heavy,) = plan(facts(outlook=outlook(5))).visits
    assert any("second person" in text for text in heavy.mind)
    assert len(set(heavy.mind)) == len(heavy.mind)


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "America/Toronto"])
def test_days_are_those_of_the_yard(zone):
    there = plan_round(
        [yard(zone=zone)],
        {"hazel": [facts(lasting("toppled"))]},
        {},
        ADVICE,
        AT_S + 8 * HOUR_S,  # 21:10 UTC
    )
    assert there.visits[0].by == (date(2026, 5, 13) if "Pacific" in zone else TODAY)


def test_the_json_has_all_of_it():
    got = round_dict(plan(*URGENT.values()))
    assert [one["yard"] for one in got["visits"]] == list(URGENT)
    first = got["visits"][0]
    assert first["hives"][0]["reasons"][0]["urgency"] == "emergency"
    assert {"what": "strap", "count": 1, "unit": None, "fits": None} in first["take"]
    assert got["as_of"] == "2026-05-12T15:10:00Z"


def test_ranks_are_all_different():
    ranks = [rank(one) for one in plan(*URGENT.values()).visits]
    assert ranks == sorted(set(ranks))
