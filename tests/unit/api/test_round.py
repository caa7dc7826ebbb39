"""The round as the API gives it."""

from __future__ import annotations

import json
from dataclasses import replace
from threading import Event

import pytest
from served import NOW_S, served

from hivewatch import rounds
from hivewatch.api.kept import KEPT_S, Kept
from hivewatch.api.round import Round
from hivewatch.detect.finding import Finding
from hivewatch.store import apiary, stale
from hivewatch.timeline.show import round_dict


@pytest.fixture
def here(tmp_path):
    with served(tmp_path) as one:
        one.load_apiary()
        yield one


def the_round(here):
    answer = here.http.get("/api/v1/round")
    assert answer.status_code == 200
    return answer.json()


def tell_toppled(here):
    here.tell(Finding("toppled", "hive:hazel-1", NOW_S - 600, None, NOW_S - 300, 0.98))


def test_it_is_that_of_the_command(here):
    tell_toppled(here)
    here.write_down(hive="hazel-2", at="2026-05-10T09:00:00Z", adults=20000)
    with here.store.read() as connection:
        known = apiary.read(connection)
        told = rounds.told_lately(connection, NOW_S)
        plan = rounds.plan(connection, known, told, NOW_S)
    assert the_round(here) == json.loads(json.dumps(round_dict(plan)))


def test_the_yard_of_a_fallen_hive_comes_first(here):
    tell_toppled(here)
    got = the_round(here)
    assert [one["yard"] for one in got["visits"]] == ["hazel-end", "quarry"]
    assert got["visits"][0]["above_the_next"] == (
        "1 hive with an emergency here, none at Old quarry"
    )
    assert got["visits"][0]["hives"][0]["hive"] == "hazel-1"


def test_a_finding_told_since_is_in_the_next_answer(here):
    here.clock.at_s = NOW_S + 5
    assert the_round(here)["visits"][0]["urgency"] == "count"
    tell_toppled(here)
    past(here)
    assert the_round(here)["visits"][0]["urgency"] == "emergency"


def test_an_inspection_written_down_since_is_in_the_next_answer(here):
    first = the_round(here)
    for hive in ("hazel-1", "hazel-2"):
        here.write_down(hive=hive, at="2026-05-10T09:00:00Z", adults=20000)
    assert [one["yard"] for one in first["visits"]] == ["hazel-end", "quarry"]
    past(here)
    got = the_round(here)
    assert [one["yard"] for one in got["visits"]] == ["quarry"]
    assert [one["yard"] for one in got["quiet"]] == ["hazel-end"]


@pytest.fixture
def made(monkeypatch):
    """The rounds that were made."""
    counted = []
    plan = rounds.plan
    monkeypatch.setattr(rounds, "plan", lambda *a, **k: counted.append(1) or plan(*a, **k))
    return counted


def test_it_is_made_once_while_nothing_changes(here, made):
    for _ in range(3):
        the_round(here)
    assert len(made) == 1
    here.clock.at_s += KEPT_S
    past(here)
    the_round(here)
    assert len(made) == 2


def past(here):
    """Let the time be over in which it is not made again whatever happens."""
    kept = here.app.state.rooms.kept
    for name, one in kept.items():
        kept[name] = replace(one, took_s=0.0)


def test_what_takes_long_to_make_is_not_made_for_every_change(here, made):
    kept = here.app.state.rooms.kept
    the_round(here)
    kept["round"] = replace(kept["round"], took_s=100.0)
    tell_toppled(here)
    assert the_round(here)["visits"][0]["urgency"] == "count"
    past(here)
    assert the_round(here)["visits"][0]["urgency"] == "emergency"
    assert len(made) == 2


def test_what_is_kept_holds_by_version_and_minute():
    one = Kept(b"", (5, 3), made_s=100, done_s=1000.0, took_s=0.5)
    assert one.holds((5, 3), 100 + KEPT_S - 1)
    assert not one.holds((5, 3), 100 + KEPT_S)
    assert not one.holds((6, 3), 100)
    assert not one.holds((5, 3), 99)  # the clock went back
    assert one.is_fresh(1014.0)
    assert not one.is_fresh(1015.5)


def test_the_answer_is_as_it_is_described(here):
    tell_toppled(here)
    answer = the_round(here)
    assert json.loads(Round.model_validate(answer).model_dump_json()) == answer


def test_a_super_is_wanted_though_no_page_asked_for_an_outlook(here):
    write_down_a_strong_colony(here)
    outlooks_of(here)
    hive = next(h for h in the_round(here)["visits"][0]["hives"] if h["hive"] == "hazel-1")
    assert [r["source"] for r in hive["reasons"]] == ["outlook"]
    ahead = here.http.get("/api/v1/hives/hazel-1/outlook").json()
    assert hive["reasons"][0]["by"] == ahead["room"]["super_by"]
    assert {"what": "super", "count": 1, "unit": None, "fits": "langstroth-deep"} in hive["take"]


def test_the_command_plans_the_same_round(here):
    write_down_a_strong_colony(here)
    tell_toppled(here)
    outlooks_of(here)
    with here.store.read() as connection:
        known = apiary.read(connection)
        found = rounds.told_lately(connection, here.clock.now_s())
        ahead = rounds.outlooks(connection, known, here.clock.now_s())
        plan = rounds.plan(connection, known, found, here.clock.now_s(), outlooks=ahead)
    assert the_round(here) == json.loads(json.dumps(round_dict(plan)))


def write_down_a_strong_colony(here):
    here.write_down(
        hive="hazel-1",
        at="2026-05-10T09:00:00Z",
        brood={"eggs": 5400, "open": 10000, "capped": 21000},
        adults=32000,
    )


def outlooks_of(here):
    """Let the loop work out the outlooks, as after a look of the watch."""
    with here.store.write() as connection:
        stale.clear(connection, stale.read(connection))
    while here.outlooks.look_round(Event(), lambda: None):
        pass
    here.clock.at_s += KEPT_S
    past(here)


def test_no_yards_make_an_empty_round(tmp_path):
    with served(tmp_path) as empty:
        got = the_round(empty)
    assert (got["visits"], got["quiet"]) == ([], [])
