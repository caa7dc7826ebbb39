"""The disk is full for a while, the store is locked, a message breaks us: nothing is lost."""

from __future__ import annotations

import json
import os
import resource
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from brokers import wait_until, weight_pack
from running import Running
from structlog.testing import capture_logs

from hivewatch.ingest import intake

START_S = 1_777_593_600
DISK = "size=12m"
SETTINGS = ("max_queued_messages 0", "max_inflight_messages 0")


def packs(first, count):
    return [weight_pack(START_S + first + i, 20 + i % 50) for i in range(count)]


def with_many_readings(first, count):
    """Give a pack that takes a lot of room."""
    records = [{"n": "weight", "u": "kg", "v": 20 + i % 50, "t": i} for i in range(count)]
    records[0]["bt"] = START_S + first
    return json.dumps(records).encode()


class SmallDisk:
    """A disk of its own where we may mount one, else a limit to the size of files."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        mount = ["mount", "-t", "tmpfs", "-o", DISK, "hivewatch-test", folder]
        self.is_mounted = (
            os.geteuid() == 0
            and not subprocess.run(mount, check=False, capture_output=True).returncode
        )

    def fill(self, pid: int) -> None:
        if self.is_mounted:
            with (self.folder / "filler").open("wb", buffering=0) as filler:
                try:
                    while filler.write(b"\0" * 65536):
                        pass
                except OSError:
                    return
        largest = max(file.stat().st_size for file in self.folder.iterdir())
        resource.prlimit(pid, resource.RLIMIT_FSIZE, (largest + 65536, resource.RLIM_INFINITY))

    def empty(self, pid: int) -> None:
        if self.is_mounted:
            (self.folder / "filler").unlink()
        else:
            unlimited = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
            resource.prlimit(pid, resource.RLIMIT_FSIZE, unlimited)

    def close(self) -> None:
        if self.is_mounted:
            subprocess.run(["umount", "-l", self.folder], check=True)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[SmallDisk]:
    made = SmallDisk(tmp_path / "disk")
    yield made
    made.close()


def count(path):
    with closing(sqlite3.connect(path)) as store:
        return store.execute("SELECT count(*) FROM reading").fetchone()[0]


@pytest.mark.slow
def test_a_full_disk_loses_nothing_and_is_told(mosquitto, devices, disk, tmp_path):
    broker = mosquitto(*SETTINGS)
    path = disk.folder / "hivewatch.db"
    here = Running(tmp_path, broker.url, store=f'path = "{path}"')
    try:
        here.start()
        pid = here.daemon.pid
        field = devices(broker.port)
        field.send("scale-1", *packs(0, 100))
        wait_until(lambda: count(path) == 100)
        disk.fill(pid)
        many = [with_many_readings(10_000 * (i + 1), 5_000) for i in range(60)]
        field.send("scale-1", *many)  # the broker takes them and says so
        wait_until(lambda: _tells(here), 60.0, "readyz to say so")
        time.sleep(1.0)
        assert not here.has_ended()
        disk.empty(pid)
        wait_until(lambda: here.health()[0] == 200, 60.0, "readyz to be well again")
        enough = 60 * 5_000 + 100
        wait_until(lambda: _has_all(disk, path, enough), 90.0, "all readings")
        field.send("scale-2", *packs(0, 10))
        wait_until(lambda: count(path) == enough + 10)
        assert here.end() == 0
        with closing(sqlite3.connect(path)) as store:
            assert store.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    finally:
        here.kill()


def _tells(here):
    status, said = here.health()
    return status == 503 and "store: cannot be written" in said


def _has_all(disk, path, enough):
    """Make the disk larger as it is needed: what waited is more than it held."""
    if disk.is_mounted:
        subprocess.run(["mount", "-o", "remount,size=200m", disk.folder], check=True)
    return count(path) == enough


def test_a_store_that_another_locks_is_waited_for(mosquitto, listening, devices, monkeypatch):
    monkeypatch.setattr("hivewatch.store.open.BUSY_WAIT_S", 0.2)
    broker = mosquitto(*SETTINGS)
    here = listening(broker.url).start()
    field = devices(broker.port)
    field.send("scale-1", *packs(0, 10))
    here.wait_count(10)
    with capture_logs() as lines, closing(sqlite3.connect(here.store.path)) as other:
        other.execute("BEGIN IMMEDIATE")
        field.send("scale-1", *packs(10, 500))
        wait_until(lambda: here.subscriber.fault == "store: cannot be written (database is locked)")
        beats = here.beats
        wait_until(lambda: here.beats > beats + 1, said="a sign of life while it waits")
        assert here.count() == 10
        other.execute("ROLLBACK")
        here.wait_count(510)
    assert here.subscriber.fault is None
    events = [line["event"] for line in lines if line["log_level"] != "debug"]
    assert events == ["store_not_written", "store_written_again"]


def test_a_store_locked_for_longer_than_the_line_lasts_loses_nothing(
    mosquitto, listening, devices, monkeypatch
):
    """The broker drops us meanwhile; what was not acknowledged comes again and is a repeat."""
    monkeypatch.setattr("hivewatch.store.open.BUSY_WAIT_S", 0.1)
    monkeypatch.setattr("hivewatch.ingest.connection.KEEP_ALIVE_S", 1)
    broker = mosquitto(*SETTINGS)
    here = listening(broker.url).start()
    field = devices(broker.port)
    with closing(sqlite3.connect(here.store.path)) as other:
        other.execute("BEGIN IMMEDIATE")
        field.send("scale-1", *packs(0, 300))
        time.sleep(4.0)
        other.execute("ROLLBACK")
    here.wait_count(300)
    wait_until(lambda: here.subscriber.fault is None)
    field.send("scale-1", *packs(300, 10))
    here.wait_count(310)
    assert here.held() == []


def test_a_message_that_breaks_us_is_set_aside_and_the_rest_goes_on(
    mosquitto, listening, devices, monkeypatch
):
    decode = intake.senml.decode

    def break_at_one(payload, *rest):
        if b"1777593605" in payload:
            raise RuntimeError("a bug of ours")
        return decode(payload, *rest)

    broker = mosquitto(*SETTINGS)
    here = listening(broker.url).start()
    here.stop()
    field = devices(broker.port)
    field.send("scale-1", *packs(0, 50))
    with monkeypatch.context() as patch:
        patch.setattr(intake.senml, "decode", break_at_one)
        here.start()
        here.wait_count(49)
        (held,) = here.wait_held(1)
    assert (held.reason, held.raw, held.times) == ("hivewatch", packs(0, 6)[5], 1)
    assert held.faults[0][2] == "RuntimeError: a bug of ours"
    here.stop()
    here.start()  # it was acknowledged: it does not come again
    field.send("scale-1", *packs(50, 1))
    here.wait_count(50)
    assert here.held()[0].times == 1
    here.intake.readmit(here.clock.now_s())  # after the mending
    assert here.count() == 51
    assert here.held()[0].admitted_s is not None


def test_a_broker_that_is_gone_for_a_while_is_waited_for(mosquitto, listening, devices, tmp_path):
    broker = mosquitto(*SETTINGS, "persistence true", f"persistence_location {tmp_path}/")
    here = listening(broker.url).start()
    field = devices(broker.port, name="field", reconnect_delay_set=(1, 1))
    field.send("scale-1", *packs(0, 10))
    here.wait_count(10)
    broker.stop()
    for pack in packs(10, 20):
        field.post("hivewatch/scale-1/senml", pack)  # the device keeps it until the broker is back
    wait_until(lambda: here.subscriber.fault is not None)
    time.sleep(3.0)
    assert "Connection refused" in here.subscriber.fault
    broker.start()
    here.wait_count(30)
    assert here.subscriber.fault is None
