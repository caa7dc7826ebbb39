"""Server-sent events: what is written is told at once, to everybody, and nothing is missed."""

from __future__ import annotations

import json
import socket
import threading
import time
from contextlib import contextmanager

import httpx
import pytest
from served import NOW_S, served

from hivewatch.api import feed
from hivewatch.detect.finding import Finding
from hivewatch.ingest.folder import import_file

SOON_S = 2.0


class Ear:
    """Somebody who follows; reads as the HTML Living Standard section 9.2.6 says."""

    def __init__(self, response):
        self.response = response
        self.got, self.comments = [], 0
        self.ended = threading.Event()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        fields = {}
        try:
            for line in self.response.iter_lines():
                if line.startswith(":"):
                    self.comments += 1
                elif line:
                    name, _, value = line.partition(": ")
                    fields[name] = value
                elif "data" in fields:
                    fields["data"] = json.loads(fields["data"])
                    self.got.append(fields)
                    fields = {}
        except (httpx.HTTPError, httpx.StreamError, OSError):
            pass  # we ourselves went away
        finally:
            self.ended.set()

    def wait(self, event, count=1, soon_s=SOON_S):
        until_s = time.monotonic() + soon_s
        while time.monotonic() < until_s:
            found = [one for one in self.got if one["event"] == event]
            if len(found) >= count:
                return found
            time.sleep(0.01)
        raise AssertionError(f"{count} {event} awaited, got {self.got}")


@contextmanager
def following(here, after=None):
    headers = {} if after is None else {"last-event-id": str(after)}
    with here.http.stream("GET", "/api/v1/events", headers=headers) as response:
        assert response.status_code == 200
        assert response.headers["content-type"].startswith("text/event-stream")
        ear = Ear(response)
        ear.wait("begin")
        try:
            yield ear
        finally:  # its thread waits in recv, which keeps the connection open
            line = response.extensions["network_stream"].get_extra_info("socket")
            line.shutdown(socket.SHUT_RDWR)


def swarm(n=0):
    return Finding("swarm", "hive:hazel-1", NOW_S - 600 - n, None, NOW_S, 0.9)


def test_what_is_written_is_told_within_a_second(fresh):
    with following(fresh) as ear:
        started = time.monotonic()
        number = fresh.write_down(hive="hazel-1", at="2026-05-05T14:00:00Z", note="calm")
        (seen,) = ear.wait("inspection")
        assert time.monotonic() - started < 1.0
        (told,) = fresh.tell(swarm())
        (found,) = ear.wait("finding")
        (rang,) = ear.wait("alert")
        fresh.send(b'[{"n": "weight", "u": "kg", "v": 30}]')
        (heard,) = ear.wait("readings")
    listed = fresh.http.get(f"/api/v1/inspections/{number}").json()
    assert seen["data"] == {"hive": "hazel-1", "yard": "hazel-end", "inspection": listed}
    assert found["data"]["finding"]["id"] == told.id
    assert rang["data"]["alert"]["finding"] == told.id
    assert heard["data"] == {"hive": "hazel-1", "heard_at": "2026-05-11T09:00:00Z"}
    ids = [int(one["id"].split("-")[0]) for one in (seen, found, rang)]
    assert ids == sorted(set(ids))


WEIGHED = b'[{"n": "weight", "u": "kg", "v": 30}]'


