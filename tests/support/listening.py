"""The real subscriber on a real store, in a thread of the test."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from threading import Event, Thread
from typing import Any

from brokers import wait_until

from hivewatch.clock import WallClock
from hivewatch.ingest.intake import Intake
from hivewatch.ingest.subscriber import Subscriber
from hivewatch.settings import Broker
from hivewatch.store import apiary, quarantine
from hivewatch.store.open import Store
from hivewatch.store.quarantine import Held
from hivewatch.wire.quantities import BY_NUMBER


class TurnedClock(WallClock):
    """The machine's clock, moved by hand."""

    ahead_s = 0

    def now_s(self) -> int:
        return super().now_s() + self.ahead_s


class Listening:
    """Store, intake and subscriber; `start` and `stop` as often as a test likes."""

    def __init__(self, folder: Path, url: str, **broker: Any) -> None:
        self.store = Store(folder / "hivewatch.db")
        self.broker = Broker(url=url, **broker)
        self.clock = TurnedClock()
        self.beats = 0
        self.wrap: Callable[[Intake], Intake] = lambda intake: intake
        self._stop = Event()
        self._thread: Thread | None = None

    def start(self, *, connected: bool = True) -> Listening:
        self.intake = self.wrap(Intake(self.store))
        self.subscriber = Subscriber(self.broker, self.intake, self.clock)
        self._stop = Event()
        self._thread = Thread(target=self.subscriber.run, args=(self._stop, self._beat))
        self._thread.start()
        if connected:
            wait_until(lambda: self.subscriber.fault is None, said="a connection")
        return self

    def _beat(self) -> None:
        self.beats += 1

    def stop(self) -> None:
        self._stop.set()
        assert self._thread is not None
        self._thread.join(30.0)
        assert not self._thread.is_alive()

    @property
    def is_running(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def readings(self) -> list[tuple[str, str, float, float]]:
        """Give device, quantity, time and value of all readings, by time."""
        with self.store.read() as connection:
            names = {number: name for name, number in apiary.numbers(connection).items()}
            rows = connection.exec_driver_sql(
                "SELECT device, quantity, time_ms, value FROM reading ORDER BY time_ms, 1, 2"
            ).all()
        return [(names[d], BY_NUMBER[q].name, ms / 1000, value) for d, q, ms, value in rows]

    def count(self) -> int:
        with self.store.read() as connection:
            return int(connection.exec_driver_sql("SELECT count(*) FROM reading").scalar_one())

    def held(self) -> list[Held]:
        with self.store.read() as connection:
            return quarantine.read(connection)

    def device(self, name: str) -> apiary.DeviceRow | None:
        with self.store.read() as connection:
            return next((one for one in apiary.devices(connection) if one.id == name), None)

    def wait_count(self, count: int, seconds: float = 30.0) -> None:
        wait_until(lambda: self.count() >= count, seconds, f"{count} readings")
        assert self.count() == count

    def wait_held(self, count: int) -> list[Held]:
        return wait_until(lambda: len(self.held()) >= count and self.held(), said="quarantine")
