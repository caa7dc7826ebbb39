"""What fifty requests a second cost ingest that runs as fast as it can.

Run: python tests/bench/bench_pages.py [--quick] [FOLDER]. The same messages come from mosquitto
with and without somebody asking what the pages ask, of a store with a thousand hives: the one that
big_store.py wrote into FOLDER, or else one of a week. Rounds alternate. Pages, broker, publisher
and asker are processes of their own and share the machine's processors; the pages work out the
outlooks of all counted hives meanwhile, as after a start.
"""

from __future__ import annotations

import multiprocessing
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager, nullcontext
from http import HTTPStatus
from http.client import HTTPConnection
from pathlib import Path

import big_store
from bench_ingest import _Counting, _sender

from hivewatch import logs
from hivewatch.clock import WallClock
from hivewatch.health import Health
from hivewatch.ingest.subscriber import Subscriber
from hivewatch.loops import SWITCH_S
from hivewatch.pages import Pages
from hivewatch.settings import Broker, Settings
from hivewatch.settings import Store as StoreSettings
from hivewatch.store.open import Store

sys.path.append(str(Path(__file__).parent.parent / "support"))

from served import StillClock
from test_api_bench import fill

A_SECOND, ASKERS = 50, 4
ASKED = (  # by the pages while they stand open, and when a hive is opened
    "now",
    "yards",
    "hives?limit=100",
    "alerts",
    "findings",
    "hives/h-0500",
    "hives/h-0500/readings?quantity=weight&step=1h",
    "hives/h-0500/timeline",
    "round",
    "devices?limit=100",
)


def ask(url: str, stop: object, told: object) -> None:
    """Ask at a steady rate until told to stop; tell how many answers came, and the median."""
    took_ms: list[float] = []

    def one(turn: int) -> None:
        with closing(HTTPConnection(url.removeprefix("http://"), timeout=30.0)) as http:
            due_s = time.monotonic() + turn / A_SECOND
            number = turn
            while not stop.is_set():  # type: ignore[attr-defined]
                time.sleep(max(0.0, due_s - time.monotonic()))
                began = time.perf_counter()
                http.request("GET", f"/api/v1/{ASKED[number % len(ASKED)]}")
                answer = http.getresponse()
                answer.read()
                assert answer.status == HTTPStatus.OK
                took_ms.append((time.perf_counter() - began) * 1000)
                due_s = max(due_s + ASKERS / A_SECOND, time.monotonic() - 1.0)
                number += 3  # no factor in common with how many there are

    began = time.monotonic()
    threads = [threading.Thread(target=one, args=(turn,)) for turn in range(ASKERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    rate = len(took_ms) / (time.monotonic() - began)
    told.put((rate, statistics.median(took_ms)))  # type: ignore[attr-defined]


class Asking:
    """Somebody who asks while a block runs."""

    rate = median_ms = 0.0

    def __init__(self, url: str) -> None:
        """Prepare the process."""
        spawn = multiprocessing.get_context("spawn")
        self._stop, self._told = spawn.Event(), spawn.Queue()
        self._process = spawn.Process(target=ask, args=(url, self._stop, self._told))

    def __enter__(self) -> None:
        """Start to ask."""
        self._process.start()
        time.sleep(2.0)

    def __exit__(self, *_: object) -> None:
        """Stop, and take down what came."""
        self._stop.set()
        self.rate, self.median_ms = self._told.get(timeout=60)
        self._process.join()


@contextmanager
def pages(store: Path, clock: StillClock) -> Iterator[str]:
    """Serve a store from a process of its own, as the daemon does; gives the address."""
    health = Health(WallClock().now_s, {})
    with socket.create_server(("127.0.0.1", 0)) as listener:
        settings = Settings(store=StoreSettings(path=store))
        kept = Pages(settings, clock, listener, health, "warning")
        stop, lives = threading.Event(), threading.Event()
        thread = threading.Thread(target=kept.run, args=(stop, lives.set))
        thread.start()
        try:
            lives.wait(60.0)
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"
        finally:
            stop.set()
            thread.join()


def taken(store: Store, port: int, count: int, name: str) -> float:
    """Take messages into the store; gives durable messages a second."""
    intake = _Counting(store)
    broker = Broker(url=f"mqtt://127.0.0.1:{port}", client_id=name)
    subscriber = Subscriber(broker, intake, WallClock())
    stop = threading.Event()
    thread = threading.Thread(target=subscriber.run, args=(stop, lambda: None))
    thread.start()
    while subscriber.fault is not None:
        time.sleep(0.01)
    _sender(port, count).join()
    until_s = time.monotonic() + 120
    while intake.stored < count and time.monotonic() < until_s:
        time.sleep(0.01)
    stop.set()
    thread.join()
    with store.write() as connection:  # each round sends the same times again
        connection.exec_driver_sql(
            "DELETE FROM reading WHERE device IN (SELECT number FROM device WHERE id = 'scale-1')"
        )
    assert intake.stored == count, f"{count - intake.stored} messages lost"
    return count / (intake.last_s - intake.first_s)


def main() -> None:
    """Print the rate with and without requests, and the median of the ratios."""
    logs.set_up("warning")
    sys.setswitchinterval(SWITCH_S)  # as the daemon does
    count, rounds = (3_000, 1) if "--quick" in sys.argv else (20_000, 3)
    given = [word for word in sys.argv[1:] if not word.startswith("-")]
    ratios = []
    with ExitStack() as open_, tempfile.TemporaryDirectory() as folder:
        path = Path(*given or [folder]) / "hivewatch.db"
        store = Store(path)
        clock = StillClock(big_store.AT_S) if given else StillClock()
        if not given:
            fill(store)
        url = open_.enter_context(pages(path, clock))
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        config = Path(folder) / "mosquitto.conf"
        config.write_text(
            f"listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n"
        )
        with subprocess.Popen(["mosquitto", "-c", config], stderr=subprocess.DEVNULL) as broker:
            time.sleep(0.5)
            for number in range(rounds):
                rates = []
                for asking in (nullcontext(), Asking(url)):
                    with asking:
                        rates.append(taken(store, port, count, f"pages-{number}-{len(rates)}"))
                ratios.append(rates[1] / rates[0])
                print(
                    f"ingest alone {rates[0]:,.0f}/s, asked {asking.rate:.0f} times a second "
                    f"{rates[1]:,.0f}/s, ratio {ratios[-1]:.2f}; "
                    f"an answer takes {asking.median_ms:.0f} ms (median); nothing lost"
                )
            broker.terminate()
    print(f"median of the ratios {statistics.median(ratios):.2f}")


if __name__ == "__main__":
    main()
