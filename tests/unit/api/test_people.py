"""What people say: inspections, their answer to an alert, quarantine tried again."""

from __future__ import annotations

import pytest
from served import NOW_S

from hivewatch.detect.finding import Finding

SEEN = {
    "hive": "hazel-1",
    "at": "2026-05-02T14:10:00+01:00",
    "by": "keeper",
    "brood": {"eggs": 3900, "open": 7600, "capped": 15100},
    "adults": 31000,
    "stores_kg": 9.5,
    "frames": [{"frame": 3, "side": "a", "eggs": 0.1, "capped": 0.5, "honey": 0.1, "bees": 0.9}],
    "queen": "seen",
    "queen_cells": {"count": 0, "stage": None},
    "actions": [{"what": "super added", "kg": 6.2}],
    "note": "",
}


def post(here, path, body, **headers):
    return here.http.post(f"/api/v1/{path}", json=body, headers=headers)


def test_an_inspection_is_written_down(fresh):
    answer = post(fresh, "inspections", SEEN)
    assert answer.status_code == 201
    kept = answer.json()
    assert kept["at"] == "2026-05-02T13:10:00Z"
    assert kept["recorded_at"] == "2026-05-11T09:00:00Z"
    for name in ("hive", "by", "brood", "adults", "stores_kg", "queen", "queen_cells", "actions"):
        assert kept[name] == SEEN[name]
    assert kept["frames"][0]["capped"] == 0.5
    listed = fresh.http.get("/api/v1/inspections", params={"hive": "hazel-1"}).json()["items"]
    assert listed == [kept]


def test_only_hive_and_time_are_asked(fresh):
    assert (
        post(fresh, "inspections", {"hive": "hazel-2", "at": "2026-05-01T08:00:00Z"}).status_code
        == 201
    )
    for body in ({"hive": "hazel-2"}, {"at": "2026-05-01T08:00:00Z"}):
        assert post(fresh, "inspections", body).status_code == 422


@pytest.mark.parametrize("by", ["header", "quoted header", "body", "nothing"])
def test_told_twice_is_stored_once(fresh, by):
    key = '"visit-1"' if by == "quoted header" else "visit-1"
    headers = {"idempotency-key": key} if "header" in by else {}
    body = SEEN | ({"key": "visit-1"} if by == "body" else {})
    first = post(fresh, "inspections", body, **headers)
    fresh.clock.at_s += 3600
    again = post(fresh, "inspections", body, **headers)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert len(fresh.http.get("/api/v1/inspections").json()["items"]) == 1


def test_one_key_names_one_visit(fresh):
    post(fresh, "inspections", SEEN, **{"idempotency-key": "visit-1"})
    other = post(fresh, "inspections", SEEN | {"adults": 1}, **{"idempotency-key": "visit-1"})
    assert other.status_code == 409
    assert "visit-1" in other.json()["detail"]
    two = post(fresh, "inspections", SEEN | {"key": "a"}, **{"idempotency-key": "b"})
    assert two.status_code == 409
    assert len(fresh.http.get("/api/v1/inspections").json()["items"]) == 1


def test_a_key_is_the_same_with_and_without_its_quotation_marks(fresh):
    first = post(fresh, "inspections", SEEN, **{"idempotency-key": '"visit-1"'})
    again = post(fresh, "inspections", SEEN, **{"idempotency-key": "visit-1"})
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["key"] == again.json()["key"] == "visit-1"


def test_what_cannot_be_is_refused_with_the_reason(fresh):
    unknown = post(fresh, "inspections", SEEN | {"hive": "hazel-9"})
    assert (unknown.status_code, "no such hive" in unknown.json()["detail"]) == (409, True)
    assert "did you mean hazel-" in unknown.json()["detail"]
    form = fresh.http.post("/api/v1/inspections", data={"hive": "hazel-1"})
    assert (form.status_code, "send one, with content-type" in form.json()["detail"]) == (422, True)
    future = post(fresh, "inspections", SEEN | {"at": "2026-05-11T09:00:01Z"})
    assert (future.status_code, "to come" in future.json()["detail"]) == (409, True)
    wrong = post(fresh, "inspections", SEEN | {"brood": {"eggs": -1}, "colour": "red"})
    assert wrong.status_code == 422
    assert {one["where"] for one in wrong.json()["errors"]} == {"body.brood.eggs", "body.colour"}
    assert fresh.http.get("/api/v1/inspections").json()["items"] == []


def test_an_inspection_asks_for_a_new_look_at_the_hive(fresh):
    post(fresh, "inspections", SEEN)
    with fresh.store.read() as connection:
        marks = connection.exec_driver_sql("SELECT subject FROM stale").scalars().all()
    assert "hive:hazel-1" in marks


