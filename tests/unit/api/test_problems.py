"""Every error is a problem document: RFC 9457 sections 3 and 3.1 name its type and members."""

from __future__ import annotations

import json

import pytest
from sqlalchemy.exc import OperationalError
from structlog.testing import capture_logs

MEMBERS = {"type", "title", "status", "detail", "errors"}


def the_problem(answer, status):
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    problem = json.loads(answer.content, parse_constant=pytest.fail)
    assert set(problem) == MEMBERS
    assert problem["status"] == status
    return problem


@pytest.mark.parametrize("path", ["/nothing", "/api/v1/nothing", "/api/v2/hives", "/api/v1/hives/"])
def test_what_is_not_there(here, path):
    the_problem(here.http.get(path), 404)


def test_a_hive_that_is_not_there_says_what_to_do(here):
    for tail in ("", "/readings?quantity=weight", "/timeline"):
        problem = the_problem(here.http.get(f"/api/v1/hives/hazel-9{tail}"), 404)
        assert "hazel-9" in problem["detail"]
        assert "apiary show" in problem["detail"]


def test_a_wrong_method_names_the_right_ones(here):
    """RFC 9110 section 15.5.6: a 405 names all methods of the resource in Allow."""
    for path, allowed in (
        ("/api/v1/hives", {"GET", "HEAD"}),
        ("/api/v1/inspections", {"GET", "HEAD", "POST"}),
        ("/api/v1/alerts/1/acknowledge", {"POST"}),
        ("/healthz", {"GET", "HEAD"}),
        ("/style.css", {"GET", "HEAD"}),
    ):
        answer = here.http.delete(path)
        the_problem(answer, 405)
        assert set(answer.headers["allow"].split(", ")) == allowed
        assert len(answer.headers.get_list("allow")) == 1


@pytest.mark.parametrize(
    ("path", "where"),
    [
        ("hives?limit=0", "query.limit"),
        ("hives?limit=1001", "query.limit"),
        ("hives?limti=5", "query.limti"),
        ("hives/Hazel_1", "path.hive_id"),
        ("hives/hazel-1/readings", "query.quantity"),
        ("hives/hazel-1/readings?quantity=weight&from=yesterday", "query.from"),
        ("hives/hazel-1/readings?quantity=weight&from=2026-05-01T00:00:00", "query.from"),
        ("hives/hazel-1/readings?quantity=weight&from=1777593600", "query.from"),
        ("hives/hazel-1/readings?quantity=weight&step=1y", "query.step"),
        ("hives/hazel-1/readings?quantity=weight&step=0h", "query.step"),
        ("findings?status=closed", "query.status"),
        ("alerts?after=99999999999999999999", "query.after"),
        ("quarantine?waiting=perhaps", "query.waiting"),
    ],
)
def test_a_wrong_question_says_what_is_wrong(here, path, where):
    problem = the_problem(here.http.get(f"/api/v1/{path}"), 422)
    assert [one["where"] for one in problem["errors"]] == [where]


def test_an_unknown_quantity_lists_the_known_ones(here):
    problem = the_problem(here.http.get("/api/v1/hives/hazel-1/readings?quantity=mass"), 422)
    assert "weight" in problem["detail"]
    assert "bees-in-total" not in problem["detail"]


@pytest.mark.parametrize("body", [b"{", b"\xff\xfe", b"[]", b"null", b'{"hive": NaN}', b""])
def test_a_body_that_is_no_inspection(here, body):
    headers = {"content-type": "application/json"}
    answer = here.http.post("/api/v1/inspections", content=body, headers=headers)
    assert answer.status_code in {400, 422}
    the_problem(answer, answer.status_code)


def test_a_fault_of_ours_hides_its_inside(here, monkeypatch):
    def break_down():
        raise RuntimeError("the inside of it")

    monkeypatch.setattr(here.clock, "now_s", break_down)
    with capture_logs() as logged:
        answer = here.http.get("/api/v1/hives")
    the_problem(answer, 500)
    assert [one["event"] for one in logged] == ["request_failed"]
    assert "inside" not in answer.text
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_busy_store_says_try_again(here, monkeypatch):
    def locked():
        raise OperationalError("SELECT", {}, Exception("database is locked"))

    monkeypatch.setattr(here.store, "read", locked)
    answer = here.http.get("/api/v1/hives")
    the_problem(answer, 503)
    assert int(answer.headers["retry-after"]) > 0


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ('{"hive": "hazel-1"', "body: not JSON, from character 18 on; correct it there"),
        (
            '{"hive": "hazel-1", "at": "2026-05-01T10:00:00Z", "quen": "seen"}',
            "body.quen: no such key; /api/v1/openapi.json names them",
        ),
        (
            '{"hive": "hazel-1", "at": "2026-05-01 10:00"}',
            'body.at: without an offset; end it with "Z", or an offset such as "+01:00"',
        ),
    ],
)
def test_what_is_wrong_with_a_body_is_said_in_plain_words(fresh, body, told):
    headers = {"content-type": "application/json"}
    answer = fresh.http.post("/api/v1/inspections", content=body, headers=headers)
    assert (answer.status_code, answer.json()["detail"]) == (422, told)


def test_what_is_missing_or_no_number_is_said_in_our_words(here):
    for path, said in (
        ("hives/hazel-1/readings", "query.quantity: missing; give it"),
        ("hives?limit=many", "query.limit: must be a whole number"),
    ):
        assert the_problem(here.http.get(f"/api/v1/{path}"), 422)["detail"] == said
