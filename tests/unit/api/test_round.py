"""The round as the API gives it."""

from __future__ import annotations

import json

import pytest
from served import NOW_S, served

from hivewatch import rounds
from hivewatch.api import round as api_round
from hivewatch.detect.finding import Finding
from hivewatch.store import apiary
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
    assert the_round(here)["visits"][0]["urgency"] == "emergency"


def test_an_inspection_written_down_since_is_in_the_next_answer(here):
    first = the_round(here)
    for hive in ("hazel-1", "hazel-2"):
        here.write_down(hive=hive, at="2026-05-10T09:00:00Z", adults=20000)
    assert [one["yard"] for one in first["visits"]] == ["hazel-end", "quarry"]
    got = the_round(here)
    assert [one["yard"] for one in got["visits"]] == ["quarry"]
    assert [one["yard"] for one in got["quiet"]] == ["hazel-end"]


def test_it_is_made_once_while_nothing_changes(here, monkeypatch):
    made = []
    plan = rounds.plan
    monkeypatch.setattr(rounds, "plan", lambda *a, **k: made.append(1) or plan(*a, **k))
    for _ in range(3):
        the_round(here)
    assert len(made) == 1
    here.clock.at_s += api_round.KEPT_S
    the_round(here)
    assert len(made) == 2


def test_an_outlook_that_a_page_asked_for_counts(here):
    here.write_down(
        hive="hazel-1",
        at="2026-05-10T09:00:00Z",
        brood={"eggs": 5400, "open": 10000, "capped": 21000},
        adults=32000,
    )
    reasons = [r["source"] for h in the_round(here)["visits"][0]["hives"] for r in h["reasons"]]
    assert "outlook" not in reasons
    ahead = here.http.get("/api/v1/hives/hazel-1/outlook").json()
    assert ahead["room"]["super_by"] is not None
    here.clock.at_s += api_round.KEPT_S
    hive = next(h for h in the_round(here)["visits"][0]["hives"] if h["hive"] == "hazel-1")
    assert [r["source"] for r in hive["reasons"]] == ["outlook"]
    assert hive["reasons"][0]["by"] == ahead["room"]["super_by"]
    assert {"what": "super", "count": 1, "unit": None, "fits": "langstroth-deep"} in hive["take"]


def test_no_yards_make_an_empty_round(tmp_path):
    with served(tmp_path) as empty:
        got = the_round(empty)
    assert (got["visits"], got["quiet"]) == ([], [])
