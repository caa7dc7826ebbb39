"""The daemon's end of the pages: the API and the pages run in a process of their own.

So whoever asks takes nothing from whoever reads the broker. The two meet in the store; over a pipe
goes only what the store does not hold: how the daemon is, and which hives were looked at. The other
end is `api/serve.py`. It ends when the pipe does, however we ended, and is started again if it
ends before; meanwhile those who ask wait at our listener.
"""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable
from multiprocessing.connection import Connection
from socket import socket
from threading import Event, Lock

import structlog

from hivewatch.clock import Clock
from hivewatch.errors import HivewatchError
from hivewatch.health import Told
from hivewatch.settings import Settings

LOG = structlog.get_logger(__name__)
PAUSE_S = 0.2  # own choice: how long a change may wait, or the end
END_S = 12.0  # own choice: two seconds more than the other end takes at most


class Pages:
    """A loop that keeps the process of the pages alive and answers what it asks."""

    def __init__(
        self, settings: Settings, clock: Clock, listener: socket, told: Told, level: str
    ) -> None:
        """Start nothing before `run`.

        Parameters
        ----------
        clock : Clock
            One that may be handed to another process.
        listener : socket
            Bound and listening.
        told : Told
            How the daemon is.
        level : str
            From which on the other end logs.
        """
        self._given = (settings, clock, listener, level)
        self._told = told
        self._changed_s: dict[str, int] = {}
        self._lock = Lock()

    def changed(self, hive: str, from_s: int) -> None:
        """Hand on that what is stored of a hive changed from a time on; from any thread."""
        with self._lock:
            self._changed_s[hive] = min(from_s, self._changed_s.get(hive, from_s))

    def run(self, stop: Event, beat: Callable[[], None]) -> None:
        """Start the process, and answer it until it or we are to end.

        Raises
        ------
        HivewatchError
            If it ended by itself.
        """
        spawn = multiprocessing.get_context("spawn")  # a fork would copy threads' locks
        ours, theirs = spawn.Pipe()
        process = spawn.Process(target=_serve, args=(theirs, *self._given), daemon=True)
        process.start()
        theirs.close()
        try:
            while not stop.is_set():
                self._serve(ours, beat)
        except (EOFError, OSError) as error:
            process.join(END_S)
            wrong = f"ended by themselves (exit status {process.exitcode})"
            raise HivewatchError("pages", "", wrong, "they start again by themselves") from error
        finally:
            ours.close()
            process.join(END_S)
            if process.is_alive():
                LOG.warning("pages_did_not_end")
                process.kill()
                process.join()

    def _serve(self, line: Connection, beat: Callable[[], None]) -> None:
        """Hand on what changed, and answer one question if there is one."""
        with self._lock:
            changed, self._changed_s = self._changed_s, {}
        if changed:
            line.send(("changed", changed))
        if line.poll(PAUSE_S):
            word, number = line.recv()
            if word == "beat":
                beat()
            else:
                line.send(("told", (number, self._told.parts(), self._told.counted())))


def _serve(
    line: Connection, settings: Settings, clock: Clock, listener: socket, level: str
) -> None:
    """Be the other end; what ends a program reaches the daemon, too, and it ends us."""
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    from hivewatch.api.serve import serve  # noqa: PLC0415 - only there is it needed, and large

    serve(line, settings, clock, listener, level)
