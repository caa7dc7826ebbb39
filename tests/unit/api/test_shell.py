"""Who may ask, how much, and what every answer carries."""

from __future__ import annotations

import http.client
from urllib.parse import urlsplit

import pytest
from served import served

from hivewatch.settings import Api, Settings

PROBLEM = "application/problem+json"  # RFC 9457 section 3
JSON = {"content-type": "application/json"}


def test_a_name_that_points_here_is_not_served(here):
    for path in ("/api/v1/hives", "/", "/metrics", "/nothing"):
        answer = here.http.get(path, headers={"host": "bees.example"})
        assert answer.status_code == 421
        assert answer.headers["content-type"] == PROBLEM


def test_the_proxy_of_the_settings_is_served_and_may_change_things(tmp_path):
    """Whether it hands on the name it was asked for, or asks by ours."""
    public = "https://hives.example.org"
    settings = Settings(api=Api(public_url=public))
    with served(tmp_path, settings) as one:
        for host in ("hives.example.org", "127.0.0.1:8080"):
            headers = {"host": host, "origin": public}
            assert one.http.get("/healthz", headers=headers).status_code == 200
            assert one.http.post("/api/v1/push", json={}, headers=headers).status_code == 422
            headers["origin"] = "https://hives.example.com"
            assert one.http.post("/api/v1/push", json={}, headers=headers).status_code == 403
        other = one.http.get("/healthz", headers={"host": "hives.example.com"})
        assert other.status_code == 421


@pytest.mark.parametrize(
    "host", ["localhost", "127.0.0.1", "127.0.0.1:9", "[::1]:8080", "LOCALHOST"]
)
def test_the_names_of_this_machine_are_served(here, host):
    assert here.http.get("/healthz", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["", "[", "127.0.0.1.example", "localhost.example", "10.0.0.1", "a@b:c"]
)
def test_a_strange_host_is_refused_without_a_fault(here, host):
    assert here.http.get("/healthz", headers={"host": host}).status_code in {400, 421}


def test_a_page_from_elsewhere_changes_nothing(here):
    for origin in ("http://bees.example", "null", "http://127.0.0.1:1"):
        answer = here.http.post("/api/v1/inspections", json={}, headers={"origin": origin})
        assert answer.status_code == 403
    own = here.http.post("/api/v1/inspections", json={}, headers={"origin": here.url})
    assert own.status_code == 422


def test_a_form_is_no_json(here):
    """A browser sends text/plain across sites without asking first (Fetch standard, CORS)."""
    body = b'{"hive": "hazel-1", "at": "2026-05-02T12:00:00Z"}'
    answer = here.http.post(
        "/api/v1/inspections", content=body, headers={"content-type": "text/plain"}
    )
    assert answer.status_code == 422
    assert here.http.get("/api/v1/inspections").json()["items"] == []


def test_a_body_that_is_too_long_is_refused(here):
    long = b'{"note": "' + b"x" * 300_000 + b'"}'
    told = here.http.post("/api/v1/inspections", content=long, headers=JSON)
    untold = here.http.post("/api/v1/inspections", content=iter([long]), headers=JSON)
    for answer in (told, untold):
        assert answer.status_code == 413
        assert answer.headers["content-type"] == PROBLEM


def test_every_answer_carries_the_safety_headers(here):
    for path in ("/", "/app.js", "/api/v1/hives", "/api/v1/nothing", "/metrics"):
        headers = here.http.get(path).headers
        assert headers["x-content-type-options"] == "nosniff"
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "*" not in policy
        assert "frame-ancestors 'none'" in policy


def test_head_is_get_without_the_body(here):
    for path in ("/", "/api/v1/hives", "/healthz"):
        got, asked = here.http.get(path), here.http.head(path)
        assert asked.status_code == 200
        assert asked.content == b""
        assert asked.headers["content-type"] == got.headers["content-type"]


def test_a_broken_request_is_answered(here):
    address = urlsplit(here.url)
    line = http.client.HTTPConnection(address.hostname, address.port, timeout=5)
    line.putrequest("GET", "/%00%ff/../../etc/passwd", skip_accept_encoding=True)
    line.endheaders()
    assert line.getresponse().status == 404
    line.close()
