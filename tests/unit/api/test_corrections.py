"""Corrections and withdrawals, and ETags: who edits what he has not seen is told so."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from served import NOW_S

VISIT = {"hive": "hazel-1", "at": "2026-05-05T14:00:00Z", "by": "Ada", "note": "calm"}
PLACE = "/api/v1/inspections"


@pytest.fixture
def first(fresh):
    answer = fresh.http.post(PLACE, json=VISIT, headers={"idempotency-key": "visit-1"})
    assert answer.status_code == 201
    return answer


def put(here, first, body, tag=None):
    headers = {} if tag is None else {"if-match": tag}
    return here.http.put(f"{PLACE}/{first.json()['id']}", json=body, headers=headers)


def test_a_correction_keeps_what_was_said_before(fresh, first):
    fresh.clock.at_s = NOW_S + 60
    body = VISIT | {"note": "cross", "changed_by": "Ben", "why": "I was stung"}
    answer = put(fresh, first, body, first.headers["etag"])
    assert answer.status_code == 200, answer.text
    kept = answer.json()
    assert (kept["note"], kept["by"], kept["version"]) == ("cross", "Ada", 2)
    assert kept["recorded_at"] == first.json()["recorded_at"]
    assert answer.headers["etag"] != first.headers["etag"]
    one = fresh.http.get(f"{PLACE}/{kept['id']}")
    assert (one.json(), one.headers["etag"]) == (kept, answer.headers["etag"])
    told = fresh.http.get(f"{PLACE}/{kept['id']}/versions").json()["items"]
    assert [(v["note"], v["changed_by"], v["why"], v["from_at"]) for v in told] == [
        ("calm", None, None, "2026-05-11T09:00:00Z"),
        ("cross", "Ben", "I was stung", "2026-05-11T09:01:00Z"),
    ]
    again = fresh.http.post(PLACE, json=VISIT, headers={"idempotency-key": "visit-1"})
    assert (again.status_code, again.json()) == (200, kept)  # a late repeat undoes nothing


def test_a_withdrawal_counts_for_nothing_and_is_kept(fresh, first):
    number, tag = first.json()["id"], first.headers["etag"]
    query = {"by": "Ben", "why": "another hive"}
    gone = fresh.http.delete(f"{PLACE}/{number}", params=query, headers={"if-match": tag})
    assert (gone.status_code, gone.json()["withdrawn"]) == (200, True)
    assert fresh.http.get(PLACE).json()["items"] == []
    assert len(fresh.http.get(PLACE, params={"withdrawn": True}).json()["items"]) == 1
    told = fresh.http.get(f"{PLACE}/{number}/versions").json()["items"]
    assert [(v["withdrawn"], v["changed_by"], v["why"]) for v in told] == [
        (False, None, None),
        (True, "Ben", "another hive"),
    ]
    (event,) = fresh.http.get("/api/v1/hives/hazel-1/timeline").json()["items"][:1]
    assert event["inspection"]["withdrawn"]
    repeat = fresh.http.delete(f"{PLACE}/{number}", headers={"if-match": tag})
    assert repeat.json() == gone.json()  # the answer to the first was lost
    back = put(fresh, first, VISIT, gone.headers["etag"])
    assert (back.json()["withdrawn"], back.json()["version"]) == (False, 3)


@pytest.mark.parametrize("method", ["PUT", "DELETE"])
def test_an_edit_says_which_version_it_is_of(fresh, first, method):
    url = f"{PLACE}/{first.json()['id']}"
    body = {"json": VISIT | {"note": "2"}} if method == "PUT" else {}
    assert fresh.http.request(method, url, **body).status_code == 428  # RFC 6585 section 3
    for tag in ('"x"', "W/" + first.headers["etag"], "nonsense"):  # weak tags match no edit
        answer = fresh.http.request(method, url, headers={"if-match": tag}, **body)
        assert answer.status_code == 412  # RFC 9110 section 13.1.1
    assert fresh.http.get(url).json() == first.json()
    missing = fresh.http.request(method, f"{PLACE}/none", headers={"if-match": "*"}, **body)
    assert missing.status_code == 404
    tags = f'"x", {first.headers["etag"]}'
    assert fresh.http.request(method, url, headers={"if-match": tags}, **body).status_code == 200


def test_of_many_edits_at_once_one_is_taken(fresh, first):
    with ThreadPoolExecutor(8) as many:
        tag = first.headers["etag"]
        answers = list(
            many.map(lambda n: put(fresh, first, VISIT | {"note": str(n)}, tag), range(8))
        )
    assert sorted(one.status_code for one in answers) == [200] + [412] * 7
    taken = next(one.json() for one in answers if one.status_code == 200)
    assert fresh.http.get(f"{PLACE}/{taken['id']}").json() == taken
    repeat = put(fresh, first, VISIT | {"note": taken["note"]}, tag)
    assert (repeat.status_code, repeat.json()) == (200, taken)


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        ({"at": "2026-05-11T09:00:01Z"}, "to come"),
        ({"hive": "hazel-9"}, "no such hive"),
        ({"key": "other"}, "the key of an inspection stays"),
    ],
)
def test_a_correction_to_what_cannot_be_is_refused(fresh, first, body, reason):
    answer = put(fresh, first, VISIT | body, first.headers["etag"])
    assert (answer.status_code, reason in answer.json()["detail"]) == (409, True)
    wrong = put(fresh, first, VISIT | {"adults": -1}, first.headers["etag"])
    assert wrong.status_code == 422


PATHS = [
    *("yards", "hives", "hives/hazel-1", "devices", "inspections", "findings", "alerts"),
    *("round", "quarantine", "kinds", "hives/hazel-1/timeline", "yards/hazel-end/timeline"),
]


@pytest.mark.parametrize("path", PATHS)
def test_who_has_it_is_told_that_it_still_holds(fresh, path):
    fresh.send(b'[{"n": "weigth", "u": "kg", "v": 30}]')
    answer = fresh.http.get(f"/api/v1/{path}")
    tag = answer.headers["etag"]
    if path != "round":  # it says on which day it was made
        fresh.clock.at_s += 5  # the server's time alone is no change
    for known in (tag, f'"other", {tag}', tag.removeprefix("W/"), "*"):
        same = fresh.http.get(f"/api/v1/{path}", headers={"if-none-match": known})
        assert (same.status_code, same.content, same.headers["etag"]) == (304, b"", tag)
        assert "content-security-policy" in same.headers
    other = fresh.http.get(f"/api/v1/{path}", headers={"if-none-match": '"other"'})
    assert (other.status_code, other.json().keys()) == (200, answer.json().keys())


def test_a_change_changes_the_tag(fresh, first):
    number = first.json()["id"]
    paths = [PLACE, f"{PLACE}/{number}", f"{PLACE}/{number}/versions"]
    paths.append("/api/v1/hives/hazel-1/timeline")
    tags = {path: fresh.http.get(path).headers["etag"] for path in paths}
    put(fresh, first, VISIT | {"note": "x"}, tags[f"{PLACE}/{number}"])
    for path, tag in tags.items():
        answer = fresh.http.get(path, headers={"if-none-match": tag})
        assert answer.status_code == 200, path
        assert answer.headers["etag"] != tag
    assert "etag" not in fresh.http.get(f"{PLACE}/none").headers


def test_the_document_tells_of_tags(fresh):
    paths = fresh.http.get("/api/v1/openapi.json").json()["paths"]
    one = paths["/api/v1/inspections/{inspection_id}"]
    assert {"304", "404"} <= one["get"]["responses"].keys()
    for method in ("put", "delete"):
        assert {"412", "428"} <= one[method]["responses"].keys()
        assert "if-match" in {parameter["name"] for parameter in one[method]["parameters"]}
