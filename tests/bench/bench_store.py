"""Rows a second into the store beside bare `executemany`, and a hive-year read as arrays.

Run: python tests/bench/bench_store.py [--quick]. Rounds alternate; medians are given.
Both sides keep a write-ahead log and have every commit on the disk before it counts.
"""

from __future__ import annotations

import sqlite3
import statistics
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import numpy as np

from hivewatch.apiary import read_apiary
from hivewatch.store import apiary, readings
from hivewatch.store.open import Store
from hivewatch.store.windows import read_window

BATCH = 2_000
ROUNDS = 5
YEAR_S, STEP_S = 365 * 86_400, 300
START_S = 1_777_593_600
QUANTITIES = (1, 2, 3, 4, 5)  # weight, nest, ambient and both humidities
INSERT = "INSERT INTO reading VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING"
PRAGMAS = ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "cache_size=-16000")
APIARY = read_apiary(
    """
[[yard]]
id = "millrace"
name = "Mill race"
latitude = 52.2
longitude = 0.12
timezone = "Europe/London"
[[hive]]
id = "millrace-1"
yard = "millrace"
frame = "langstroth-deep"
frames = 10
boxes = 1
[[device]]
id = "scale-1"
hive = "millrace-1"
since = "2026-05-01T00:00:00Z"
""",
    "apiary.toml",
)


def rows_of(count: int, device: int = 1) -> list[readings.Row]:
    """Give rows as they come: packs of five quantities, one after the other."""
    return [
        (
            device,
            QUANTITIES[i % 5],
            (START_S + i // 5 * STEP_S) * 1000,
            20.0 + i % 31,
            START_S + i // 5 * STEP_S,
        )
        for i in range(count)
    ]


def ours(path: Path, rows: list[readings.Row]) -> float:
    """Store rows in batches, a transaction each; gives rows a second."""
    store = Store(path)
    started_s = time.perf_counter()
    for first in range(0, len(rows), BATCH):
        with store.write() as connection:
            readings.insert(connection, rows[first : first + BATCH])
    took_s = time.perf_counter() - started_s
    store.close()
    return len(rows) / took_s


def bare(path: Path, rows: list[readings.Row]) -> float:
    """Do the same with `executemany` into the same table; gives rows a second."""
    Store(path).close()
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for pragma in PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")
        started_s = time.perf_counter()
        for first in range(0, len(rows), BATCH):
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany(INSERT, rows[first : first + BATCH])
            connection.execute("COMMIT")
        return len(rows) / (time.perf_counter() - started_s)


def write_rates(folder: Path, count: int, rounds: int = ROUNDS) -> tuple[float, float, float]:
    """Give our rate, the bare one, and the median ratio of neighbouring rounds."""
    rows = rows_of(count)
    pairs = []
    for number in range(rounds):
        bare_rate = bare(folder / f"bare-{number}.db", rows)
        pairs.append((ours(folder / f"ours-{number}.db", rows), bare_rate))
    return (
        statistics.median(pair[0] for pair in pairs),
        statistics.median(pair[1] for pair in pairs),
        statistics.median(pair[0] / pair[1] for pair in pairs),
    )


def a_year(path: Path, years: float = 1.0) -> tuple[float, float, int]:
    """Give how long a hive-year takes as arrays, how long a bare fetch, and its readings."""
    store = Store(path)
    count = int(years * YEAR_S / STEP_S) * len(QUANTITIES)
    with store.write() as connection:
        apiary.load(connection, APIARY)
        number = apiary.number_of(connection, "scale-1")
        readings.insert(connection, rows_of(count, number))
    as_of_s = START_S + YEAR_S
    ours_s, bare_s = [], []
    for _ in range(ROUNDS):
        with store.read() as connection:
            known = apiary.read(connection)
            started_s = time.perf_counter()
            window = read_window(connection, known, "millrace-1", as_of_s)
            ours_s.append(time.perf_counter() - started_s)
        assert sum(len(series) for series in window.series.values()) == count
        with closing(sqlite3.connect(path)) as connection:
            started_s = time.perf_counter()
            for quantity in QUANTITIES:
                pairs = connection.execute(
                    "SELECT time_ms, value FROM reading WHERE device = ? AND quantity = ?",
                    (number, quantity),
                ).fetchall()
                np.array(pairs, np.float64)
            bare_s.append(time.perf_counter() - started_s)
    store.close()
    return min(ours_s), min(bare_s), count


def main() -> None:
    """Print the rates and the times."""
    count = 20_000 if "--quick" in sys.argv else 200_000
    with tempfile.TemporaryDirectory() as folder:
        our_rate, bare_rate, ratio = write_rates(Path(folder), count)
        print(f"writing: {our_rate:,.0f} rows/s, bare {bare_rate:,.0f} rows/s, ratio {ratio:.2f}")
        ours_s, bare_s, rows = a_year(Path(folder) / "year.db")
        print(f"a hive-year, {rows:,} readings: {ours_s:.3f} s, bare fetch {bare_s:.3f} s")


if __name__ == "__main__":
    main()
