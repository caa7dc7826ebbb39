"""The daemon: makes every room, gives each loop its thread, and sees that all of them live."""

from __future__ import annotations

import os
import random
import signal
import socket
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from threading import Event, Thread

import structlog
import uvicorn

from hivewatch import metrics
from hivewatch.alerts.channels import Channel, open_channels
from hivewatch.alerts.deliver import Delivery
from hivewatch.api.app import create_app
from hivewatch.api.health import Health
from hivewatch.clock import Clock, WallClock
from hivewatch.errors import UsageError
from hivewatch.ingest.intake import Intake
from hivewatch.ingest.subscriber import Subscriber
from hivewatch.outlooks import Outlooks
from hivewatch.settings import Settings
from hivewatch.store import mirrored
from hivewatch.store.open import Store
from hivewatch.watch import Watcher

LOG = structlog.get_logger(__name__)

Loop = Callable[[Event, Callable[[], None]], None]

PATIENCE_S = {
    "ingest": 90.0,
    "watch": 120.0,
    "outlooks": 120.0,
    "deliver": 180.0,
    "mirror": 180.0,
}
# own choice: each more than the longest single step of its loop: a broker's time-out, a look at a
# hive with years of data, a slow channel
RESTART_S = (1.0, 60.0)  # own choice: the first and the longest wait before a broken loop restarts
SWITCH_S = 0.0005  # own choice, and bench_pages: ingest waits less for whoever answers a page
STOP_S = 10.0  # own choice: how long the loops have to end


@dataclass(frozen=True, slots=True)
class _Room:
    """A loop that runs in a thread of its own."""

    name: str
    loop: Loop


class Daemon:
    """All of hivewatch in one process."""

    def __init__(self, settings: Settings, clock: Clock, channels: Sequence[Channel] = ()) -> None:
        """Open the store and make the rooms; nothing runs before `run`.

        Parameters
        ----------
        channels : sequence of Channel
            Where alerts go besides the channels of the settings.
        """
        self.settings, self.clock = settings, clock
        self.stop = Event()
        self.store = Store(settings.store.path)
        intake = Intake(self.store, mirrored=settings.mirror is not None)
        outlooks = Outlooks(self.store, clock)
        all_channels = [*channels, *open_channels(settings.alerts.channels)]
        self.subscriber = Subscriber(settings.broker, intake, clock)
        self._rooms = [
            _Room("ingest", self.subscriber.run),
            _Room("watch", Watcher(self.store, settings, clock, outlooks.changed).run),
            _Room("outlooks", outlooks.run),
            _Room("deliver", Delivery(self.store, all_channels, clock).run),
        ]
        if settings.mirror is not None:
            from hivewatch.mirror import Mirror  # noqa: PLC0415 - an extra

            self._rooms.append(_Room("mirror", Mirror(self.store, settings.mirror, clock).run))
        else:
            with self.store.write() as connection:
                mirrored.forget(connection)
        self.health = Health(
            WallClock().now_s,
            {room.name: PATIENCE_S[room.name] for room in self._rooms},
            {"store": self._store_fault, "broker": lambda: self.subscriber.fault},
        )
        self._app = create_app(self.store, settings, clock, self.health, intake.readmit, outlooks)
        self.address = ""

    def run(self) -> None:
        """Run until a signal ends it; comes back when everything is closed."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: self.stop.set())
        sys.setswitchinterval(SWITCH_S)
        threads = self.start()
        try:
            self._watch_over()
        finally:
            self.end(threads)

    def start(self) -> list[Thread]:
        """Bind the address, then start every loop.

        Raises
        ------
        UsageError
            If the port is taken or the address is not ours.
        """
        listener = self._bind()
        config = uvicorn.Config(
            self._app,
            log_config=None,
            access_log=False,
            server_header=False,
            lifespan="off",
            ws="none",
        )
        self._server = uvicorn.Server(config)
        threads = [
            Thread(target=self._keep, args=(room,), name=room.name, daemon=True)
            for room in self._rooms
        ]
        threads.append(Thread(target=self._server.run, args=([listener],), name="api", daemon=True))
        for thread in threads:
            thread.start()
        LOG.info("started", pages=self.address, store=str(self.settings.store.path))
        return threads

    def end(self, threads: list[Thread]) -> None:
        """Ask every loop to end, wait for it, and close the store."""
        _tell_systemd("STOPPING=1")
        self.stop.set()
        self._app.state.rooms.feed.close()
        self._server.should_exit = True
        until_s = time.monotonic() + STOP_S
        for thread in threads:
            thread.join(max(0.1, until_s - time.monotonic()))
            if thread.is_alive():
                LOG.warning("loop_did_not_end", loop=thread.name)
        self.store.close()
        LOG.info("stopped")

    def _bind(self) -> socket.socket:
        api = self.settings.api
        family = socket.AF_INET6 if ":" in api.host else socket.AF_INET
        # Named TCP, or asyncio leaves Nagle's algorithm on: 40 ms an answer.
        listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((api.host, api.port))
            listener.listen(128)  # from here on nobody is refused, the server takes over soon
        except OSError as error:
            listener.close()
            where, said = "[api]", f"{api.host}:{api.port}"
            wrong = f"cannot be listened on ({error.strerror})"
            raise UsageError(where, said, wrong, "set another port") from error
        host = f"[{api.host}]" if ":" in api.host else api.host
        self.address = f"http://{host}:{listener.getsockname()[1]}/"
        return listener

    def _keep(self, room: _Room) -> None:
        """Run one loop, and start it again when it breaks."""
        wait_s = RESTART_S[0]
        while not self.stop.is_set():
            started_s = time.monotonic()
            try:
                room.loop(self.stop, lambda: self.health.beat(room.name))
            except Exception:
                LOG.exception("loop_broke", loop=room.name)
                metrics.LOOP_RESTARTS.labels(room.name).inc()
            if time.monotonic() - started_s > RESTART_S[1]:
                wait_s = RESTART_S[0]
            self.stop.wait(wait_s * random.uniform(0.5, 1.0))  # noqa: S311 - jitter, no secret
            wait_s = min(wait_s * 2, RESTART_S[1])

    def _watch_over(self) -> None:
        """Tell systemd that we are ready, and then that all loops live; it restarts us if not."""
        was_ready = False
        while not self.stop.wait(1.0):
            loops = [part for part in self.health.parts() if part.name in PATIENCE_S]
            if not was_ready and self.subscriber.fault is None:
                was_ready = True
                _tell_systemd("READY=1")
            if all(part.is_well for part in loops):
                _tell_systemd("WATCHDOG=1")

    def _store_fault(self) -> str | None:
        with self.store.read() as connection:
            connection.exec_driver_sql("SELECT 1 FROM device LIMIT 1")
        return None


def _tell_systemd(word: str) -> None:
    """Send one word of the protocol of sd_notify(3); nothing where there is no systemd."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address:
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        try:
            line.sendto(word.encode(), address)
        except OSError as error:
            LOG.warning("systemd_not_told", word=word, error=str(error))
