"""kill -9 of the process that sends: before the send rings once, after it twice with one key."""

from __future__ import annotations

import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from hivewatch.alerts import answers, outbox
from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.store import findings
from hivewatch.store.open import Store

PROCESS = Path(__file__).parents[1] / "support" / "deliver_process.py"
KILLS = 12


class Manners:
    quiet = None


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path / "hivewatch.db")
    yield opened
    opened.close()


def find(store: Store, number: int) -> str:
    """Settle one emergency in a yard of its own; give its id."""
    now_s = int(time.time())  # noqa: TID251 - the other process has the machine's time
    name = f"hive-{number}"
    one = Finding("toppled", f"hive:{name}", now_s - 9, None, now_s, 0.97, id=f"finding{number}")
    yard = Yard(f"yard-{number}", f"Yard {number}", 52.2, 0.12, "Europe/London")
    with store.write() as connection:
        findings.write(connection, [one], name, yard.id, now_s)
        outbox.enqueue(connection, [], [one], yard=yard, hive=name, limits=Manners(), now_s=now_s)
    return one.id


@contextmanager
def sender(store: Store, url: str) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, str(PROCESS), str(store.path), url],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        yield process
    finally:
        kill(process)
        process.stdout.close()


def kill(process: subprocess.Popen[str]) -> None:
    if process.poll() is None:
        os.kill(process.pid, signal.SIGKILL)
    process.wait(10)


def until(true: Callable[[], bool], seconds: float = 60) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.01)
    return False


def states(store: Store) -> Counter[str]:
    with store.read() as connection:
        return Counter(one.state for one in answers.read(connection, limit=1000))


def keys(server: HTTPServer) -> Counter[str]:
    return Counter(request.headers["Idempotency-Key"] for request, _ in server.log)


def test_killed_before_the_send_it_rings_once(store):
    find(store, 1)
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        port = deaf.getsockname()[1]
        url = f"json://127.0.0.1:{port}/hook"
        with sender(store, url) as process:
            taken, _ = deaf.accept()  # it has begun; nothing is answered
            kill(process)
            taken.close()
    with store.read() as connection:
        story = answers.story(connection, 1)
    assert story is not None
    assert [one.state for one in story.deliveries] == ["sending"]
    with HTTPServer("127.0.0.1", port) as server:
        server.expect_request("/hook").respond_with_data("ok")
        with sender(store, url):
            assert until(lambda: states(store)["sent"] == 1)
        assert keys(server) == {"finding1-1": 1}


def test_killed_between_send_and_record_it_rings_twice_with_one_key(store, httpserver):
    rang, may_answer = threading.Event(), threading.Event()

    def answer(_: Request) -> Response:
        rang.set()
        may_answer.wait(10)
        return Response("ok")

    httpserver.expect_request("/hook").respond_with_handler(answer)
    find(store, 1)
    url = f"json://{httpserver.host}:{httpserver.port}/hook"
    with sender(store, url) as process:
        assert rang.wait(10)
        kill(process)
    may_answer.set()
    with sender(store, url):
        assert until(lambda: states(store)["sent"] == 1)
    assert keys(httpserver) == {"finding1-1": 2}
    with store.read() as connection:
        story = answers.story(connection, 1)
    assert story is not None
    assert [one.reason for one in story.decisions] == ["it matters", "interrupted", "sent"]


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_killed_at_random_moments_no_alert_is_lost_and_repeats_have_their_key(store, httpserver):
    httpserver.expect_request("/hook").respond_with_data("ok")
    url = f"json://{httpserver.host}:{httpserver.port}/hook"
    moment = random.Random(20260521)
    number, interrupted = 0, 0
    for _ in range(KILLS):
        with sender(store, url) as process:
            for _ in range(4):
                number += 1
                find(store, number)
                time.sleep(moment.uniform(0, 0.03))
            kill(process)
        with store.read() as connection:
            interrupted += sum(
                story.deliveries[0].state == "sending"
                for one in answers.read(connection, limit=1000)
                if (story := answers.story(connection, one.id)) and story.deliveries
            )
    with sender(store, url):
        assert until(lambda: states(store) == {"sent": number})
    heard = keys(httpserver)
    assert set(heard) == {f"finding{n}-1" for n in range(1, number + 1)}
    assert sum(heard.values()) - number <= interrupted