def test_who_comes_back_is_told_once_of_each_hive_that_was_heard_meanwhile(fresh):
    fresh.send(WEIGHED, "scale-2")
    fresh.clock.at_s += 60
    with following(fresh) as ear:
        fresh.send(WEIGHED, "scale-1")
        last = ear.wait("readings")[0]["id"]
    with following(fresh, last) as ear:  # of the same second, rather twice than never
        assert [one["data"]["hive"] for one in ear.wait("readings")] == ["hazel-1"]
    for _ in range(3):
        fresh.clock.at_s += 60
        fresh.send(WEIGHED, "scale-1")
        fresh.send(WEIGHED, "scale-2")
    time.sleep(2 * feed.PAUSE_S)  # else what is read for all the others may come twice
    with following(fresh, last) as ear:
        told = [one["data"] for one in ear.wait("readings", 2)]
        fresh.clock.at_s += 60
        fresh.send(WEIGHED, "scale-2")
        more = ear.wait("readings", 3)[2:]
    assert told == [
        {"hive": "hazel-1", "heard_at": "2026-05-11T09:04:00Z"},
        {"hive": "hazel-2", "heard_at": "2026-05-11T09:04:00Z"},
    ]
    assert [one["data"] for one in more] == [
        {"hive": "hazel-2", "heard_at": "2026-05-11T09:05:00Z"}
    ]
    with following(fresh) as ear:  # who follows for the first time reads the pages anyway
        fresh.write_down(hive="hazel-1", at="2026-05-05T14:00:00Z", note="calm")
        ear.wait("inspection")
        assert not [one for one in ear.got if one["event"] == "readings"]


def test_what_breaks_off_amid_the_readings_is_told_again(fresh):
    with following(fresh) as ear:
        first = ear.wait("begin")[0]["id"]
    fresh.send(WEIGHED, "scale-1")
    fresh.send(WEIGHED, "scale-2")
    with following(fresh, first) as ear:
        told = ear.wait("readings", 2)
    assert told[0]["id"] == first
    assert told[1]["id"] != first
    with following(fresh, told[0]["id"]) as ear:
        assert len(ear.wait("readings", 2)) == 2
    with following(fresh, first.split("-")[0]) as ear:  # a bare number
        assert len(ear.wait("readings", 2)) == 2


def test_a_correction_and_a_withdrawal_are_told(fresh):
    number = fresh.write_down(hive="hazel-1", at="2026-05-05T14:00:00Z", note="calm")
    url = f"/api/v1/inspections/{number}"
    with following(fresh) as ear:
        body = {"hive": "hazel-1", "at": "2026-05-05T14:00:00Z", "note": "cross"}
        fresh.http.put(url, json=body, headers={"if-match": "*"})
        assert ear.wait("inspection")[0]["data"]["inspection"]["note"] == "cross"
        fresh.http.delete(url, headers={"if-match": "*"})
        assert ear.wait("inspection", 2)[1]["data"]["inspection"]["withdrawn"]


def test_who_comes_back_goes_on_behind_what_he_has(fresh):
    with following(fresh) as ear:
        fresh.write_down(hive="hazel-1", at="2026-05-05T14:00:00Z", note="0")
        last = ear.wait("inspection")[0]["id"]
    for n in (1, 2, 3):
        fresh.write_down(hive="hazel-1", at="2026-05-05T14:00:00Z", note=str(n))
    with following(fresh, last) as ear:
        seen = ear.wait("inspection", 3)
        fresh.write_down(hive="hazel-1", at="2026-05-05T14:00:00Z", note="4")
        seen = ear.wait("inspection", 4)
        assert [one["data"]["inspection"]["note"] for one in seen] == ["1", "2", "3", "4"]
        assert not [one for one in ear.got if one["event"] == "missed"]
    with following(fresh, seen[-1]["id"].replace("-", "000-")) as ear:
        ear.wait("missed")
    assert fresh.http.get("/api/v1/events", headers={"last-event-id": "x"}).status_code == 422


def test_a_heartbeat_says_that_it_lives(fresh, monkeypatch):
    monkeypatch.setattr("hivewatch.api.events.HEARTBEAT_S", 0.1)
    with following(fresh) as ear:
        time.sleep(0.5)
        assert ear.comments >= 2


