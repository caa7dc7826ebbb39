"""Readings in and out of the store, and one hive's window put together from them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy.exc import OperationalError

from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.store import apiary, readings
from hivewatch.store.keeper import WindowKeeper
from hivewatch.store.open import Store, rows
from hivewatch.store.windows import next_dated_s, read_window
from hivewatch.wire.quantities import QUANTITIES, TOTAL_OF

T0_S = 1_777_593_600  # 2026-05-01T00:00:00Z
WEIGHT, NEST = QUANTITIES["weight"].number, QUANTITIES["nest"].number
YARD = Yard("millrace", "Mill race", 52.2, 0.12, "Europe/London")
HIVES = tuple(Hive(f"millrace-{n}", "millrace", "langstroth-deep", 10, 1, None) for n in (1, 2))


def placed(*placements: tuple[str, str | None, int]) -> Apiary:
    """Give an apiary with these placements: device, hive, seconds after the start."""
    return Apiary(
        (YARD,), HIVES, tuple(Placement(name, hive, T0_S + at) for name, hive, at in placements)
    )


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path / "hivewatch.db")
    yield opened
    opened.close()


def put(store: Store, device: str, quantity: int, *points: tuple[float, float], late_s=0) -> int:
    """Store readings, (seconds after the start, value) each."""
    with store.write() as connection:
        number = apiary.number_of(connection, device)
        rows = [
            (number, quantity, round((T0_S + at) * 1000), float(value), int(T0_S + at) + late_s)
            for at, value in points
        ]
        return readings.insert(connection, rows)


def load(store: Store, given: Apiary) -> list[str]:
    with store.write() as connection:
        return apiary.load(connection, given)


def window(store: Store, hive: str = "millrace-1", at: int = 10_000, received_by=None):
    with store.read() as connection:
        known = apiary.read(connection)
        return read_window(connection, known, hive, T0_S + at, received_by)


def told(series):
    return [(int(t) - T0_S, v) for t, v in zip(series.time_s, series.value, strict=True)]


def test_a_repeat_is_stored_once_and_the_first_value_stays(store):
    assert put(store, "scale-1", WEIGHT, (0, 40.0), (60, 41.0)) == 2
    assert put(store, "scale-1", WEIGHT, (0, 40.0), (60, 99.0), (120, 42.0)) == 1
    with store.read() as connection:
        series = readings.read_series(connection, 1, WEIGHT, 0, 10**15)
    assert told(series) == [(0, 40.0), (60, 41.0), (120, 42.0)]


def test_only_another_value_for_the_same_key_is_a_conflict(store):
    put(store, "scale-1", WEIGHT, (0, 40.0), (60, 41.0))
    t_ms = T0_S * 1000
    rows = [
        (1, WEIGHT, t_ms, 40.0, T0_S),
        (1, WEIGHT, t_ms, 40.0 + readings.SAME_VALUE / 2, T0_S),
        (1, WEIGHT, t_ms + 60_000, 40.0, T0_S),
        (1, NEST, t_ms, 34.0, T0_S),
        (1, NEST, t_ms, 35.0, T0_S),
    ]
    with store.write() as connection:
        assert readings.insert(connection, rows) == 1
        assert readings.conflicting(connection, rows) == [2, 4]
        assert readings.conflicting(connection, rows[:2]) == []
        assert readings.insert(connection, []) == 0


def test_readings_within_one_second_are_kept_apart_and_read_as_one(store):
    assert put(store, "scale-1", WEIGHT, (1.0, 40.0), (1.25, 41.0), (2.0, 42.0)) == 3
    load(store, placed(("scale-1", "millrace-1", 0)))
    assert told(window(store).of("weight")) == [(1, 40.0), (2, 42.0)]


def test_a_window_ends_with_its_moment(store):
    put(store, "scale-1", WEIGHT, (0, 40.0), (100.9, 41.0), (101, 42.0))
    load(store, placed(("scale-1", "millrace-1", 0)))
    assert told(window(store, at=100).of("weight")) == [(0, 40.0), (100, 41.0)]


def test_what_was_received_later_is_left_out_of_a_replay(store):
    put(store, "scale-1", WEIGHT, (0, 40.0), (200, 42.0))
    put(store, "scale-1", WEIGHT, (100, 41.0), late_s=5000)
    load(store, placed(("scale-1", "millrace-1", 0)))
    then = window(store, at=300, received_by=T0_S + 300)
    assert told(then.of("weight")) == [(0, 40.0), (200, 42.0)]
    assert told(window(store, at=300).of("weight")) == [(0, 40.0), (100, 41.0), (200, 42.0)]


def test_a_device_that_moves_takes_its_later_readings_with_it(store):
    put(store, "scale-1", WEIGHT, (0, 40.0), (99, 41.0), (100, 12.0), (200, 13.0))
    load(store, placed(("scale-1", "millrace-1", 0), ("scale-1", "millrace-2", 100)))
    assert told(window(store).of("weight")) == [(0, 40.0), (99, 41.0)]
    assert told(window(store, "millrace-2").of("weight")) == [(100, 12.0), (200, 13.0)]


def test_a_device_that_was_put_away_belongs_to_no_hive(store):
    put(store, "scale-1", WEIGHT, (0, 40.0), (100, 0.0), (200, 41.0))
    load(
        store,
        placed(("scale-1", "millrace-1", 0), ("scale-1", None, 50), ("scale-1", "millrace-1", 150)),
    )
    assert told(window(store).of("weight")) == [(0, 40.0), (200, 41.0)]


def test_of_two_devices_the_one_placed_last_speaks(store):
    put(store, "scale-1", WEIGHT, (0, 40.0), (100, 41.0), (200, 42.0))
    put(store, "scale-2", WEIGHT, (150, 50.0), (250, 51.0))
    put(store, "scale-2", NEST, (50, 34.0))
    load(store, placed(("scale-1", "millrace-1", 0), ("scale-2", "millrace-1", 120)))
    seen = window(store)
    assert told(seen.of("weight")) == [(0, 40.0), (100, 41.0), (150, 50.0), (250, 51.0)]
    assert [trace.device for trace in seen.devices] == ["scale-1", "scale-2"]
    assert told(seen.of("nest")) == []


def test_totals_are_read_as_counts(store):
    total = TOTAL_OF["bees-in"].number
    put(store, "counter-1", total, (0, 1000), (60, 1100), (120, 1250), (180, 40), (240, 60))
    load(store, placed(("counter-1", "millrace-1", 0)))
    seen = window(store)
    assert told(seen.of("bees-in")) == [(60, 100), (120, 150), (180, 40), (240, 20)]
    assert "bees-in-total" not in seen.series


def test_all_times_of_a_device_are_heard(store):
    put(store, "scale-1", WEIGHT, (0, 40.0), (60, 41.0), (120, 42.0))
    put(store, "scale-1", NEST, (0, 34.0), (61, 34.0))
    put(store, "scale-1", QUANTITIES["battery"].number, (180, 3.9))
    load(store, placed(("scale-1", "millrace-1", 0)))
    assert (window(store).devices[0].heard_s - T0_S).tolist() == [0, 60, 61, 120, 180]


@pytest.mark.parametrize("seed", range(5))
def test_a_kept_window_is_the_one_read_anew(store, seed):
    """Late blocks, readings ahead of us, two quantities; nothing is told but what changed."""
    rng = np.random.default_rng(seed)
    load(store, placed(("scale-1", "millrace-1", 0)))
    keeper = WindowKeeper()
    at = 0
    for _ in range(25):
        at += int(rng.integers(1, 400))
        points = [(int(t), float(t % 50)) for t in rng.integers(0, at + 500, rng.integers(0, 6))]
        put(store, "scale-1", int(rng.choice([WEIGHT, NEST])), *points)
        changed = {"scale-1": (T0_S + min(points)[0]) * 1000} if points else {}
        with store.read() as connection:
            known = apiary.read(connection)
            kept = keeper.read(connection, known, "millrace-1", T0_S + at, changed)
            anew = read_window(connection, known, "millrace-1", T0_S + at)
        assert kept.series.keys() == anew.series.keys()
        for name, series in anew.series.items():
            assert told(kept.series[name]) == told(series)
        assert kept.devices[0].heard_s.tolist() == anew.devices[0].heard_s.tolist()


AIR, RAIN = QUANTITIES["ambient"].number, QUANTITIES["rain"].number


def test_a_hive_that_measures_no_air_takes_it_from_the_device_placed_first_in_its_yard(store):
    for device, air in (("air-1", 11.0), ("air-2", 22.0), ("scale-1", None)):
        if air:
            put(store, device, AIR, *((t, air) for t in (0, 60, 120, 180)))
        put(store, device, WEIGHT, (0, 40.0), (100, 41.0))
    put(store, "air-2", RAIN, (50, 0.4))
    load(
        store,
        placed(
            ("air-1", "millrace-2", 0),
            ("air-1", None, 100),
            ("air-2", "millrace-2", 30),
            ("scale-1", "millrace-1", 0),
        ),
    )
    seen = window(store)
    assert told(seen.of("ambient")) == [(0, 11.0), (60, 11.0), (120, 22.0), (180, 22.0)]
    assert told(seen.of("rain")) == [(50, 0.4)]
    assert seen.lent == {"ambient", "rain", "rain-total"}
    assert (seen.last_s, len(seen.of("weight"))) == (T0_S + 100, 2)
    assert [one.device for one in seen.devices] == ["scale-1"]
    assert window(store, "millrace-2").lent == frozenset()


def test_a_hive_with_air_of_its_own_borrows_none_and_one_without_devices_nothing(store):
    put(store, "scale-1", AIR, (60, 9.0))
    put(store, "scale-2", AIR, (0, 22.0), (60, 22.0))
    load(store, placed(("scale-2", "millrace-2", 0), ("scale-1", "millrace-1", 0)))
    assert told(window(store).of("ambient")) == [(60, 9.0)]
    load(store, placed(("scale-2", "millrace-2", 0), ("scale-1", None, 0)))
    assert not window(store).series


def test_what_had_not_come_by_then_is_not_lent(store):
    put(store, "scale-1", WEIGHT, (0, 40.0))
    put(store, "scale-2", AIR, (0, 22.0), late_s=500)
    load(store, placed(("scale-2", "millrace-2", 0), ("scale-1", "millrace-1", 0)))
    assert not window(store, received_by=T0_S + 499).has("ambient")
    assert window(store, received_by=T0_S + 500).has("ambient")


@pytest.mark.parametrize("seed", range(5))
def test_a_kept_window_with_lent_air_is_the_one_read_anew(store, seed):
    """Its own device begins to measure the air one day, and the lender comes and goes."""
    rng = np.random.default_rng(seed)
    moves = [("scale-1", "millrace-1", 0), ("air-1", "millrace-2", 0), ("air-1", None, 4000)]
    load(store, placed(*moves, ("air-2", "millrace-2", 100)))
    keeper = WindowKeeper()
    at = 0
    for turn in range(30):
        at += int(rng.integers(1, 400))
        device = str(rng.choice(["scale-1", "air-1", "air-2"]))
        quantity = int(rng.choice([AIR, RAIN])) if device != "scale-1" or turn > 20 else WEIGHT
        points = [(int(t), float(t % 50)) for t in rng.integers(0, at + 500, rng.integers(1, 6))]
        put(store, device, quantity, *points)
        with store.read() as connection:
            known = apiary.read(connection)
            changed = {device: (T0_S + min(points)[0]) * 1000}
            kept = keeper.read(connection, known, "millrace-1", T0_S + at, changed)
            anew = read_window(connection, known, "millrace-1", T0_S + at)
        assert kept.series.keys() == anew.series.keys()
        for name, series in anew.series.items():
            assert told(kept.series[name]) == told(series)
        borrowed = [one for one in ("air-1", "air-2") if "millrace-1" in keeper.lent_by(one)]
        assert bool(borrowed) == bool(kept.lent)


def test_windows_are_let_go_beyond_their_share_of_memory(store):
    load(store, placed(("scale-1", "millrace-1", 0), ("scale-2", "millrace-2", 0)))
    for device in ("scale-1", "scale-2"):
        put(store, device, WEIGHT, *((t, 40.0) for t in range(100)))
    keeper = WindowKeeper(bytes_max=3000)
    with store.read() as connection:
        known = apiary.read(connection)
        for hive in ("millrace-1", "millrace-2"):
            assert len(keeper.read(connection, known, hive, T0_S + 200, {}).of("weight")) == 100
    assert list(keeper._kept) == ["millrace-2"]


@pytest.mark.parametrize(
    ("at", "next_at"), [(0, 500), (500, 800), (799, 800), (800, 1000), (1000, None)]
)
def test_the_next_moment_that_the_store_knows_of(store, at, next_at):
    """A reading ahead of us, the next move of a device, and the end of another's stay."""
    put(store, "scale-1", WEIGHT, (0, 40.0), (800, 41.0))
    load(
        store,
        placed(
            ("scale-1", "millrace-1", 0),
            ("scale-2", "millrace-1", 500),
            ("scale-2", "millrace-2", 1000),
        ),
    )
    with store.read() as connection:
        found = next_dated_s(connection, apiary.read(connection), "millrace-1", T0_S + at)
    assert found == (None if next_at is None else T0_S + next_at)


