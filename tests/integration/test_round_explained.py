"""The store's own order does not matter: a visit written down first, or days after the finding."""

from __future__ import annotations

from datetime import timedelta
from itertools import permutations
from threading import Event
from time import perf_counter

import numpy as np
import pytest
from served import APIARY, DAY_S, START_S, StillClock

from hivewatch.apiary import read_apiary
from hivewatch.inspections import Change, read_inspections
from hivewatch.replay import find
from hivewatch.settings import Alerts, Settings
from hivewatch.store import apiary, findings, inspections, readings, stale
from hivewatch.store.open import Store
from hivewatch.watch import PAUSE_S, Watcher
from hivewatch.wire.quantities import QUANTITIES

SETTINGS = Settings(alerts=Alerts(quiet=""))
VISIT_S = START_S + 2 * DAY_S + 14 * 3600
VISIT = read_inspections(
    '[{"hive": "hazel-1", "at": "2026-05-03T14:10:00Z",'
    ' "actions": [{"what": "super added", "kg": 6.2}]}]',
    "visits.json",
)[0]


class Life:
    """One scale, a super put on, and the watch that looks."""

    def __init__(self, folder, step_s=300, days=5):
        self.store = Store(folder / "hivewatch.db")
        self.clock = StillClock(START_S + days * DAY_S)
        self.watcher = Watcher(self.store, SETTINGS, self.clock)
        self.time_s = np.arange(START_S, START_S + days * DAY_S, step_s)
        rng = np.random.default_rng(1)
        self.kg = 38 + rng.normal(0, 0.02, len(self.time_s)) + 6.2 * (self.time_s > VISIT_S)
        with self.store.write() as connection:
            apiary.load(connection, read_apiary(APIARY, "apiary.toml"))

    def weigh(self):
        with self.store.write() as connection:
            number = apiary.number_of(connection, "scale-1")
            weight = QUANTITIES["weight"].number
            readings.insert(
                connection,
                [
                    (number, weight, int(at) * 1000, float(kg), int(at))
                    for at, kg in zip(self.time_s, self.kg, strict=True)
                ],
            )
            stale.mark(connection, [("device:scale-1", int(self.time_s[0]) * 1000)])

    def write_down(self):
        with self.store.write() as connection:
            inspections.add(connection, VISIT, self.clock.now_s())

    def look(self):
        self.watcher.look_round(Event(), lambda: None)

    def told(self):
        with self.store.read() as connection:
            return findings.read(connection, hive="hazel-1", kind="handling")


@pytest.mark.parametrize("order", list(permutations(["weigh", "write_down", "look"])))
def test_it_does_not_matter_what_came_first(tmp_path, order):
    life = Life(tmp_path)
    for step in order:
        getattr(life, step)()
    life.clock.at_s += 2 * DAY_S
    life.look()
    (one,) = life.told()
    with life.store.read() as connection:
        (stored,) = inspections.read(connection)
    assert (one.status, one.explained_by) == ("explained", stored.id)
    assert "written down: super added, 6.2 kg" in one.evidence
    replayed = find(life.store, SETTINGS.alerts, as_of_s=life.clock.at_s, is_replay=True)
    assert one in replayed
    life.store.close()


def test_a_replay_of_before_it_was_written_down_knows_nothing_of_it(tmp_path):
    life = Life(tmp_path)
    life.weigh()
    life.look()
    before_s = life.clock.at_s
    life.clock.at_s += DAY_S
    life.write_down()
    life.look()
    assert life.told()[0].status == "explained"
    then = find(life.store, SETTINGS.alerts, as_of_s=before_s, is_replay=True)
    assert [one.status for one in then if one.kind == "handling"] == ["ended"]
    life.store.close()


def test_a_late_inspection_explains_within_a_second(tmp_path):
    """A year of readings every five minutes; the watch finds the mark within its pause besides."""
    life = Life(tmp_path, days=365)
    life.weigh()
    life.look()
    assert [one.status for one in life.told()] == ["ended"]
    life.write_down()
    started = perf_counter()
    life.look()
    took_s = perf_counter() - started
    assert [one.status for one in life.told()] == ["explained"]
    assert took_s < 1 - PAUSE_S, took_s
    life.store.close()


def test_a_correction_and_a_withdrawal_explain_anew_within_a_second(tmp_path):
    """A year of readings every five minutes, as above."""
    life = Life(tmp_path, days=365)
    life.weigh()
    life.write_down()
    life.look()
    assert [one.status for one in life.told()] == ["explained"]
    elsewhere = VISIT.model_copy(update={"at": VISIT.at - timedelta(days=3)})
    took_s = []
    for said, status in ((elsewhere, "ended"), (VISIT, "explained"), (None, "ended")):
        with life.store.write() as connection:
            (kept,) = inspections.read(connection)
            if said is None:
                inspections.withdraw(connection, kept, life.clock.now_s(), Change())
            else:
                inspections.correct(connection, kept, said, life.clock.now_s(), Change())
        started = perf_counter()
        life.look()
        took_s.append(perf_counter() - started)
        assert [one.status for one in life.told()] == [status]
    assert max(took_s) < 1 - PAUSE_S, took_s
    life.store.close()
