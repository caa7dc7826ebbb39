"""The process of the pages is killed, or the daemon is: neither takes the other's work along."""

from __future__ import annotations

import os
import signal
import sqlite3
import time
from contextlib import closing
from pathlib import Path

import pytest
from brokers import Devices, wait_until, weight_pack
from running import Running

START_S = 1_777_593_600

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]


def children(pid):
    """Name the processes of a daemon that serve pages: those with the listener's loops in them."""
    found = Path(f"/proc/{pid}/task").glob("*/children")
    pids = [int(one) for path in found for one in path.read_text().split()]
    return [one for one in pids if b"spawn_main" in Path(f"/proc/{one}/cmdline").read_bytes()]


def count(path):
    with closing(sqlite3.connect(path)) as store:
        return store.execute("SELECT count(*) FROM reading").fetchone()[0]


def test_pages_that_are_killed_come_back_and_readings_go_on_meanwhile(mosquitto, tmp_path):
    broker = mosquitto()
    here = Running(tmp_path, broker.url)
    devices = Devices(broker.port)
    try:
        here.start()
        (pages,) = children(here.daemon.pid)
        os.kill(pages, signal.SIGKILL)
        devices.post("hivewatch/scale-1/senml", weight_pack(START_S, 30))
        wait_until(lambda: count(here.store) == 1, 20.0)
        wait_until(lambda: here.health()[0] == 200, 60.0, "the pages to come back")
        (again,) = children(here.daemon.pid)
        assert again != pages
        status, said = here.fetch("metrics")
        assert status == 200
        assert 'hivewatch_loop_restarts_total{loop="pages"} 1.0' in said
        assert "hivewatch_ingest_readings_total 1.0" in said
        log = here.log.read_text()
        assert "pages: ended by themselves (exit status -9)" in log
        assert here.end() == 0
    finally:
        devices.close()
        here.kill()


def test_pages_end_with_a_daemon_that_was_killed(mosquitto, tmp_path):
    here = Running(tmp_path, mosquitto().url)
    try:
        here.start()
        (pages,) = children(here.daemon.pid)
        here.kill()
        began_s = time.monotonic()
        wait_until(lambda: not Path(f"/proc/{pages}").exists(), 15.0)
        assert here.health()[0] == 0
        here.start()  # on the same port
        assert here.end() == 0
        print(f"gone {time.monotonic() - began_s:.1f} s after")
    finally:
        here.kill()
