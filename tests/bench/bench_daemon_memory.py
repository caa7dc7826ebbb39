"""Memory of the daemon with a thousand hives, with history and with what comes in meanwhile.

Run: python tests/bench/bench_daemon_memory.py [--quick]. Needs mosquitto.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from brokers import Devices, Mosquitto, wait_until, weight_pack
from running import Running

from hivewatch.store import apiary, readings
from hivewatch.store.open import Store

STEP_S = 900


def apiary_text(hives: int) -> str:
    """Give a yard of so many hives, a device each."""
    text = '[[yard]]\nid = "plain"\nname = "Plain"\nlatitude = 52.2\nlongitude = 0.1\n'
    text += 'timezone = "Europe/London"\n'
    for i in range(hives):
        text += f'[[hive]]\nid = "plain-{i}"\nyard = "plain"\nframe = "langstroth-deep"\n'
        text += f'frames = 10\nboxes = 1\n[[device]]\nid = "scale-{i}"\nhive = "plain-{i}"\n'
        text += 'since = "2026-01-01T00:00:00Z"\n'
    return text


def rss_mb(pid: int) -> tuple[float, float]:
    """Give the memory of a process now and at its most. [MB]."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    found = {line.split(":")[0]: line.split()[1] for line in lines if line.startswith("Vm")}
    return int(found["VmRSS"]) / 1024, int(found["VmHWM"]) / 1024


def fill(store: Store, hives: int, days: float, now_s: int) -> int:
    """Write some days of three quantities for each hive."""
    count = 0
    for i in range(hives):
        with store.write() as connection:
            number = apiary.number_of(connection, f"scale-{i}")
            times = range(now_s - int(days * 86_400), now_s, STEP_S)
            rows = [(number, q, t * 1000, 20.0 + q, t) for q in (1, 2, 3) for t in times]
            count += readings.insert(connection, rows)
    return count


def waiting(store: Store) -> int:
    """Count what is still to be looked at."""
    with store.read() as connection:
        return int(connection.exec_driver_sql("SELECT count(*) FROM stale").scalar_one())


def main() -> None:
    """Print the memory at the start, with history, and after an hour's readings."""
    hives, days = (20, 1.0) if "--quick" in sys.argv else (1_000, 7.0)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = Mosquitto(folder, ["max_queued_messages 0", "max_inflight_messages 0"])
        here = Running(folder, broker.url)
        (folder / "apiary.toml").write_text(apiary_text(hives))
        try:
            here.start()
            print(f"empty: {rss_mb(here.daemon.pid)[0]:.0f} MB")
            assert here.end() == 0
            here.command("apiary", "load", folder / "apiary.toml")
            store = Store(here.store)
            now_s = int(time.time())  # noqa: TID251 - as the daemon sees it
            count = fill(store, hives, days, now_s)
            started_s = time.monotonic()
            here.start()
            wait_until(lambda: waiting(store) == 0, 600.0)
            first_s = time.monotonic() - started_s
            now, most = rss_mb(here.daemon.pid)
            print(f"{hives} hives, {count:,} readings, all looked at in {first_s:.0f} s:", end=" ")
            print(f"{now:.0f} MB, at most {most:.0f} MB")
            field = Devices(broker.port)
            started_s = time.monotonic()
            for minute in range(0, 60, 15):
                for i in range(hives):
                    field.send(f"scale-{i}", weight_pack(now_s - 3600 + minute * 60 + 7, 21.0))
            wait_until(lambda: waiting(store) == 0, 600.0)
            took_s = time.monotonic() - started_s
            now, most = rss_mb(here.daemon.pid)
            print(f"after {4 * hives:,} more messages in {took_s:.0f} s:", end=" ")
            print(f"{now:.0f} MB, at most {most:.0f} MB")
            field.close()
            assert here.end() == 0
            store.close()
        finally:
            here.kill()
            broker.kill()


if __name__ == "__main__":
    main()
