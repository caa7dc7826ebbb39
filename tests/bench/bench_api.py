"""What every endpoint that is asked by GET takes, of a store with many hives.

Run: python tests/bench/bench_api.py [--quick] [FOLDER]. FOLDER holds a store that big_store.py
wrote; without it a small one is made. Each endpoint is asked in turn, some ways of asking it that
cost most among them: through the app alone (wall and processor time of this process), and over
HTTP from a client in the same process. What is kept between requests is let go before each, where
the line says "anew". Beside it stands a bare loop of the same process, for what else runs on the
machine: of two runs compare the ratios to it.
"""

from __future__ import annotations

import asyncio
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

sys.path.append(str(Path(__file__).parent.parent / "support"))

import big_store
from served import Served, served

from hivewatch import logs

ROUNDS = 25
BAR_MS = {"year by the hour": 100.0, "year of bees by the hour": 100.0}
USUAL_BAR_MS = 50.0
YEAR_S = 365 * 86_400


def addresses(here: Served, hive: str, yard: str) -> dict[str, str]:
    """Give by name what is asked: each endpoint at least once."""
    with here.store.read() as connection:
        run = connection.exec_driver_sql

        def one_of(query: str) -> str:
            return str(run(query).scalar_one())

        finding = one_of(f"SELECT id FROM finding WHERE hive = '{hive}' LIMIT 1")
        alert = one_of(f"SELECT id FROM alert WHERE hive = '{hive}' LIMIT 1")
        visit = one_of(f"SELECT id FROM inspection WHERE hive = '{hive}' LIMIT 1")
    since = datetime.fromtimestamp(here.clock.at_s - YEAR_S, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    spring = datetime.fromtimestamp(here.clock.at_s - 90 * 86_400, UTC).strftime(
        "%Y-%m-%dT00:00:00Z"
    )
    its, key = f"hives/{hive}", here.http.get("/api/v1/calendar").json()["path"]
    api = {
        "now": "now",
        "kinds": "kinds",
        "yards": "yards",
        "a hundred hives": "hives",
        "a page of hives": "hives?limit=1000",
        "hives of a yard": f"hives?yard={yard}",
        "a hive": its,
        "a hundred devices": "devices",
        "a page of devices": "devices?limit=1000",
        "devices not placed": "devices?unplaced=true",
        "week": f"{its}/readings?quantity=weight",
        "week by the hour": f"{its}/readings?quantity=nest&step=1h",
        "year": f"{its}/readings?quantity=weight&from={since}",
        "year by the hour": f"{its}/readings?quantity=weight&step=1h&from={since}",
        "year of bees by the hour": f"{its}/readings?quantity=bees-in&step=1h&from={since}",
        "fortnight of days": f"{its}/days",
        "month of days": f"{its}/days?from={spring}",
        "timeline of a hive": f"{its}/timeline",
        "timeline of a yard": f"yards/{yard}/timeline",
        "long timeline of a yard": f"yards/{yard}/timeline?limit=1000",
        "questions of a yard": f"yards/{yard}/timeline?what=question",
        "findings": "findings",
        "a page of findings": "findings?limit=1000",
        "findings of a kind": "findings?kind=handling&status=explained",
        "findings of a hive": f"findings?hive={hive}",
        "findings of a yard": f"findings?yard={yard}&since={spring}",
        "a finding": f"findings/{finding}",
        "alerts": "alerts",
        "a page of alerts": "alerts?every=true&limit=1000",
        "alerts of a hive": f"alerts?hive={hive}&every=true",
        "an alert": f"alerts/{alert}",
        "inspections": "inspections",
        "a page of inspections": "inspections?limit=1000",
        "inspections of a hive": f"inspections?hive={hive}",
        "an inspection": f"inspections/{visit}",
        "its versions": f"inspections/{visit}/versions",
        "quarantine": "quarantine",
        "round": "round",
        "calendar's link": "calendar",
        "openapi": "openapi.json",
        "outlook": f"{its}/outlook",
    }
    plain = {"calendar": key, "healthz": "/healthz", "readyz": "/readyz", "metrics": "/metrics"}
    return {name: f"/api/v1/{path}" for name, path in api.items()} | plain


class App:
    """Asks the app without a server or a client."""

    def __init__(self, here: Served) -> None:
        """Take the app."""
        self._app, self._loop = here.app, asyncio.new_event_loop()

    def get(self, url: str) -> int:
        """Ask; gives the bytes that came."""
        path, _, query = url.partition("?")
        scope = {
            "type": "http",
            "method": "GET",
            "path": path,
            "query_string": query.encode(),
            "headers": [(b"host", b"127.0.0.1")],
        }
        told: list[dict[str, object]] = []

        async def receive() -> dict[str, object]:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: dict[str, object]) -> None:
            told.append(message)

        self._loop.run_until_complete(self._app(scope, receive, send))
        assert told[0]["status"] == 200, (url, told)
        return sum(len(message.get("body", b"")) for message in told)  # type: ignore[arg-type]


