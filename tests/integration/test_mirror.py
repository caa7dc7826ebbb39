"""The mirror on a real server that takes the InfluxDB v2 write API (VictoriaMetrics).

What is read back is compared with the recording itself, not with our store alone.
"""

from __future__ import annotations

import csv
import gzip
import io
import os
import random
import signal
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from threading import Event, Thread

import pytest
from brokers import Devices, Mosquitto, free_port, wait_until, weight_pack
from commands import FORKS
from metrics_server import MetricsServer, mirror_until_killed

from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.clock import WallClock
from hivewatch.detect.finding import Finding
from hivewatch.ingest.folder import import_file
from hivewatch.mirror import Mirror, loop
from hivewatch.mirror.endpoint import AwayError
from hivewatch.settings import Mirror as MirrorSettings
from hivewatch.store import apiary, findings
from hivewatch.store.open import Store

RECORDING = Path(__file__).parents[1] / "data" / "montreal-2021" / "readings.csv.gz"
NOW_S = 1_640_995_200  # 2022-01-01T00:00:00Z
QUANTITIES = ("nest", "nest-humidity")
MADE_UP = Apiary(
    yards=(Yard("roof", "Roof", 45.5, -73.6, "America/Toronto"),),
    hives=(Hive("roof-1", "roof", "langstroth-deep", 10, 1),),
    placements=(Placement("scale-1", "roof-1", 1_600_000_000),),
)


@pytest.fixture
def server(tmp_path: Path) -> Iterator[MetricsServer]:
    made = MetricsServer(tmp_path / "series").start()
    yield made
    made.stop()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path / "hivewatch.db")
    yield opened
    opened.close()


def mirror_of(store: Store, server: MetricsServer) -> Mirror:
    settings = MirrorSettings(url=server.url, org="bees", bucket="hivewatch")
    return Mirror(store, settings, WallClock())


def run_out(mirror: Mirror) -> None:
    while mirror.step(Event(), lambda: None):
        pass


def take_in(store: Store, text: str) -> int:
    """Store readings as `hivewatch import` does, beside a mirror; gives how many were new."""
    stdin = io.BufferedReader(io.BytesIO(text.encode()))  # type: ignore[arg-type]
    return import_file(store, None, stdin, NOW_S, mirrored=True).stored


def recorded() -> dict[str, dict[tuple[str, int], float]]:
    """Read the recording with the standard library alone: quantity -> (device, ms) -> value."""
    with gzip.open(RECORDING, "rt") as file:
        rows = list(csv.DictReader(file))
    truth: dict[str, dict[tuple[str, int], float]] = {name: {} for name in QUANTITIES}
    for row in rows:
        time_ms = round(datetime.fromisoformat(row["time"]).timestamp() * 1000)
        for name in QUANTITIES:
            if row[name]:
                truth[name].setdefault((row["device"], time_ms), float(row[name]))
    return truth


def mirrored(server: MetricsServer, name: str) -> dict[tuple[str, int], float]:
    """Read a quantity back: (device, ms) -> value."""
    return {
        (dict(labels)["device"], time_ms): value
        for labels, points in server.series(f"{name}_value").items()
        for time_ms, value in points.items()
    }


def test_a_season_is_mirrored_whole_through_an_outage(store, server) -> None:
    server.stop()
    with RECORDING.open("rb") as file:
        import_file(store, None, file, NOW_S, mirrored=True)
    mirror = mirror_of(store, server)
    with pytest.raises(AwayError, match="cannot be reached"):
        mirror.step(Event(), lambda: None)
    server.start()
    for _ in range(2):  # a page of each device at a time
        assert mirror.step(Event(), lambda: None)
    server.stop()
    with pytest.raises(AwayError):
        run_out(mirror)
    server.start()
    run_out(mirror_of(store, server))  # as after a restart
    truth = recorded()
    assert sum(len(of_one) for of_one in truth.values()) > 60_000
    for name in QUANTITIES:
        assert mirrored(server, name) == truth[name]


def test_late_and_repeated_readings_and_what_is_sent_twice_end_up_once(store, server) -> None:
    with store.write() as connection:
        apiary.load(connection, MADE_UP)
    head = "time,device,quantity,value\n"
    line = "2021-06-0{}T{:02}:00:00Z,scale-1,weight,{}\n"
    mirror = mirror_of(store, server)
    third = "".join(line.format(3, hour, 30 + hour / 8) for hour in range(24))
    assert take_in(store, head + third) == 24
    run_out(mirror)
    second = "".join(line.format(2, hour, 28 + hour / 8) for hour in range(24))
    assert take_in(store, head + second + third) == 24
    run_out(mirror)
    with store.write() as connection:
        connection.exec_driver_sql("DELETE FROM cursor")  # as if all were sent for the first time
    run_out(mirror_of(store, server))
    (labels, points), *others = server.series("weight_value").items()
    assert others == []
    assert dict(labels) == {"device": "scale-1", "hive": "roof-1", "yard": "roof"}
    assert sorted(points.values()) == sorted(
        [28 + hour / 8 for hour in range(24)] + [30 + hour / 8 for hour in range(24)]
    )


