"""The mirror and a server that refuses, stumbles and goes away."""

from __future__ import annotations

import sys
from threading import Event, Thread

import pytest
import structlog
from mirror_story import TOKEN, publish, run_out, said
from werkzeug import Response

from hivewatch import metrics
from hivewatch.errors import UsageError
from hivewatch.mirror import Endpoint, loop
from hivewatch.mirror.endpoint import AwayError
from hivewatch.mirror.told import Told

REFUSALS = {
    401: "refused the token (401: no); check [mirror] token_file",
    403: "does not let the token write (403: no); give it the right to write into the bucket",
    404: "knows no such organisation or bucket (404: no); check [mirror] url, org and bucket",
}


@pytest.mark.parametrize("status", REFUSALS)
def test_what_a_person_must_mend_is_told_once_and_tried_again_slowly(
    store, server, make, clock, status
) -> None:
    publish(store, "scale-1", (0, 20.0))
    mirror = make()
    server.answers = [said(status, "no") for _ in range(4)]
    with structlog.testing.capture_logs() as logs:
        for _ in range(4):
            with pytest.raises(AwayError) as caught:
                run_out(mirror)
            mirror._note(caught.value)
            clock.time_s += 600
        run_out(mirror)
    assert caught.value.permanent
    assert loop._wait_s(caught.value, 1) >= loop.FOR_GOOD_S / 2
    assert [one["event"] for one in logs] == ["mirror_away", "mirror_away_over"]
    assert logs[0]["log_level"] == "error"
    assert logs[0]["said"] == f"mirror {server.url}: {REFUSALS[status]}"
    assert (logs[1]["lasted_s"], logs[1]["times"]) == (2400, 4)
    assert TOKEN not in str(logs) + str(caught.value) + repr(mirror._endpoint.__dict__)
    assert len(server.points) == 1


def test_an_outage_is_told_once_and_then_every_hour(store, server, make, clock) -> None:
    publish(store, "scale-1", (0, 20.0))
    mirror = make()
    with structlog.testing.capture_logs() as logs:
        for _ in range(25):
            server.answers = [said(503, "engine is restarting")]
            with pytest.raises(AwayError) as caught:
                run_out(mirror)
            mirror._note(caught.value)
            clock.time_s += 300
    assert not caught.value.permanent
    assert [(one["log_level"], one["times"]) for one in logs] == [
        ("warning", 1),
        ("warning", 13),
        ("warning", 25),
    ]
    assert (
        str(caught.value) == f"mirror {server.url}: takes nothing now (503: engine is restarting)"
    )


def test_the_wait_grows_to_five_minutes_and_heeds_the_server() -> None:
    away = AwayError("mirror", "cannot be reached", "")
    waits = [max(loop._wait_s(away, tries) for _ in range(200)) for tries in range(1, 40)]
    assert 0.9 < waits[0] <= 1
    assert 3.5 < waits[2] <= 4
    assert 250 < max(waits) <= 300
    told = AwayError("mirror", "takes nothing now", "", again_after_s=77)
    assert loop._wait_s(told, 1) == 77


def test_retry_after_is_read_in_seconds_alone(server, settings) -> None:
    endpoint = Endpoint(settings)
    waits = []
    for word in ("30", "99999999", "Wed, 21 Oct 2026 07:28:00 GMT", "-1"):
        server.answers = [said(429, "too many", Retry_After=word)]
        with pytest.raises(AwayError) as caught:
            endpoint.write(["weight value=1 1"])
        waits.append(caught.value.again_after_s)
    endpoint.close()
    assert waits == [30, 3600, None, None]


def counts() -> dict[str, float]:
    return {
        state: metrics.MIRROR_POINTS.labels(state)._value.get() for state in ("written", "refused")
    }


def test_one_point_that_is_refused_is_found_counted_and_left_out(store, server, make) -> None:
    before = counts()
    publish(store, "scale-1", *((60 * i, 20 + i / 100) for i in range(500)))

    def judge(lines: list[str]) -> Response | None:
        bad = [line for line in lines if "value=21.23 " in line]
        return said(400, f"unable to parse '{bad[0]}': bad") if bad else None

    server.judge = judge
    with structlog.testing.capture_logs() as logs:
        run_out(make())
    assert len(server.points) == 499
    assert [one["event"] for one in logs] == ["mirror_refused_points"]
    after = counts()
    assert after["written"] - before["written"] == 499
    assert after["refused"] - before["refused"] == 1


