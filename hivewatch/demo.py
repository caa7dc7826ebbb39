"""The whole of hivewatch on this machine alone, watching an invented apiary through one season.

An embedded broker, the simulator and the daemon have a process each, and so have the pages. The
season is played fast, and the simulator tells the time: `hivewatch.stage` has what it is played on.
"""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event, current_thread, main_thread

from sqlalchemy import exists, func, select

from hivewatch import logs
from hivewatch.alerts.ledger import Letter, Outcome
from hivewatch.apiary import read_apiary
from hivewatch.daemon import Daemon
from hivewatch.errors import UsageError
from hivewatch.settings import Alerts, Api, Broker, Settings
from hivewatch.settings import Store as StoreSettings
from hivewatch.stage import LOOPBACK, SeasonClock, broker, simulator
from hivewatch.store import apiary, findings
from hivewatch.store.open import Store
from hivewatch.store.schema import alert, reading, stale

PORT = 8080
SILENT_AFTER_MIN = 30 * 60  # own choice: played fastest, a device sends once a day
SETTLE_S = 60.0  # own choice: how long the last readings may take into the findings


class Screen:
    """The demo's phone: alerts ring on the terminal."""

    name, kind = "this screen", "screen"

    def __init__(self, say: Callable[[str], None]) -> None:
        """Ring by `say`."""
        self._say = say

    def send(self, letter: Letter) -> Outcome:
        """Print what a phone would show."""
        self._say(f"    phone rings: {letter.title}")
        return Outcome("sent", "sent", "printed")


def play(
    port: int | None,
    days_per_second: float,
    seed: int | None,
    until: str | None,
    say: Callable[[str], None],
    *,
    exit_when_done: bool,
) -> None:
    """Play the season; comes back when it is over and `exit_when_done`, or on Ctrl-C.

    Raises
    ------
    HivewatchError
        If the port is taken, the last day is none of the season, or the broker or the simulator
        does not start.
    """
    logs.set_up("warning")
    ended = _ended()
    with TemporaryDirectory(prefix="hivewatch-demo-") as folder, broker() as broker_port:
        settings = Settings(
            store=StoreSettings(path=Path(folder) / "demo.db"),
            broker=Broker(url=f"mqtt://{LOOPBACK}:{broker_port}"),
            api=Api(port=_page_port(port)),
            alerts=Alerts(silent_after_min=SILENT_AFTER_MIN),
        )
        clock = SeasonClock()
        daemon = Daemon(settings, clock, [Screen(say)], "warning")
        threads = daemon.start()
        try:
            say(_address(daemon) if until is None else "Making up a season …")
            while daemon.subscriber.fault is not None:
                time.sleep(0.05)
            words = ["--days-per-second", str(days_per_second), "--diary", daemon.address]
            words += [] if seed is None else ["--seed", str(seed)]
            words += [] if until is None else ["--until", until]
            with simulator(broker_port, Path(folder), words) as season:
                _follow(season, daemon, Path(folder), clock, say, ended, until)
            _settle(daemon)
            say(_summary(daemon.store))
            if not exit_when_done:
                say("The season is over; the pages stay until Ctrl-C.")
            while not (exit_when_done or ended.is_set()):
                time.sleep(1.0)
        except KeyboardInterrupt:
            say("Ended.")
        finally:
            daemon.end(threads)


def _address(daemon: Daemon) -> str:
    """Say where the pages are."""
    return f"Pages: {daemon.address}  (Ctrl-C ends the demo and leaves nothing behind)"


def _ended() -> Event:
    """End in good order on Ctrl-C, a closed terminal or a polite kill, so that nothing is left.

    The event notes it, too: the exception is lost where it meets a finaliser of the interpreter.
    """
    ended = Event()

    def end(*_: object) -> None:
        ended.set()
        raise KeyboardInterrupt

    if current_thread() is main_thread():
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, end)
    return ended