@pytest.fixture
def alert(fresh):
    fresh.tell(Finding("toppled", "hive:hazel-1", NOW_S - 600, None, NOW_S - 300, 0.98))
    (one,) = fresh.http.get("/api/v1/alerts").json()["items"]
    return one


def test_an_alert_keeps_why(fresh, alert):
    assert (alert["kind"], alert["hive"], alert["urgency"]) == ("toppled", "hazel-1", "emergency")
    story = fresh.http.get(f"/api/v1/alerts/{alert['id']}").json()
    assert story["decisions"]
    assert all(one["why"] and one["reason"] for one in story["decisions"])
    assert fresh.http.get("/api/v1/alerts/99").status_code == 404
    assert fresh.http.get("/api/v1/alerts", params={"hive": "hazel-2"}).json()["items"] == []


def test_an_alert_says_what_its_finding_has_become(fresh, alert):
    assert (alert["finding_status"], alert["finding_end_at"]) == ("open", None)
    over = Finding("toppled", "hive:hazel-1", NOW_S - 600, NOW_S, NOW_S - 300, 0.98, status="ended")
    fresh.tell(over)
    (one,) = fresh.http.get("/api/v1/alerts").json()["items"]
    assert (one["finding_status"], one["finding_end_at"]) == ("ended", "2026-05-11T09:00:00Z")


def test_an_alert_is_acknowledged_once(fresh, alert):
    path = f"alerts/{alert['id']}/acknowledge"
    known = post(fresh, path, {"by": "Ada"}).json()
    assert known["acknowledged_at"] == "2026-05-11T09:00:00Z"
    assert known["acknowledged_by"] == "Ada"
    fresh.clock.at_s += 60
    assert post(fresh, path, {"by": "Bo"}).json()["acknowledged_by"] == "Ada"
    assert post(fresh, "alerts/99/acknowledge", {}).status_code == 404
    assert fresh.http.post(f"/api/v1/{path}").status_code == 200  # nothing need be said with it


def test_an_alert_is_silenced_until_a_time_to_come(fresh, alert):
    path = f"alerts/{alert['id']}/snooze"
    silent = post(fresh, path, {"until": "2026-05-12T09:00:00Z"})
    assert silent.json()["snoozed_until"] == "2026-05-12T09:00:00Z"
    assert silent.json()["decisions"][-1]["what"] == "snoozed"
    assert post(fresh, path, {"until": "2026-05-11T09:00:00Z"}).status_code == 409
    assert post(fresh, path, {}).status_code == 422
    assert post(fresh, "alerts/99/snooze", {"until": "2026-05-12T09:00:00Z"}).status_code == 404


def test_quarantine_shows_the_bytes_and_tries_again(fresh):
    raw = b'[{"n": "weight", "u": "kg", "v": 30}, {"n": "weigth", "u": "kg", "v": 30, "t": -60}]'
    fresh.send(raw)
    fresh.send(raw)
    (held,) = fresh.http.get("/api/v1/quarantine").json()["items"]
    assert held["times"] == 2
    assert held["device"] == "scale-1"
    assert held["size_bytes"] == len(raw)
    assert [one["index"] for one in held["faults"]] == [1]
    assert held["faults"][0]["detail"]
    tried = post(fresh, f"quarantine/{held['id']}/readmit", None)
    assert tried.status_code == 200
    assert tried.json() == {
        "id": held["id"],
        "admitted": False,
        "stored": 0,
        "repeats": 1,
        "quarantined": 1,
    }
    assert post(fresh, "quarantine/99/readmit", None).status_code == 404


def test_quarantine_tries_again_with_the_times_of_a_wrong_clock_moved(fresh):
    ahead = NOW_S + 3 * 86_400
    raw = b'[{"n": "weight", "u": "kg", "v": 30, "t": %d}]' % ahead
    fresh.send(raw)
    fresh.send(b'[{"n": "weigth", "u": "kg", "v": 30}]')
    clock, typo = fresh.http.get("/api/v1/quarantine").json()["items"]
    path = f"quarantine/{clock['id']}/readmit"
    assert post(fresh, path, {"shift_s": 10**12}).status_code == 422
    assert post(fresh, path, {"shift": -86_400}).status_code == 422
    assert not post(fresh, path, {}).json()["admitted"]
    tried = post(fresh, path, {"shift_s": -3 * 86_400 - 60}).json()
    assert (tried["admitted"], tried["stored"]) == (True, 1)
    got = fresh.http.get("/api/v1/hives/hazel-1").json()
    assert (got["weight_kg"], got["weight_at"]) == (30, "2026-05-11T08:59:00Z")
    refused = post(fresh, f"quarantine/{typo['id']}/readmit", {"shift_s": -60})
    assert refused.status_code == 404
    assert "not refused for its clock" in refused.json()["detail"]
