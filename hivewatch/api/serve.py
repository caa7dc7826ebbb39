"""The process of the API and the pages: serve, keep the outlooks, end when the daemon does."""

from __future__ import annotations

import os
import sys
import time
from itertools import count
from multiprocessing.connection import Connection
from queue import Empty, Queue
from socket import socket
from threading import Event, Lock, Thread

import uvicorn
from prometheus_client.metrics_core import Metric

from hivewatch import logs, loops, metrics
from hivewatch.api.app import create_app
from hivewatch.clock import Clock, WallClock
from hivewatch.health import Health, Part
from hivewatch.ingest.intake import Intake
from hivewatch.outlooks import Outlooks
from hivewatch.settings import Settings
from hivewatch.store.open import Store

PATIENCE_S = {"outlooks": 120.0}  # own choice: more than any one outlook takes
ANSWER_S = 5.0  # own choice: the daemon answers within milliseconds, or something is amiss
BEAT_S = 1.0
NICE = 10  # own choice, and bench_pages: where processors are short, readings go before pages
STOP_S = 10.0  # own choice: how long answers that are on their way may take in the end


class Daemon:
    """How the daemon and this process are, asked over the pipe; from any thread."""

    def __init__(self, line: Connection, own: Health) -> None:
        """Take the pipe and this process's own part."""
        self._line, self._own = line, own
        self._numbers = count()
        self._answers: Queue[tuple[int, list[Part], list[Metric]]] = Queue()
        self._asking, self._sending = Lock(), Lock()

    def beat(self) -> None:
        """Tell the daemon that this process lives, if all of it does."""
        if all(part.is_well for part in self._own.parts()):
            self._send("beat", 0)

    def heard(self, answer: tuple[int, list[Part], list[Metric]]) -> None:
        """Take an answer."""
        self._answers.put(answer)

    def parts(self) -> list[Part]:
        """Say how each part is now."""
        answer = self._ask()
        missing = [Part("daemon", is_well=False, detail=f"no answer within {ANSWER_S:.0f} s")]
        return (missing if answer is None else answer[0]) + self._own.parts()

    def counted(self) -> list[Metric]:
        """Give what both processes count."""
        answer = self._ask()
        own = self._own.counted()
        return own if answer is None else metrics.added(answer[1], own)

    def _ask(self) -> tuple[list[Part], list[Metric]] | None:
        """Ask, and wait for the answer to this question; an earlier one may come late."""
        with self._asking:
            number = next(self._numbers)
            until_s = time.monotonic() + ANSWER_S
            try:
                self._send("ask", number)
                while True:
                    got, parts, counted = self._answers.get(
                        timeout=max(0.0, until_s - time.monotonic())
                    )
                    if got == number:
                        return parts, counted
            except (Empty, OSError):
                return None

    def _send(self, word: str, number: int) -> None:
        with self._sending:
            self._line.send((word, number))


def serve(line: Connection, settings: Settings, clock: Clock, listener: socket, level: str) -> None:
    """Serve until the daemon closes the pipe, or is no more.

    Parameters
    ----------
    line : Connection
        The pipe to the daemon.
    clock : Clock
        Its `now_s()` is the "now" of every answer.
    listener : socket
        Bound and listening.
    level : str
        From which on to log.
    """
    os.nice(NICE)
    logs.set_up(level)
    sys.setswitchinterval(loops.SWITCH_S)
    store, stop = Store(settings.store.path), Event()
    health = Health(WallClock().now_s, PATIENCE_S, {"store": store.fault})
    daemon = Daemon(line, health)
    outlooks = Outlooks(store, clock)
    intake = Intake(store, mirrored=settings.mirror is not None)
    app = create_app(store, settings, clock, daemon, intake.readmit, outlooks)
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            server_header=False,
            lifespan="off",
            ws="none",
        )
    )
    loops.start("outlooks", outlooks.run, stop, health.beat)
    serving = Thread(target=server.run, args=([listener],), name="api", daemon=True)
    serving.start()
    try:
        _listen(line, daemon, outlooks, serving)
    except (EOFError, OSError):
        pass  # the daemon has ended, or wants us to
    finally:
        stop.set()
        app.state.rooms.feed.close()
        server.should_exit = True
        serving.join(STOP_S)


def _listen(line: Connection, daemon: Daemon, outlooks: Outlooks, serving: Thread) -> None:
    """Take what the daemon says, and give it a sign of life now and then."""
    next_s = 0.0
    while serving.is_alive():
        if time.monotonic() >= next_s:
            daemon.beat()
            next_s = time.monotonic() + BEAT_S
        if not line.poll(BEAT_S):
            continue
        word, what = line.recv()
        if word == "told":
            daemon.heard(what)
        else:
            for hive, from_s in what.items():
                outlooks.changed(hive, from_s)