def _page_port(port: int | None) -> int:
    """Take the port that was asked for; else the usual one, or a free one when that is taken."""
    with socket.socket() as probe:
        try:
            probe.bind((LOOPBACK, PORT if port is None else port))
        except OSError as error:
            if port:
                wrong = f"cannot be listened on ({error.strerror})"
                remedy = "name another port, or leave it out"
                raise UsageError("--port", str(port), wrong, remedy) from error
            probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


def _follow(
    season: subprocess.Popen[str],
    daemon: Daemon,
    folder: Path,
    clock: SeasonClock,
    say: Callable[[str], None],
    ended: Event,
    until: str | None,
) -> None:
    """Go through the season hour by hour, and tell findings as they come."""
    told: set[str] = set()
    for line in season.stdout or ():
        if ended.is_set():
            raise KeyboardInterrupt
        news = json.loads(line)
        if "now" in news:
            packs = int(news["packs"])
            _wait_for(lambda: daemon.subscriber.packs >= packs)  # noqa: B023 - asked at once
            _wait_for(lambda: not _waits_for_a_look(daemon.store))
            clock.turn_to(news["now"])
            if season.stdin is not None:
                season.stdin.write("go on\n")
        elif "ready" in news:
            days = _days(news["start"], news["days"], until)
            clock.turn_to(news["start"])
            given = read_apiary((folder / "apiary.toml").read_text("utf-8"), "apiary.toml")
            with daemon.store.write() as connection:
                apiary.load(connection, given)
            long = f"{days} day{'s' * (days != 1)}"
            say(f"{len(given.hives)} hives in {len(given.yards)} yards, {long}.")
            if until is not None:
                say(_address(daemon))
        else:
            _tell_findings(daemon.store, told, say)


def _days(start: str, days: int, until: str | None) -> int:
    """Count the days that will be played."""
    first = datetime.fromisoformat(start).date()
    last = first + timedelta(days=days - 1)
    wanted = last if until is None else date.fromisoformat(until)
    if not first <= wanted <= last:
        remedy = f"use one from {first} to {last}"
        raise UsageError("--until", str(until), "not a day of this season", remedy)
    return (wanted - first).days + 1


def _wait_for(is_so: Callable[[], bool]) -> None:
    """Wait: the time of the season must run ahead neither of its data nor of what they say."""
    until_s = time.monotonic() + SETTLE_S
    while not is_so() and time.monotonic() < until_s:
        time.sleep(0.002)


def _waits_for_a_look(store: Store) -> bool:
    """Say whether anything that was stored is not looked at yet."""
    with store.read() as connection:
        return bool(connection.execute(select(exists().select_from(stale))).scalar_one())


def _tell_findings(store: Store, told: set[str], say: Callable[[str], None]) -> None:
    """Print the findings that were not printed yet, a line each."""
    with store.read() as connection:
        for one in findings.read(connection):
            if one.id not in told and one.kind != "orientation_flight":  # every hive, every week
                told.add(one.id)
                at = datetime.fromtimestamp(one.start_s, UTC)
                subject = one.subject.partition(":")[2]
                say(f"{at:%d %B %H:%M} UTC  {subject}: {one.kind.replace('_', ' ')}")


def _settle(daemon: Daemon) -> None:
    """Wait until the last readings are in the findings."""
    quiet = 0
    until_s = time.monotonic() + SETTLE_S
    while quiet < 5 and time.monotonic() < until_s:  # noqa: PLR2004 - looks without a change
        quiet = 0 if _waits_for_a_look(daemon.store) else quiet + 1
        time.sleep(0.2)


def _summary(store: Store) -> str:
    """Count what was stored, found and alerted."""
    with store.read() as connection:
        readings = connection.execute(select(func.count()).select_from(reading)).scalar_one()
        found = Counter(one.kind for one in findings.read(connection) if one.status != "withdrawn")
        rung = select(alert.c.kind).where(alert.c.state.in_(("sent", "folded")))
        alerts = Counter(connection.execute(rung).scalars())
    return f"{readings} readings stored; findings: {_counted(found)}; alerts: {_counted(alerts)}"


def _counted(counts: Counter[str]) -> str:
    return ", ".join(f"{count} {kind}" for kind, count in sorted(counts.items())) or "none"
