"""A colony that was given away or sold: nothing is asked of its hive, nor told, any more."""

from __future__ import annotations

import pytest
from served import DAY_S, NOW_S

from hivewatch import replay, rounds
from hivewatch.detect.finding import Finding
from hivewatch.errors import UsageError
from hivewatch.store import apiary

GIVEN = "2026-05-10T14:00:00Z"
LATER_S = NOW_S + 300 * DAY_S  # long after all that the round itself looks back at


def hive(fresh, name="hazel-1"):
    return fresh.http.get(f"/api/v1/hives/{name}").json()


def of_round(fresh):
    visits = fresh.http.get("/api/v1/round").json()["visits"]
    return {one["hive"] for visit in visits for one in visit["hives"]}


def give_away(fresh):
    counts = {"eggs": 3000, "open": 6000, "capped": 12000}
    fresh.write_down(hive="hazel-1", at="2026-05-09T14:00:00Z", brood=counts, queen="absent")
    before = hive(fresh)
    number = fresh.write_down(hive="hazel-1", at=GIVEN, actions=[{"what": "given away"}])
    return before, number


def test_it_has_no_place_in_the_round_no_dates_and_no_outlook(fresh):
    before, _ = give_away(fresh)
    assert before["given_away_at"] is None
    assert hive(fresh)["given_away_at"] == GIVEN
    assert hive(fresh, "hazel-2")["given_away_at"] is None
    assert "hazel-1" not in of_round(fresh)
    no_outlook = fresh.http.get("/api/v1/hives/hazel-1/outlook")
    assert (no_outlook.status_code, "given away" in no_outlook.json()["detail"]) == (404, True)
    with pytest.raises(UsageError, match="hazel-1: its colony was given away or sold"):
        replay.ahead(fresh.store, "hazel-1", NOW_S, is_replay=True)
    with fresh.store.read() as connection:
        known = apiary.read(connection)
        for as_of_s, by_s in ((NOW_S, None), (LATER_S, None), (LATER_S, LATER_S)):
            facts, _ = rounds.facts_of(connection, known, [], as_of_s, recorded_by_s=by_s)
            assert [one.hive.id for one in facts["hazel-end"]] == ["hazel-2"]


def test_a_visit_later_or_the_word_taken_back_brings_it_back(fresh):
    _, number = give_away(fresh)
    nobody = "2026-05-10T15:00:00Z"
    fresh.write_down(hive="hazel-1", at=nobody, opened=False, note='"what":"given away"')
    assert hive(fresh)["given_away_at"] == GIVEN
    later = fresh.write_down(hive="hazel-1", at="2026-05-10T18:00:00Z", queen="absent")
    assert hive(fresh)["given_away_at"] is None
    assert "hazel-1" in of_round(fresh)
    for one in (later, number):
        told = fresh.http.get(f"/api/v1/inspections/{one}")
        fresh.http.delete(f"/api/v1/inspections/{one}", headers={"if-match": told.headers["etag"]})
    assert hive(fresh)["given_away_at"] is None


def test_the_count_of_a_colony_that_is_gone_says_nothing_of_the_next(fresh):
    give_away(fresh)
    fresh.write_down(hive="hazel-1", at="2026-05-10T18:00:00Z", queen="seen")
    assert fresh.http.get("/api/v1/hives/hazel-1/outlook").status_code == 404
    with fresh.store.read() as connection:
        facts, _ = rounds.facts_of(connection, apiary.read(connection), [], NOW_S)
        (its,) = [one for one in facts["hazel-end"] if one.hive.id == "hazel-1"]
        assert [one.inspection.queen for one in its.inspections] == ["seen"]


def test_a_tap_says_of_a_hive_gone_from_its_scale_that_it_was_given_away(fresh):
    (told,) = fresh.tell(
        Finding(
            kind="taken",
            subject="hive:hazel-1",
            start_s=NOW_S - DAY_S,
            end_s=None,
            detected_s=NOW_S - DAY_S + 600,
            confidence=0.97,
            measures={},
            status="open",
        )
    )
    timeline = fresh.http.get("/api/v1/hives/hazel-1/timeline", params={"what": "question"})
    (asked,) = [event["question"] for event in timeline.json()["items"]]
    assert asked["finding"] == told.id
    tap = asked["answers"][0]
    for status in (201, 200):
        sent = fresh.http.request(tap["method"], f"/api/v1/{tap['path']}", json=tap["body"])
        assert sent.status_code == status
    assert hive(fresh)["given_away_at"] == asked["at"]