def bare_loop() -> None:
    """Do some milliseconds of what Python does, that is the same in every run."""
    sum(hash(str(number)) & 1 for number in range(20_000))


def timed(work: Callable[[], object], rounds: int) -> tuple[list[float], list[float]]:
    """Give what each round took, and what the processor did for it, sorted. [ms]."""
    wall, busy = [], []
    for _ in range(rounds):
        began, began_busy = time.perf_counter(), time.process_time()
        work()
        busy.append((time.process_time() - began_busy) * 1000)
        wall.append((time.perf_counter() - began) * 1000)
    return sorted(wall), sorted(busy)


def measure(here: Served, hive: str, yard: str, rounds: int) -> dict[str, float]:
    """Print a line for each; gives the median of the processor's time by name. [ms]."""
    app, medians = App(here), {}
    heads = "".join(f"{head:>16}" for head in ("app ms", "processor ms", "HTTP ms"))
    print(f"{'median and 95 % of':28}{heads}{'bytes':>12}")
    asked = addresses(here, hive, yard)
    if here.http.get(asked["outlook"]).is_error:  # nothing was counted there lately
        del asked["outlook"]
    anew = [f"{name} anew" for name in ("round", "calendar", "outlook") if name in asked]
    names = [*asked, *anew]
    for name in names:
        url = asked[name.removesuffix(" anew")]

        def ask(url: str = url, *, is_anew: bool = name in anew) -> int:
            if is_anew:
                here.app.state.rooms.kept.clear()
                here.outlooks.changed(hive, 0)
            return app.get(url)

        size = ask()
        wall, busy = timed(ask, rounds)
        over, _ = timed(lambda url=url: here.http.get(url).raise_for_status(), rounds)
        pairs = "".join(
            f"{statistics.median(one):9.1f}{one[int(0.95 * len(one))]:7.1f}"
            for one in (wall, busy, over)
        )
        medians[name] = statistics.median(busy)
        bar_ms = BAR_MS.get(name, USUAL_BAR_MS)
        mark = f"  over {bar_ms:.0f}" if medians[name] > bar_ms else ""
        print(f"{name:28}{pairs}{size:12,}{mark}", flush=True)
    pairs = "".join(
        f"{statistics.median(one):9.1f}{one[int(0.95 * len(one))]:7.1f}"
        for one in timed(bare_loop, rounds)
    )
    print(f"{'a bare loop':28}{pairs}")
    return medians


def main() -> None:
    """Print a line an endpoint."""
    logs.set_up("warning")
    is_quick = "--quick" in sys.argv
    folders = [Path(word) for word in sys.argv[1:] if not word.startswith("-")]
    with ExitStack() as stack:
        if not folders:
            folders = [Path(stack.enter_context(tempfile.TemporaryDirectory()))]
            hives, days = (16, 8) if is_quick else (200, 30)
            big_store.build(folders[0], hives, days, 15.0)
        here = stack.enter_context(served(folders[0]))
        here.clock.at_s = big_store.AT_S
        with here.store.read() as connection:
            hives = connection.exec_driver_sql("SELECT count(*) FROM hive").scalar_one()
        hive = f"h-{min(hives - 1, 9):04}"
        measure(here, hive, "y-00", 3 if is_quick else ROUNDS)


if __name__ == "__main__":
    main()
