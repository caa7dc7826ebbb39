"""`hivewatch round`, run as a keeper runs it."""

from __future__ import annotations

import json

import pytest
from running import Running
from served import APIARY

VISITS = [
    {
        "hive": "hazel-1",
        "at": "2026-05-10T09:00:00Z",
        "brood": {"eggs": 5400, "open": 10000, "capped": 21000},
        "adults": 32000,
    },
    {"hive": "hazel-2", "at": "2026-05-09T09:00:00Z", "queen": "virgin", "adults": 9000},
]
AS_OF = "2026-05-11T09:00:00Z"


@pytest.fixture
def keeper(tmp_path):
    one = Running(tmp_path, "mqtt://127.0.0.1:1")
    (tmp_path / "apiary.toml").write_text(APIARY)
    (tmp_path / "visits.json").write_text(json.dumps(VISITS))
    one.command("apiary", "load", tmp_path / "apiary.toml")
    return one


def sources(told, hive):
    return {
        reason["source"]
        for visit in told["visits"]
        for one in visit["hives"]
        for reason in one["reasons"]
        if one["hive"] == hive
    }


def test_it_says_where_to_go_why_and_what_to_take(keeper):
    keeper.command("inspections", "load", keeper.folder / "visits.json")
    told = keeper.read("round", "--as-of", AS_OF)
    assert told["as_of"] == AS_OF
    assert told["visits"][0]["yard"] == "hazel-end"
    assert "outlook" in sources(told, "hazel-1")
    assert {"what": "super", "count": 1, "unit": None, "fits": "langstroth-deep"} in (
        told["visits"][0]["take"]
    )
    text = keeper.command("round", "--as-of", AS_OF)
    assert text.startswith("1. Hazel End (hazel-end): today\n")
    assert "The brood boxes are full: a super today" in text
    assert "1 \N{MULTIPLICATION SIGN} super (langstroth-deep)" in text
    assert "Mind: Veil and gloves on before you open" in text
    assert "leave it closed until 19 May if you can: a virgin queen on 9 May" in text


def test_a_replay_knows_no_visit_that_was_written_down_later(keeper):
    keeper.command("inspections", "load", keeper.folder / "visits.json", "--late")
    told = keeper.read("round", "--as-of", AS_OF)
    assert "outlook" not in sources(told, "hazel-1")
    assert "count" in sources(told, "hazel-1")


def test_a_wrong_time_is_one_line_and_status_2(keeper):
    keeper.command("round", "--as-of", "yesterday", expect=2)


def test_without_a_store_it_says_what_to_do_and_makes_none(tmp_path):
    one = Running(tmp_path, "mqtt://127.0.0.1:1")
    assert one.command("round", expect=2) == ""
    assert not list(tmp_path.glob("*.db"))
