"""kill -9 at random moments under load: what the broker acknowledged is stored, exactly once."""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from threading import Event, Thread

import pytest
from brokers import Devices, wait_until, weight_pack
from running import Running

from hivewatch.store.open import Store

START_S = 1_777_593_600
KILLS = 200
LONGEST_S = 0.3
KILLS_OF_ALL = 5
SETTINGS = ("max_queued_messages 0", "max_inflight_messages 0")

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]


class Field(Thread):
    """Devices that send without a pause until told to stop; remembers what was acknowledged."""

    def __init__(self, port, pace_s):
        super().__init__()
        self.devices, self.pace_s = Devices(port), pace_s
        self.enough = Event()
        self.sent = []

    def run(self):
        while not self.enough.is_set():
            i = len(self.sent)
            pack = weight_pack(START_S + i // 3, 20 + i % 50)
            self.sent.append(self.devices.post(f"hivewatch/scale-{i % 3}/senml", pack))
            time.sleep(self.pace_s)

    def stop(self):
        """Stop, and give the count of what was sent: all of it acknowledged."""
        self.enough.set()
        self.join()
        for one in self.sent:
            one.wait_for_publish(60.0)
            assert one.is_published()
        self.devices.close()
        return len(self.sent)


def stored(path):
    with closing(sqlite3.connect(path)) as store:
        return store.execute(
            "SELECT device.id, time_ms, value FROM reading JOIN device ON number = reading.device"
        ).fetchall()


def expected(count):
    return {(f"scale-{i % 3}", (START_S + i // 3) * 1000): float(20 + i % 50) for i in range(count)}


def check(path, count):
    """Hold the store against what was sent."""
    rows = stored(path)
    assert len(rows) == count  # once: a key stands there only once, and none is too many
    assert {(device, time_ms): value for device, time_ms, value in rows} == expected(count)
    with closing(sqlite3.connect(path)) as store:
        assert store.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert store.execute("SELECT count(*) FROM quarantine").fetchone() == (0,)


def test_nothing_acknowledged_is_lost_in_two_hundred_kills(mosquitto, tmp_path):
    broker = mosquitto(*SETTINGS)
    path = tmp_path / "hivewatch.db"
    Store(path).close()
    words = f"-p {broker.port} -i hivewatch -c -q 1 -E -t hivewatch/+/senml -V 5 -x 3600"
    # the session stands, so that the first message waits for us
    subprocess.run(["mosquitto_sub", *words.split()], check=True, timeout=20.0)
    field = Field(broker.port, 0.001)
    field.start()
    words = [str(path), broker.url, str(KILLS), str(LONGEST_S), "7"]
    script = f"{__file__.rsplit('/', 2)[0]}/support/mortal.py"
    with subprocess.Popen(
        [sys.executable, script, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as mortal:
        within, after = map(int, mortal.stdout.readline().split())
        count = field.stop()
        wait_until(lambda: len(stored(path)) >= count, 60.0)
        mortal.stdin.close()
        assert mortal.wait(20.0) == 0
    print(f"{count} sent; {KILLS} kills: {within} within a commit, {after} between two")
    check(path, count)
    assert within > 0
    assert after > 0


def test_nothing_acknowledged_is_lost_when_the_whole_daemon_is_killed(mosquitto, tmp_path):
    broker = mosquitto(*SETTINGS)
    here = Running(tmp_path, broker.url)
    field = Field(broker.port, 0.002)
    lives = random.Random(7)
    try:
        here.start()
        field.start()
        for _ in range(KILLS_OF_ALL):
            time.sleep(lives.uniform(0.1, 1.5))
            here.kill()
            here.start(ready=False)
            wait_until(lambda: here.health()[0] == 200 or here.has_ended(), 60.0)
            assert not here.has_ended(), here.log.read_text()
        count = field.stop()
        wait_until(lambda: len(stored(here.store)) >= count, 60.0)
        assert here.end() == 0
    finally:
        here.kill()
    print(f"{count} sent; the daemon killed {KILLS_OF_ALL} times")
    check(here.store, count)
