"""One robbing that first the neighbours and then the hive's own weight tell is one finding."""

from __future__ import annotations

from datetime import UTC, datetime
from threading import Event

import numpy as np
import pytest
from served import StillClock

from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.detect.run import rests_on_yard
from hivewatch.replay import find
from hivewatch.settings import Alerts, Settings
from hivewatch.store import apiary, findings, readings, stale
from hivewatch.store.open import Store
from hivewatch.watch import Watcher
from hivewatch.wire.quantities import QUANTITIES

START_S = int(datetime(2026, 8, 1, tzinfo=UTC).timestamp())
DAYS, STEP_S, DAY_S = 30, 1800, 86_400
ROBBED_KG = {22: 0.6, 23: 0.6, 24: 0.6, 25: 2.5, 26: 3.0, 27: 2.5}  # day -> between 8 and 18 h
HIVES = ("hazel-1", "hazel-2", "hazel-3", "hazel-4")
YARD = Yard("hazel-end", "Hazel End", 52.2, 0.12, "Europe/London")
APIARY = Apiary(
    (YARD,),
    tuple(Hive(name, YARD.id, "langstroth-deep", 10, 1, None) for name in HIVES),
    tuple(Placement(f"scale-{name}", name, START_S) for name in HIVES),
)


def rows_of(connection):
    """Make the readings of four scales in a dearth, as rows by time."""
    at_s = START_S + STEP_S * np.arange(DAYS * DAY_S // STEP_S)
    hour = (at_s - START_S) / 3600
    rng, weather = np.random.default_rng(1), np.random.default_rng(2).normal(0.0, 0.1, DAYS)
    ambient = 19 + 6 * np.sin((hour % 24 - 9) / 24 * 2 * np.pi)
    by_day = np.clip((hour % 24 - 8) / 10, 0, 1)
    day = (hour // 24).astype(int)
    rows = []
    for name in HIVES:
        each = weather - np.array([ROBBED_KG.get(i, 0.0) for i in range(DAYS)]) * (name == HIVES[0])
        weight = 34 - 0.012 * hour + np.append(0, np.cumsum(each))[day] + each[day] * by_day
        weight += rng.normal(0, 0.01, len(hour))
        device = apiary.number_of(connection, f"scale-{name}")
        for quantity, values in (("weight", weight), ("ambient", ambient)):
            number = QUANTITIES[quantity].number
            of_each = zip(at_s.tolist(), values.round(2).tolist(), strict=True)
            rows += [(device, number, when * 1000, value, when) for when, value in of_each]
    return sorted(rows, key=lambda row: row[2])


@pytest.mark.parametrize("restarts", [False, True])
def test_it_is_one_finding_from_its_first_day_to_its_last(tmp_path, restarts):
    store = Store(tmp_path / "hivewatch.db")
    clock = StillClock(START_S)
    with store.write() as connection:
        apiary.load(connection, APIARY)
        rows = rows_of(connection)
    watcher, told, begun = Watcher(store, Settings(), clock), [], 0
    moments = [START_S + hour * 3600 for hour in range(23 * 24 + 4, DAYS * 24, 8)]
    for moment_s in moments:
        clock.at_s = moment_s
        until = next((i for i in range(begun, len(rows)) if rows[i][4] > moment_s), len(rows))
        with store.write() as connection:
            readings.insert(connection, rows[begun:until])
            first_ms = rows[begun][2]
            stale.mark(connection, [(f"device:scale-{name}", first_ms) for name in HIVES])
        begun = until
        if restarts:
            watcher = Watcher(store, Settings(), clock)
        watcher.look_round(Event(), lambda: None)
        with store.read() as connection:
            now = findings.read(connection, hive=HIVES[0], kind="robbing")
        assert len(now) <= 1
        told += now
        replayed = find(store, Alerts(), as_of_s=moment_s, is_replay=True, kind="robbing")
        assert replayed == now
    assert {(one.id, one.start_s, one.detected_s) for one in told} == {
        (told[0].id, told[0].start_s, told[0].detected_s)
    }
    first, last = told[0], told[-1]
    assert rests_on_yard(first)
    assert (first.start_s - START_S) // DAY_S == 22
    assert "kg_lost" not in first.measures
    assert last.measures["kg_lost"] > 5
    alone = find(store, Alerts(), as_of_s=moments[-1], is_replay=True, hive=HIVES[0])
    assert [one for one in alone if one.kind == "robbing"] == [last]
    store.close()