def test_a_finding_is_there_with_its_measures_and_its_end(store, server) -> None:
    start_s = 1_622_678_400
    mirror = mirror_of(store, server)
    fallen = ("toppled", "hive:roof-1", start_s)
    measures = {"kg_lost": 21.25}
    for end_s, status, changed_s in ((None, "open", 900), (start_s + 5400, "ended", 7200)):
        one = Finding(*fallen, end_s, start_s + 300, 0.97, measures, (), status, id="f")
        with store.write() as connection:
            findings.write(connection, [one], "roof-1", "roof", start_s + changed_s)
        run_out(mirror)
    ended = (("kind", "toppled"), ("status", "ended"), ("subject", "hive:roof-1"))
    was_open = (("kind", "toppled"), ("status", "open"), ("subject", "hive:roof-1"))
    at_ms = start_s * 1000
    assert server.series("finding_kg_lost")[ended] == {at_ms: 21.25}
    assert server.series("finding_end") == {ended: {at_ms: start_s + 5400.0}}
    changed = server.series("finding_changed")
    assert changed[ended][at_ms] > changed[was_open][at_ms]


def test_the_loop_waits_for_a_server_and_catches_up_by_itself(store, server, monkeypatch) -> None:
    monkeypatch.setattr(loop, "AWAY_S", (0.1, 0.3))
    monkeypatch.setattr(loop, "PAUSE_S", 0.1)
    server.stop()
    stop = Event()
    thread = Thread(target=mirror_of(store, server).run, args=(stop, lambda: None))
    thread.start()
    try:
        take_in(store, "time,device,quantity,value\n2021-06-03T00:00:00Z,scale-9,weight,31.5\n")
        server.start()
        wait_until(lambda: mirrored(server, "weight"), said="the reading")
        assert list(mirrored(server, "weight").values()) == [31.5]
    finally:
        stop.set()
        thread.join(30.0)
    assert not thread.is_alive()


def test_a_mirror_that_is_killed_again_and_again_loses_nothing(store, server) -> None:
    chance = random.Random(17)
    truth: dict[tuple[str, int], float] = {}
    there = [0]
    for kill in range(8):
        lines = []
        for step in range(2000):
            time_s, value = 1_622_505_600 + 8 * 60 * step + 60 * kill, (kill * 2000 + step) / 8
            at = datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
            lines.append(f"{at},scale-{step % 3},bees-in-total,{value}\n")
            truth[f"scale-{step % 3}", time_s * 1000] = value
        child = FORKS.Process(target=mirror_until_killed, args=(store.path, server.url))
        child.start()
        assert take_in(store, "time,device,quantity,value\n" + "".join(lines)) == 2000
        wait_until(lambda: len(mirrored(server, "bees-in-total")) > there[-1], said="a page")
        child.join(chance.uniform(0.0, 0.3))
        child.kill()
        child.join()
        assert child.exitcode == -signal.SIGKILL
        there.append(len(mirrored(server, "bees-in-total")))
    run_out(mirror_of(store, server))
    assert mirrored(server, "bees-in-total") == truth


TOKEN = "nobody-may-see-this-token"


def test_the_daemon_mirrors_what_a_device_publishes(server, tmp_path) -> None:
    (tmp_path / "broker").mkdir()
    broker = Mosquitto(tmp_path / "broker")
    (tmp_path / "influx.token").write_text(f"{TOKEN}\n")
    config = tmp_path / "hivewatch.toml"
    config.write_text(
        f'[broker]\nurl = "{broker.url}"\n[api]\nport = {free_port()}\n'
        f'[mirror]\nurl = "{server.url}"\norg = "bees"\nbucket = "hives"\n'
        'token_file = "influx.token"\n'
    )
    command = [Path(sys.executable).with_name("hivewatch"), "run", "--config", str(config)]
    with (tmp_path / "log").open("wb") as log:
        daemon = subprocess.Popen(command, stderr=log, env=dict(os.environ))
    try:
        devices = Devices(broker.port)
        now_s = WallClock().now_s()
        wait_until(
            lambda: b"broker_connected" in (tmp_path / "log").read_bytes(), said="the daemon"
        )
        devices.send("scale-1", weight_pack(now_s - 60, 41.75))
        wait_until(lambda: mirrored(server, "weight"), said="the reading")
        devices.close()
        assert mirrored(server, "weight") == {("scale-1", (now_s - 60) * 1000): 41.75}
    finally:
        daemon.send_signal(signal.SIGTERM)
        assert daemon.wait(30.0) == 0
        broker.stop()
    said = (tmp_path / "log").read_text()
    assert TOKEN not in said
    assert "mirror_away" not in said