def test_too_many_are_told_to_come_later(fresh, monkeypatch):
    monkeypatch.setattr(feed, "CLIENTS_MOST", 1)
    with following(fresh):
        answer = fresh.http.get("/api/v1/events")
        assert (answer.status_code, answer.json()["status"]) == (503, 503)
    until_s = time.monotonic() + SOON_S
    while fresh.app.state.rooms.feed.clients and time.monotonic() < until_s:
        time.sleep(0.05)
    with following(fresh):
        pass


def test_everybody_hears_it_and_the_rest_is_not_slowed(fresh):
    def median_s():
        took = []
        for _ in range(15):
            started = time.perf_counter()
            fresh.http.get("/api/v1/hives").raise_for_status()
            took.append(time.perf_counter() - started)
        return sorted(took)[7]

    alone_s = median_s()
    with following(fresh) as one, following(fresh) as two, following(fresh) as three:
        fresh.tell(swarm())
        for ear in (one, two, three):
            assert len(ear.wait("finding")) == 1
        assert fresh.app.state.rooms.feed.clients == 3
        assert median_s() < 3 * alone_s + 0.02


def test_a_full_queue_lets_its_client_go_and_no_other(monkeypatch):
    client, other = feed.Client(), feed.Client()
    monkeypatch.setattr(feed, "QUEUE", 2)
    small = feed.Client()
    for _ in range(5):
        for one in (client, small, other):
            one.give(feed._event("readings", {"hive": "h"}, feed.Place(1, 1)))
    assert (small.is_late, small.queue.qsize()) == (True, 2)
    assert [one.is_late for one in (client, other)] == [False, False]


def test_all_is_over_soon_when_the_server_stops(tmp_path):
    with served(tmp_path) as one:
        one.load_apiary()
        http = one.http
        request = http.build_request("GET", "/api/v1/events")
        ear = Ear(http.send(request, stream=True))
        ear.wait("begin")
        started = time.monotonic()
        one.http = http
        one.app.state.rooms.feed.close()
        assert ear.ended.wait(3.0)
        assert time.monotonic() - started < 2.0


@pytest.mark.parametrize("count", [feed.BATCH + 20])
def test_more_than_one_batch_comes_whole(fresh, count):
    with following(fresh) as ear:
        last = ear.got[0]["id"]
    for n in range(count):
        fresh.write_down(hive="hazel-2", at="2026-05-05T14:00:00Z", note=str(n))
    with following(fresh, last) as ear:
        seen = ear.wait("inspection", count, soon_s=30.0)  # however busy the machine
    assert [one["data"]["inspection"]["note"] for one in seen] == [str(n) for n in range(count)]


def test_old_readings_from_a_file_are_told_though_the_hive_was_heard_since(fresh, tmp_path):
    fresh.send(WEIGHED, "scale-1")
    file = tmp_path / "old.csv"
    lines = ["time,device,quantity,value"]
    lines += [f"2026-05-0{day}T12:00:00Z,scale-1,weight,3{day}.5" for day in range(3, 9)]
    file.write_text("\n".join(lines))
    with following(fresh) as ear:
        last = ear.wait("begin")[0]["id"]
        import_file(fresh.store, file, None, fresh.clock.now_s())
        (told,) = ear.wait("readings")
    assert told["data"] == {"hive": "hazel-1", "heard_at": "2026-05-11T09:00:00Z"}
    with following(fresh, told["id"]) as ear:  # the same again is no news
        import_file(fresh.store, file, None, fresh.clock.now_s())
        fresh.write_down(hive="hazel-1", at="2026-05-05T14:00:00Z", note="calm")
        (seen,) = ear.wait("inspection")
        assert [one["event"] for one in ear.got if one["id"] == seen["id"]] == ["inspection"]
        again = [one["id"] for one in ear.got if one["event"] == "readings"]
        assert not any(int(one.split("-")[0]) > int(told["id"].split("-")[0]) for one in again)
    with following(fresh, last) as ear:  # who was away is told of it, too
        assert ear.wait("readings")[0]["data"]["hive"] == "hazel-1"
