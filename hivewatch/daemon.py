"""The daemon: makes every room, gives each loop its thread, and sees that all of them live."""

from __future__ import annotations

import os
import signal
import socket
import sys
import time
from collections.abc import Sequence
from threading import Event, Thread

import structlog

from hivewatch import loops
from hivewatch.alerts import phones
from hivewatch.alerts.channels import Channel, open_channels
from hivewatch.alerts.deliver import Delivery
from hivewatch.clock import Clock, WallClock
from hivewatch.errors import UsageError
from hivewatch.health import Health
from hivewatch.ingest.intake import Intake
from hivewatch.ingest.subscriber import Subscriber
from hivewatch.loops import Loop
from hivewatch.pages import Pages
from hivewatch.settings import Api, Settings
from hivewatch.store import mirrored
from hivewatch.store.alone import hold_alone
from hivewatch.store.open import Store
from hivewatch.watch import Watcher

LOG = structlog.get_logger(__name__)

PATIENCE_S = {
    "ingest": 90.0,
    "watch": 120.0,
    "deliver": 180.0,
    "pages": 120.0,
    "mirror": 180.0,
}
# own choice: each more than the longest single step of its loop: a broker's time-out, a look at a
# hive with years of data, a slow channel, the start of a process on a slow board
STOP_S = 15.0  # own choice: how long the loops have to end; the pages take twelve at most


class Daemon:
    """Reads the broker, watches, alerts; the pages have a process of their own."""

    def __init__(
        self,
        settings: Settings,
        clock: Clock,
        channels: Sequence[Channel] = (),
        level: str = "info",
    ) -> None:
        """Open the store and make the rooms; nothing runs before `run`.

        Parameters
        ----------
        clock : Clock
            One that may be handed to another process.
        channels : sequence of Channel
            Where alerts go besides the channels of the settings.
        level : str
            From which on the pages log.

        Raises
        ------
        UsageError
            If the port is taken, the address is not ours, or another daemon has the store.
        """
        self.settings = settings
        self.stop = Event()
        self._listener, self.address = _listen(settings.api)
        self.store = Store(settings.store.path)
        self._alone = hold_alone(settings.store.path)
        intake = Intake(self.store, mirrored=settings.mirror is not None)
        all_channels = [*channels, *open_channels(settings.alerts.channels)]
        self.subscriber = Subscriber(settings.broker, intake, clock)
        self.health = Health(
            WallClock().now_s,
            {name: PATIENCE_S[name] for name in PATIENCE_S if name != "mirror" or settings.mirror},
            {"broker": lambda: self.subscriber.fault},
        )
        pages = Pages(settings, clock, self._listener, self.health, level)
        self._loops: dict[str, Loop] = {
            "ingest": self.subscriber.run,
            "watch": Watcher(self.store, settings, clock, pages.changed).run,
            "deliver": Delivery(self.store, all_channels, clock, phones=self._phones).run,
            "pages": pages.run,
        }
        if settings.mirror is not None:
            from hivewatch.mirror import Mirror  # noqa: PLC0415 - an extra

            self._loops["mirror"] = Mirror(self.store, settings.mirror, clock).run
        else:
            with self.store.write() as connection:
                mirrored.forget(connection)

    def _phones(self) -> Sequence[Channel]:
        """Give the phones that ring now."""
        return phones.channels(self.store, self.settings.api.public_url)

    def run(self) -> None:
        """Run until a signal ends it; comes back when everything is closed."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: self.stop.set())
        sys.setswitchinterval(loops.SWITCH_S)
        threads = self.start()
        try:
            self._watch_over()
        finally:
            self.end(threads)

    def start(self) -> list[Thread]:
        """Start every loop."""
        threads = [
            loops.start(name, loop, self.stop, self.health.beat)
            for name, loop in self._loops.items()
        ]
        LOG.info("started", pages=self.address, store=str(self.settings.store.path))
        return threads

    def end(self, threads: list[Thread]) -> None:
        """Ask every loop to end, wait for it, and close the store."""
        _tell_systemd("STOPPING=1")
        self.stop.set()
        until_s = time.monotonic() + STOP_S
        for thread in threads:
            thread.join(max(0.1, until_s - time.monotonic()))
            if thread.is_alive():
                LOG.warning("loop_did_not_end", loop=thread.name)
        self._listener.close()
        self.store.close()
        self._alone.close()
        LOG.info("stopped")

    def _watch_over(self) -> None:
        """Tell systemd that we are ready, and then that all loops live; it restarts us if not."""
        was_ready = False
        while not self.stop.wait(1.0):
            living = [part for part in self.health.parts() if part.name in PATIENCE_S]
            if not was_ready and self.subscriber.fault is None:
                was_ready = True
                _tell_systemd("READY=1")
            if all(part.is_well for part in living):
                _tell_systemd("WATCHDOG=1")


def _listen(api: Api) -> tuple[socket.socket, str]:
    """Bind the address of the pages; gives the listener and the address to open."""
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
    return listener, f"http://{host}:{listener.getsockname()[1]}/"


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
