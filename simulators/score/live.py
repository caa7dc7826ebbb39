"""The live path: a broker, the daemon, and the season published at a high pace.

The season lies in the past and the daemon's clock does not, so what depends on the clock alone
(`BY_THE_CLOCK`) is left out. The same season is imported beside it: both paths must say the same.
"""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from simulators.score.play import (
    PATIENCE_S,
    YEAR,
    Finding,
    Order,
    Program,
    ProgramError,
    Season,
    program,
    read_back,
    scenario_start,
    seconds,
    write,
)

BY_THE_CLOCK = ("silent", "clock")
LOOPBACK = "127.0.0.1"
START_S = 60.0  # own choice: how long a server may take to answer
QUIET_S = 3.0  # own choice: the daemon looks again within a second of a reading


def play(order: Order, folder: Path, pace: float) -> Season:
    """Play a season through broker and daemon, and once more through files."""
    began = time.monotonic()
    plan = write(order, folder)
    imported = Program(folder / "imported")
    took = {"write": time.monotonic() - began}
    imported.load(folder / "apiary.toml", folder / "readings.csv", folder / "inspections.json")
    by_files = imported.findings()
    live = Program(folder / "live")
    live.do("apiary", "load", str(folder / "apiary.toml"))
    began = time.monotonic()
    with _broker(folder) as broker, _daemon(live, broker) as address:
        _publish(order, plan, broker, address, pace)
        _wait_until_read(address)
    took["live"] = time.monotonic() - began
    season = read_back(order, folder, imported.took_s | took)
    season.findings.extend(live.findings())
    season.same.update(agreement(by_files, season.findings, season.end_s))
    return season


def agreement(by_files: list[Finding], live: list[Finding], end_s: float) -> dict[str, int]:
    """Count the findings that both paths tell alike, and those that only one tells."""

    def known(findings: list[Finding]) -> set[tuple[str, ...]]:
        return {
            (one["kind"], one["subject"], one["start"], str(one["end"]))
            for one in findings
            if one["kind"] not in BY_THE_CLOCK
            and one["status"] != "withdrawn"
            and seconds(one["detected_at"]) <= end_s
        }

    files, wire = known(by_files), known(live)
    return {
        "said by both": len(files & wire),
        "imported only": len(files - wire),
        "live only": len(wire - files),
    }


def free_port() -> int:
    """Give a loopback port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


@contextmanager
def _broker(folder: Path) -> Iterator[str]:
    """Run mosquitto on a loopback port; gives its address."""
    found = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    if found is None:
        raise ProgramError("mosquitto: not installed; the live path needs a broker")
    port = free_port()
    lines = [f"listener {port} {LOOPBACK}", "allow_anonymous true", "max_queued_messages 0"]
    config = folder / "broker.conf"
    config.write_text("\n".join([*lines, "max_inflight_messages 0", ""]), encoding="utf-8")
    with (folder / "broker.log").open("w") as log, _running([found, "-c", str(config)], log):
        _wait(lambda: _listens(port), "the broker")
        yield f"mqtt://{LOOPBACK}:{port}"


@contextmanager
def _daemon(live: Program, broker: str) -> Iterator[str]:
    """Run `hivewatch run`; gives the address of its pages."""
    port = free_port()
    with live.config.open("a", encoding="utf-8") as config:
        config.write(f'[broker]\nurl = "{broker}"\n[api]\nport = {port}\n')
    address = f"http://{LOOPBACK}:{port}"
    command = [*program(), "run", "--config", str(live.config)]
    with (live.folder / "daemon.log").open("w") as log, _running(command, log):
        _wait(lambda: _get(f"{address}/readyz") is not None, "hivewatch run")
        yield address


@contextmanager
def _running(command: list[str], log: TextIO) -> Iterator[None]:
    """Run a server until the block ends."""
    server = subprocess.Popen(  # noqa: S603 - our own program, or the broker
        command, stdout=log, stderr=subprocess.STDOUT
    )
    try:
        yield
    finally:
        server.terminate()
        try:
            server.wait(30.0)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


def _publish(order: Order, plan: Path, broker: str, address: str, pace: float) -> None:
    """Let the simulators play the season to the broker; the keeper's notes go to the API."""
    words = ["play", str(plan), "--from", f"{YEAR}-{scenario_start(order)}", "--broker", broker]
    words += ["--days-per-second", str(pace), "--diary", address]
    words += ["--seed", str(order.seed)] if order.seed is not None else []
    done = subprocess.run(  # noqa: S603 - ourselves
        [sys.executable, "-m", "simulators", *words],
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    if done.returncode:
        raise ProgramError(f"play: {done.stderr.strip()}")


def _wait_until_read(address: str) -> None:
    """Wait until the daemon has stored all that waits and looked at it."""
    before, since = "", time.monotonic()
    deadline = since + PATIENCE_S
    while time.monotonic() - since < QUIET_S:
        if time.monotonic() > deadline:
            raise ProgramError("hivewatch run: still busy long after the season's end")
        time.sleep(0.3)
        metrics = _get(f"{address}/metrics") or ""
        names = ("hivewatch_ingest_readings_total", "hivewatch_ingest_queue", "hivewatch_watch_")
        now = "\n".join(line for line in metrics.splitlines() if line.startswith(names))
        if now != before:
            before, since = now, time.monotonic()


def _wait(is_there: Callable[[], bool], who: str) -> None:
    deadline = time.monotonic() + START_S
    while not is_there():
        if time.monotonic() > deadline:
            raise ProgramError(f"{who} did not answer within {START_S:.0f} s")
        time.sleep(0.1)


def _listens(port: int) -> bool:
    try:
        with socket.create_connection((LOOPBACK, port), timeout=1.0):
            return True
    except OSError:
        return False


def _get(url: str) -> str | None:
    """Fetch a page of our own daemon; None if it does not answer with one."""
    try:
        with urllib.request.urlopen(url, timeout=10.0) as answer:  # noqa: S310 - our own address
            return str(answer.read().decode())
    except (urllib.error.URLError, OSError):
        return None
