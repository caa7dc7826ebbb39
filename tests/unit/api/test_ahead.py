"""An outlook from what the watch has found already, and the same worked out anew."""

from __future__ import annotations

from threading import Event

import numpy as np
import pytest
from served import DAY_S, NOW_S, START_S, STEP_S
from sqlalchemy import delete

from hivewatch import ahead
from hivewatch.comb.outlook_words import outlook_dict
from hivewatch.settings import Settings
from hivewatch.store import apiary, findings, stale
from hivewatch.store.schema import reading
from hivewatch.watch import Watcher
from hivewatch.wire.quantities import QUANTITIES


def look(here, *, recorded_by_s=None):
    with here.store.read() as connection:
        known = apiary.read(connection)
        seen = ahead.outlook_of(connection, known, "hazel-1", NOW_S, recorded_by_s=recorded_by_s)
        return outlook_dict(seen)


def test_what_the_watch_found_gives_the_outlook_that_a_replay_gives(fresh, monkeypatch):
    season = fresh.store_season()
    fresh.write_down(
        hive="hazel-1", at="2026-05-02T10:00:00Z", by="keeper", adults=30_000,
        brood={"eggs": 4500, "open": 9000, "capped": 18_000},
    )  # fmt: skip
    undisturbed = look(fresh)
    # six days in, at noon, sixteen thousand bees leave within ten minutes
    swarm_s = START_S + 6 * DAY_S + 12 * 3600
    time_s = np.arange(swarm_s - 60, NOW_S, STEP_S, dtype=np.int64)
    with fresh.store.write() as connection:  # the scale tells of the lighter hive from then on
        gone = reading.c.device == apiary.number_of(connection, "scale-1")
        gone &= reading.c.quantity == QUANTITIES["weight"].number
        connection.execute(delete(reading).where(gone, reading.c.time_ms > swarm_s * 1000 - 60_000))
    fresh.store_series("counter-1", "bees-out", time_s[:1], np.array([16_000.0]))
    weight = np.interp(time_s, *season["weight"]) - 2.2
    fresh.store_series("scale-1", "weight", time_s, weight)
    with fresh.store.write() as connection:
        stale.mark(connection, [("device:scale-1", 0), ("device:counter-1", 0)])
    anew = look(fresh)
    watcher = Watcher(fresh.store, Settings(), fresh.clock)
    while watcher.look_round(Event(), lambda: None):
        pass
    with fresh.store.read() as connection:
        assert stale.read(connection) == []
    replayed = look(fresh, recorded_by_s=NOW_S)
    with fresh.store.write() as connection:  # what waits elsewhere does not matter here
        stale.mark(connection, [("device:scale-9", 0), ("mirror:scale-1", 0)])
    monkeypatch.setattr(ahead, "detect", None)  # asked for no more
    assert look(fresh) == anew == replayed
    fewer = undisturbed["adults"][0]["median"] - anew["adults"][0]["median"]
    assert 10_000 < fewer < 20_000, fewer  # of the sixteen thousand, some would have died since


def store_scale(here, device, *, lost_kg, seed):
    """Store ten days of a scale alone, at half an hour; a loss at noon of the sixth day."""
    time_s = np.arange(START_S, NOW_S, 1800, dtype=np.int64)
    hour = (time_s - START_S) / 3600
    sun = np.clip(np.sin((hour % 24 - 6) / 12 * np.pi), 0, None)
    noise = np.random.default_rng(seed).normal(0, 0.02, len(hour))
    weight = 34 + hour / 24 * 0.3 - 0.4 * sun + noise - lost_kg * (hour >= 6 * 24 + 12)
    here.store_series(device, "weight", time_s, weight)


@pytest.mark.parametrize("lost_kg", [0.0, 2.2])
def test_a_swarm_that_the_neighbours_tell_reaches_the_replay_as_it_reaches_the_watch(
    fresh, lost_kg
):
    store_scale(fresh, "scale-1", lost_kg=lost_kg, seed=1)
    store_scale(fresh, "scale-2", lost_kg=0.0, seed=2)
    fresh.write_down(
        hive="hazel-1", at="2026-05-02T10:00:00Z", by="keeper", adults=30_000,
        brood={"eggs": 4500, "open": 9000, "capped": 18_000},
    )  # fmt: skip
    anew = look(fresh)
    watcher = Watcher(fresh.store, Settings(), fresh.clock)
    while watcher.look_round(Event(), lambda: None):
        pass
    with fresh.store.read() as connection:
        told = findings.read(connection, hive="hazel-1", kind="swarm")
    assert [one.measures.get("hives_still") for one in told] == [1.0] * (lost_kg > 0)
    assert look(fresh) == anew == look(fresh, recorded_by_s=NOW_S)
    assert (anew["adults"][0]["median"] < 25_000) == (lost_kg > 0), anew["adults"][0]
