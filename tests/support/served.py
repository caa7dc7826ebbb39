"""The API and the pages on a real server: an invented apiary, a turned clock, a loopback port."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import numpy as np
import uvicorn

from hivewatch.alerts import outbox
from hivewatch.api.app import create_app
from hivewatch.apiary import read_apiary
from hivewatch.clock import WallClock
from hivewatch.detect.finding import Finding, settle
from hivewatch.health import Health
from hivewatch.ingest.intake import Intake, Message
from hivewatch.inspections import Inspection
from hivewatch.outlooks import Outlooks
from hivewatch.settings import Settings
from hivewatch.store import apiary, findings, inspections, readings
from hivewatch.store.open import Store
from hivewatch.wire.quantities import QUANTITIES

START_S = 1_777_593_600  # 2026-05-01T00:00:00Z
DAY_S = 86_400
NOW_S = START_S + 10 * DAY_S + 9 * 3600
STEP_S = 600
APIARY = """
[[yard]]
id = "hazel-end"
name = "Hazel End"
latitude = 52.2
longitude = 0.12
timezone = "Europe/London"

[[yard]]
id = "quarry"
name = "Old quarry"
latitude = 45.5
longitude = -73.6
timezone = "America/Toronto"

[[hive]]
id = "hazel-1"
yard = "hazel-end"
frame = "langstroth-deep"
frames = 10
boxes = 1
empty_kg = 21.5

[[hive]]
id = "hazel-2"
yard = "hazel-end"
frame = "langstroth-deep"
frames = 10
boxes = 2

[[hive]]
id = "quarry-1"
yard = "quarry"
frame = "langstroth-deep"
frames = 10
boxes = 1

[[device]]
id = "scale-1"
hive = "hazel-1"
since = "2026-05-01T00:00:00Z"

[[device]]
id = "counter-1"
hive = "hazel-1"
since = "2026-05-01T00:00:00Z"

[[device]]
id = "scale-2"
hive = "hazel-2"
since = "2026-05-01T00:00:00Z"
"""


class StillClock(WallClock):
    """A clock that a test turns."""

    def __init__(self, at_s: int = NOW_S) -> None:
        self.at_s = at_s

    def now_s(self) -> int:
        return self.at_s


class Served:
    """A store behind a running server."""

    def __init__(self, folder: Path, settings: Settings | None = None) -> None:
        self.store = Store(folder / "hivewatch.db")
        self.clock = StillClock()
        self.intake = Intake(self.store)
        self.fault: str | None = None
        self.health = Health(WallClock().now_s, {"ingest": 3600.0}, {"broker": lambda: self.fault})
        self.health.beat("ingest")
        self.outlooks = Outlooks(self.store, self.clock)
        self.app = create_app(
            self.store,
            settings or Settings(),
            self.clock,
            self.health,
            self.intake.readmit,
            self.outlooks,
        )
        self.url = ""
        self.http = httpx.Client()

    def load_apiary(self, text: str = APIARY) -> None:
        with self.store.write() as connection:
            apiary.load(connection, read_apiary(text, "apiary.toml"))

    def store_series(
        self, device: str, quantity: str, time_s: np.ndarray, value: np.ndarray
    ) -> None:
        with self.store.write() as connection:
            number = apiary.number_of(connection, device)
            rows = [
                (number, QUANTITIES[quantity].number, int(at) * 1000, float(one), int(at))
                for at, one in zip(time_s, value, strict=True)
            ]
            readings.insert(connection, rows)
            apiary.heard(connection, {number: int(time_s[-1])})

    def store_season(self) -> dict[str, tuple[np.ndarray, np.ndarray]]:
        """Store ten days of hazel-1; give back what was stored."""
        rng = np.random.default_rng(1)
        time_s = np.arange(START_S, NOW_S, STEP_S, dtype=np.int64)
        hour = (time_s - START_S) / 3600
        sun = np.clip(np.sin((hour % 24 - 6) / 12 * np.pi), 0, None)
        series = {
            "weight": 34 + hour / 24 * 0.6 - 0.4 * sun + rng.normal(0, 0.02, len(hour)),
            "nest": 34.6 + rng.normal(0, 0.1, len(hour)),
            "ambient": 11 + 7 * sun + rng.normal(0, 0.3, len(hour)),
            "bees-in": np.round(900 * sun),
            "bees-out": np.round(920 * sun),
        }
        for quantity, value in series.items():
            device = "counter-1" if quantity.startswith("bees") else "scale-1"
            self.store_series(device, quantity, time_s, value)
        return {name: (time_s, value) for name, value in series.items()}

    def tell(self, *told: Finding, hive: str = "hazel-1", yard: str = "hazel-end") -> list[Finding]:
        """Store findings with their alerts, as the evaluation does."""
        with self.store.write() as connection:
            known = apiary.read(connection)
            settled = settle([], told)
            findings.write(connection, settled, hive, yard, self.clock.now_s())
            outbox.enqueue(
                connection,
                [],
                settled,
                yard=next(one for one in known.yards if one.id == yard),
                limits=Settings().alerts,
                now_s=self.clock.now_s(),
                hive=hive,
            )
        return settled

    def write_down(self, **said: object) -> str:
        with self.store.write() as connection:
            said_it = Inspection.model_validate_json(json.dumps(said), strict=False)
            return inspections.add(connection, said_it, self.clock.now_s())[0]

    def send(self, payload: bytes, device: str = "scale-1") -> None:
        """Let a message come in."""
        topic = f"hivewatch/{device}/senml"
        self.intake.commit([Message(topic, device, payload, None, self.clock.now_s())])


@contextmanager
def served(folder: Path, settings: Settings | None = None) -> Iterator[Served]:
    """Serve a new store on a free loopback port."""
    one = Served(folder, settings)
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.bind(("127.0.0.1", 0))
    config = uvicorn.Config(one.app, log_config=None, access_log=False, lifespan="off", ws="none")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, args=([listener],))
    thread.start()
    one.url = f"http://127.0.0.1:{listener.getsockname()[1]}"
    one.http = httpx.Client(base_url=one.url, timeout=20.0)
    try:
        until_s = time.monotonic() + 10
        while not server.started and time.monotonic() < until_s:
            time.sleep(0.01)
        yield one
    finally:
        one.http.close()
        one.app.state.rooms.feed.close()
        server.should_exit = True
        thread.join(10.0)
        listener.close()
        one.store.close()
