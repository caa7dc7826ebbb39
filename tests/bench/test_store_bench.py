"""The store's figures, small: they must not rot; `bench_store.py` prints the whole ones."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import bench_store

pytestmark = pytest.mark.bench


def test_writing_keeps_up_with_bare_sqlite(tmp_path):
    our_rate, bare_rate, ratio = bench_store.write_rates(tmp_path, 20_000, rounds=7)
    print(f"{our_rate:,.0f} rows/s, bare {bare_rate:,.0f} rows/s, ratio {ratio:.2f}")
    assert ratio >= 0.6


def test_a_tenth_of_a_hive_year_is_read_about_as_fast_as_fetched(tmp_path):
    ours_s, bare_s, rows = bench_store.a_year(tmp_path / "hivewatch.db", years=0.1)
    print(f"{rows:,} readings: {ours_s:.3f} s, bare fetch {bare_s:.3f} s")
    assert rows > 50_000
    assert ours_s < 2 * bare_s
