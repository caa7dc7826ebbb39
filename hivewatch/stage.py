"""What the demo is played on: an embedded broker, the simulator, and the time of the season."""

from __future__ import annotations

import asyncio
import multiprocessing
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path

from hivewatch.errors import HivewatchError, UsageError

LOOPBACK = "127.0.0.1"
BROKER_START_S = 20.0  # own choice: a slow board loads the broker's code in ten


class SeasonClock:
    """The time of the season, as the simulator tells it; the same in every process."""

    def __init__(self) -> None:
        """Start before all seasons."""
        self._now = multiprocessing.get_context("spawn").Value("q", 0)

    def now_s(self) -> int:
        """Give the Unix time of the season, UTC, in whole seconds."""
        return int(self._now.value)

    def monotonic_s(self) -> float:
        """Give a time in seconds that never jumps."""
        return time.monotonic()

    def turn_to(self, moment: str) -> None:
        """Turn to a time of the season, in RFC 3339."""
        self._now.value = int(datetime.fromisoformat(moment).timestamp())


@contextmanager
def broker() -> Iterator[int]:
    """Run the embedded broker in a process of its own on a free port."""
    if find_spec("amqtt") is None:
        remedy = "pip install 'hivewatch[demo]'"
        raise UsageError("demo", "", "needs amqtt, which is not installed", remedy)
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port = int(probe.getsockname()[1])
    process = multiprocessing.get_context("spawn").Process(
        target=serve_broker, args=(port,), daemon=True
    )
    process.start()
    try:
        until_s = time.monotonic() + BROKER_START_S
        while not _answers(port):
            if not process.is_alive() or time.monotonic() > until_s:
                raise HivewatchError("demo", "", "the embedded broker does not start", "try again")
            time.sleep(0.05)
        yield port
    finally:
        process.terminate()
        process.join(5.0)


def serve_broker(port: int) -> None:
    """Serve until this process is ended."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches us too; the demo ends us last
    import logging  # noqa: PLC0415 - only in the broker's own process

    from amqtt.broker import Broker as EmbeddedBroker  # noqa: PLC0415 - an extra

    logging.disable(logging.ERROR)

    async def serve() -> None:
        broker = EmbeddedBroker(
            {
                "listeners": {"default": {"type": "tcp", "bind": f"{LOOPBACK}:{port}"}},
                "plugins": {
                    "amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}
                },
            }
        )
        await broker.start()
        await asyncio.Event().wait()

    asyncio.run(serve())


def _answers(port: int) -> bool:
    try:
        with socket.create_connection((LOOPBACK, port), timeout=1.0):
            return True
    except OSError:
        return False


@contextmanager
def simulator(broker_port: int, folder: Path, words: list[str]) -> Iterator[subprocess.Popen[str]]:
    """Run the simulator in a process of its own."""
    command = [sys.executable, "-m", "simulators", "play", "spring"]
    command += ["--broker", f"mqtt://{LOOPBACK}:{broker_port}"]
    command += ["--hourly", "--apiary", str(folder / "apiary.toml"), *words]
    process = subprocess.Popen(  # noqa: S603 - our own words
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        bufsize=1,
    )
    try:
        yield process
        if process.wait(10.0) != 0:
            said = process.stderr.read() if process.stderr is not None else ""
            said = said.strip().rpartition("\n")[2].removeprefix("simulators: ")
            raise UsageError("demo", "", said or "the simulator broke", "try another --until")
    finally:
        process.terminate()
        process.wait(10.0)