def test_a_batch_that_is_bad_throughout_does_not_stop_the_mirror(store, server, make) -> None:
    publish(store, "scale-1", *((60 * i, 20 + i / 100) for i in range(500)))
    publish(store, "scale-2", (0, 34.0), name="nest")

    def judge(lines: list[str]) -> Response | None:
        return said(400, "no weights here") if any("weight," in line for line in lines) else None

    server.judge = judge
    run_out(make())
    assert len(server.points) == 1
    assert len(server.requests) < 60


def test_points_older_than_the_bucket_keeps_are_counted_and_the_rest_is_there(
    store, server, make
) -> None:
    before = counts()
    publish(store, "scale-1", *((60 * i, 20.0 + i) for i in range(10)))
    message = "partial write: points beyond retention policy dropped=4"
    server.answers = [said(422, message)]
    run_out(make())
    assert len(server.requests) == 1
    after = counts()
    assert after["written"] - before["written"] == 6
    assert after["refused"] - before["refused"] == 4


def test_a_batch_that_is_too_large_goes_in_parts(store, server, make) -> None:
    publish(store, "scale-1", *((60 * i, 20 + i / 100) for i in range(500)))
    server.judge = lambda lines: Response(status=413) if len(lines) > 40 else None
    run_out(make())
    assert len(server.points) == 500


def test_a_server_that_is_not_there_is_told_in_words(settings) -> None:
    for url, words in (
        ("http://127.0.0.1:9", "cannot be reached (Connection refused)"),
        ("http://nowhere.invalid", "cannot be reached (its name is not known)"),
    ):
        endpoint = Endpoint(settings.model_copy(update={"url": url}))
        with pytest.raises(AwayError) as caught:
            endpoint.write(["weight value=1 1"])
        endpoint.close()
        assert str(caught.value) == f"mirror {url}: {words}; check [mirror] url"


def test_asking_sends_no_point(server, settings) -> None:
    endpoint = Endpoint(settings)
    server.answers = [said(400, "writing requires points")]
    assert endpoint.check() == f"mirror {server.url}: takes points for bucket hivewatch"
    server.answers = [said(401, "unauthorized access")]
    with pytest.raises(AwayError, match="refused the token"):
        endpoint.check()
    endpoint.close()
    assert server.lines == []


def test_without_the_extra_one_line_says_what_to_install(settings, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "influxdb_client.client.influxdb_client", None)
    with pytest.raises(UsageError) as caught:
        Endpoint(settings)
    assert str(caught.value) == (
        "[mirror]: needs the InfluxDB client, which is not installed;"
        " pip install 'hivewatch[mirror]', or take the section out"
    )


def test_the_loop_sends_says_that_it_lives_and_ends(store, server, make, monkeypatch) -> None:
    monkeypatch.setattr(loop, "PAUSE_S", 0.05)
    monkeypatch.setattr(loop, "AWAY_S", (0.05, 0.1))
    publish(store, "scale-1", (0, 20.0))
    server.answers = [said(503, "not yet"), said(503, "not yet")]
    stop, beats, enough = Event(), [], Event()

    def beat() -> None:
        beats.append(1)
        if server.points and len(beats) > 5:
            enough.set()

    thread = Thread(target=make().run, args=(stop, beat))
    thread.start()
    assert enough.wait(10)
    stop.set()
    thread.join(5)
    assert not thread.is_alive()
    assert len(server.points) == 1


def test_a_fault_of_another_kind_is_told_at_once() -> None:
    told = Told("mirror_away")
    with structlog.testing.capture_logs() as logs:
        told.again(0, "away", is_grave=False)
        told.again(60, "away", is_grave=False)
        told.again(120, "refused", is_grave=True)
        told.over(180)
        told.over(240)
    assert [(one["event"], one["log_level"]) for one in logs] == [
        ("mirror_away", "warning"),
        ("mirror_away", "error"),
        ("mirror_away_over", "info"),
    ]
