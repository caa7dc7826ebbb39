"""The timeline of a hive and of a yard: one order, in pages, by kind, with what is asked."""

from __future__ import annotations

from threading import Event

import numpy as np
import pytest
from served import APIARY, DAY_S, NOW_S, START_S, STEP_S, served

from hivewatch.detect.finding import Finding
from hivewatch.replay import find
from hivewatch.settings import Alerts, Settings
from hivewatch.store import stale
from hivewatch.timeline.merge import WHATS
from hivewatch.watch import Watcher

SUPER_S = START_S + 4 * DAY_S + 14 * 3600


@pytest.fixture
def here(tmp_path):
    with served(tmp_path) as one:
        one.load_apiary()
        yield one


def ask(here, path, **query):
    answer = here.http.get(f"/api/v1/{path}", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def weigh(here, *, added_kg=6.2):
    rng = np.random.default_rng(1)
    time_s = np.arange(START_S, NOW_S, STEP_S, dtype=np.int64)
    weight = 34 + rng.normal(0, 0.02, len(time_s)) + added_kg * (time_s > SUPER_S)
    here.store_series("scale-1", "weight", time_s, weight)
    with here.store.write() as connection:
        stale.mark(connection, [("device:scale-1", START_S * 1000)])


def look(here):
    settings = Settings(alerts=Alerts(quiet=""))
    Watcher(here.store, settings, here.clock).look_round(Event(), lambda: None)


def questions(here, path="hives/hazel-1"):
    return [one["question"] for one in ask(here, f"{path}/timeline", what="question")["items"]]


def test_a_yes_answers_the_question(here):
    weigh(here)
    look(here)
    (asked,) = questions(here)
    assert asked["text"] == "Opened on Tuesday 5 May at 15:00, 6.2 kg heavier: a super?"
    assert (asked["about"], asked["hive"]) == ("unwritten", "hazel-1")
    for status in (201, 200):  # two taps are one inspection
        assert here.http.post("/api/v1/inspections", json=asked["yes"]).status_code == status
    look(here)
    assert questions(here) == []
    told = ask(here, "hives/hazel-1/timeline", what="finding")["items"]
    handled = next(one["finding"] for one in told if one["finding"]["kind"] == "handling")
    (seen,) = ask(here, "inspections")["items"]
    assert (handled["status"], handled["explained_by"]) == ("explained", seen["id"])


@pytest.mark.parametrize(("added_kg", "about"), [(0.0, "unfelt"), (6.2, None), (12.4, "differs")])
def test_what_was_written_down_is_held_against_the_scale(here, added_kg, about):
    here.write_down(
        hive="hazel-1", at="2026-05-05T14:00:00Z", actions=[{"what": "super added", "kg": 6.2}]
    )
    weigh(here, added_kg=added_kg)
    look(here)
    assert [one["about"] for one in questions(here)] == ([about] if about else [])
    assert questions(here, "yards/hazel-end") == questions(here)


def test_without_a_scale_nothing_is_unfelt(here):
    done = [{"what": "super added", "kg": 6.2}]
    here.write_down(hive="hazel-1", at="2026-05-05T14:00:00Z", actions=done)  # it weighed nothing
    here.write_down(hive="quarry-1", at="2026-05-05T14:00:00Z", actions=done)
    weigh(here)
    here.write_down(hive="hazel-1", at="2026-05-11T08:55:00Z", actions=done)  # and is not over
    look(here)
    assert {one["about"] for one in questions(here)} == set()
    assert questions(here, "yards/quarry") == []


def busy(here):
    """Everything at once, much of it in the same second."""
    for hive in ("hazel-1", "hazel-2"):
        for n in range(4):
            here.tell(
                Finding("handling", f"hive:{hive}", SUPER_S, SUPER_S, SUPER_S, 0.9, status="ended"),
                Finding("swarm", f"hive:{hive}", NOW_S - n * 60, None, NOW_S, 0.9),
                hive=hive,
            )
            here.write_down(hive=hive, at="2026-05-05T14:00:00Z", note=str(n))
    here.tell(Finding("nectar_flow", "yard:hazel-end", SUPER_S, None, NOW_S, 0.9), hive=None)


@pytest.mark.parametrize("limit", [1, 3, 7])
@pytest.mark.parametrize("path", ["hives/hazel-1", "yards/hazel-end"])
def test_pages_give_everything_once_the_newest_first(here, path, limit):
    busy(here)
    whole = ask(here, f"{path}/timeline", limit=1000)
    assert whole["next"] is None
    times = [one["at"] for one in whole["items"]]
    assert times == sorted(times, reverse=True)
    got, query = [], {"limit": limit}
    while True:
        page = ask(here, f"{path}/timeline", **query)
        assert len(page["items"]) <= limit
        got += page["items"]
        if page["next"] is None:
            break
        query["after"] = page["next"]
    assert got == whole["items"]
    assert {one["what"] for one in got} == set(WHATS)


@pytest.mark.parametrize("what", WHATS)
def test_one_kind_alone_is_that_of_the_whole(here, what):
    busy(here)
    whole = ask(here, "yards/hazel-end/timeline", limit=1000)["items"]
    alone = ask(here, "yards/hazel-end/timeline", limit=1000, what=what)["items"]
    assert alone == [one for one in whole if one["what"] == what]
    two = ask(here, "yards/hazel-end/timeline", limit=1000, what=[what, "alert"])["items"]
    assert two == [one for one in whole if one["what"] in {what, "alert"}]


def test_a_yard_has_its_own_findings_and_those_of_its_hives(here):
    busy(here)
    told = ask(here, "yards/hazel-end/timeline", what="finding")["items"]
    subjects = {one["finding"]["subject"] for one in told}
    assert subjects == {"yard:hazel-end", "hive:hazel-1", "hive:hazel-2"}
    assert ask(here, "yards/quarry/timeline")["items"] == []


def test_devices_that_were_moved_are_told_of_at_both_hives(here):
    move = '[[device]]\nid = "scale-1"\nhive = "hazel-2"\nsince = "2026-05-06T00:00:00Z"\n'
    here.load_apiary(APIARY + move)
    for hive in ("hazel-1", "hazel-2"):
        told = ask(here, f"hives/{hive}/timeline", what="device")["items"]
        assert told[0]["device"]["text"] == "scale-1 moved from hazel-1 to hazel-2"
        assert told[0]["at"] == "2026-05-06T00:00:00Z"
    assert ask(here, "hives/quarry-1/timeline", what="device")["items"] == []


def test_a_yard_that_is_not_there_and_a_kind_that_is_none(here):
    assert here.http.get("/api/v1/yards/nowhere/timeline").status_code == 404
    assert here.http.get("/api/v1/yards/quarry/timeline?what=gossip").status_code == 422


def tap(here, asked, label):
    """Send the answer as it stands, as a page does."""
    one = next(one for one in asked["answers"] if one["label"].startswith(label))
    headers = {} if one["if_match"] is None else {"if-match": one["if_match"]}
    body = {} if one["body"] is None else {"json": one["body"]}
    return here.http.request(one["method"], f"/api/v1/{one['path']}", headers=headers, **body)


@pytest.mark.parametrize(
    ("added_kg", "label", "actions"),
    [
        (0.0, "It was not done", []),
        (0.0, "It is right as written", [{"what": "super added", "kg": 6.2}]),
        (0.0, "Another hive", None),
        (12.4, "The scale is right", [{"what": "super added", "kg": 12.4}]),
        (12.4, "It is right as written", [{"what": "super added", "kg": 6.2}]),
        (12.4, "Another hive", None),
    ],
)
def test_one_tap_settles_what_the_scale_does_not_agree_with(here, added_kg, label, actions):
    number = here.write_down(
        hive="hazel-1", at="2026-05-05T14:00:00Z", actions=[{"what": "super added", "kg": 6.2}]
    )
    weigh(here, added_kg=added_kg)
    look(here)
    (asked,) = questions(here)
    for _ in range(2):  # a second tap, or one whose answer was lost, is the same
        assert tap(here, asked, label).status_code == 200
    look(here)
    assert number not in {one["inspection"] for one in questions(here)}
    kept = ask(here, f"inspections/{number}")
    assert kept["withdrawn"] == (actions is None)
    told = [{"what": one["what"], "kg": round(one["kg"], 1)} for one in kept["actions"]]
    if actions is not None:
        assert told == actions
    assert len(ask(here, f"inspections/{number}/versions")["items"]) == 2


def test_a_tap_on_what_somebody_changed_since_is_refused(here):
    number = here.write_down(
        hive="hazel-1", at="2026-05-05T14:00:00Z", actions=[{"what": "super added", "kg": 6.2}]
    )
    weigh(here, added_kg=0.0)
    look(here)
    (asked,) = questions(here)
    body = {"hive": "hazel-1", "at": "2026-05-05T14:00:00Z", "note": "it was fed"}
    url = f"/api/v1/inspections/{number}"
    assert here.http.put(url, json=body, headers={"if-match": "*"}).status_code == 200
    assert tap(here, asked, "It was not done").status_code == 412
    assert ask(here, f"inspections/{number}")["note"] == "it was fed"


@pytest.mark.parametrize("label", ["Yes: a super", "Fed", "Only a look"])
def test_a_handling_can_be_answered_in_several_ways_and_again_after_a_withdrawal(here, label):
    weigh(here)
    look(here)
    (asked,) = questions(here)
    assert tap(here, asked, label).status_code == 201
    look(here)
    if label != "Only a look":
        assert questions(here) == []
    (kept,) = ask(here, "inspections")["items"]
    url = f"/api/v1/inspections/{kept['id']}"
    assert here.http.delete(url, headers={"if-match": "*"}).status_code == 200
    look(here)
    (again,) = questions(here)
    assert again["id"] == asked["id"]
    assert tap(here, again, label).status_code == 200
    look(here)
    (back,) = ask(here, "inspections")["items"]
    assert (back["id"], back["version"]) == (kept["id"], 3)
    assert questions(here) == []


def handling(here):
    told = ask(here, "hives/hazel-1/timeline", what="finding")["items"]
    return next(one["finding"] for one in told if one["finding"]["kind"] == "handling")


def test_nobody_opened_it_is_an_answer_that_can_be_taken_back(here):
    weigh(here)
    look(here)
    before = handling(here)
    (asked,) = questions(here)
    tap = asked["answers"][-1]
    assert (tap["label"], tap["method"], tap["path"]) == ("Nobody opened it", "POST", "inspections")
    here.clock.at_s += 60
    answer = here.http.post("/api/v1/inspections", json=tap["body"] | {"by": "Ada"})
    assert answer.status_code == 201
    look(here)
    after = handling(here)
    assert questions(here) == []
    assert (after["id"], after["status"], after["explained_by"]) == (before["id"], "ended", None)
    assert after["evidence"] == [*before["evidence"], "nobody opened it, says Ada"]
    assert after["confidence"] < before["confidence"]
    (kept,) = ask(here, "inspections")["items"]
    assert (kept["opened"], kept["by"]) == (False, "Ada")
    seen = find(here.store, Alerts(quiet=""), as_of_s=here.clock.at_s, is_replay=True)
    then = find(here.store, Alerts(quiet=""), as_of_s=here.clock.at_s - 60, is_replay=True)
    assert [one.confidence for one in seen if one.id == after["id"]] == [after["confidence"]]
    assert [one.confidence for one in then if one.id == after["id"]] == [before["confidence"]]
    tag = answer.headers["etag"]
    url = f"/api/v1/inspections/{kept['id']}"
    assert here.http.delete(url, headers={"if-match": tag}).status_code == 200
    look(here)
    assert handling(here) == before
    (again,) = questions(here)
    yes = again["answers"][0]
    assert (yes["method"], yes["path"]) == ("PUT", f"inspections/{kept['id']}")
    headers = {"if-match": yes["if_match"]}
    assert here.http.put(f"/api/v1/{yes['path']}", json=yes["body"], headers=headers).is_success
    look(here)
    assert (questions(here), handling(here)["status"]) == ([], "explained")