def test_steps_are_summed_up_in_the_store(store):
    put(store, "scale-1", WEIGHT, *((60 * i, 40 + i) for i in range(10)))
    spans = [(1, T0_S * 1000, (T0_S + 600) * 1000)]
    with store.read() as connection:
        steps = readings.read_steps(connection, spans, QUANTITIES["weight"], 300)
    assert [step[:6] for step in steps] == [
        (T0_S, 42.0, 40.0, 44.0, 210.0, 5),
        (T0_S + 300, 47.0, 45.0, 49.0, 235.0, 5),
    ]


def test_a_window_is_read_by_the_key_alone(store):
    with store.read() as connection:
        plan = connection.exec_driver_sql(
            "EXPLAIN QUERY PLAN SELECT time_ms, value FROM reading WHERE device = 1"
            " AND quantity = 1 AND time_ms >= 0 AND time_ms < 9 ORDER BY time_ms"
        ).all()
    assert [row[-1] for row in plan] == [
        "SEARCH reading USING PRIMARY KEY (device=? AND quantity=? AND time_ms>? AND time_ms<?)"
    ]


def test_what_the_driver_says_is_told_as_any_fault_of_the_store(store):
    with store.read() as connection, pytest.raises(OperationalError, match="no such table"):
        rows(connection, "SELECT 1 FROM nowhere")
