"""The loop that looks at the hives: one that breaks keeps no other waiting, marks are kept."""

from __future__ import annotations

import json
from threading import Event

import pytest

from hivewatch import watch
from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.ingest.intake import Intake, Message
from hivewatch.settings import Settings
from hivewatch.store import apiary, findings, readings, stale
from hivewatch.store.open import Store
from hivewatch.watch import Watcher
from hivewatch.wire.quantities import QUANTITIES

T0_S = 1_777_593_600  # 2026-05-01T00:00:00Z
YARD = Yard("millrace", "Mill race", 52.2, 0.12, "Europe/London")
NAMES = ("millrace-1", "millrace-2", "millrace-3")
APIARY = Apiary(
    (YARD,),
    tuple(Hive(name, "millrace", "langstroth-deep", 10, 1, None) for name in NAMES),
    tuple(Placement(f"scale-{name[-1]}", name, T0_S) for name in NAMES),
)


class HandClock:
    at_s = T0_S

    def now_s(self):
        return self.at_s

    def monotonic_s(self):
        return float(self.at_s)


@pytest.fixture
def store(tmp_path):
    opened = Store(tmp_path / "hivewatch.db")
    with opened.write() as connection:
        apiary.load(connection, APIARY)
    yield opened
    opened.close()


def weigh(store, at_s):
    """Let each scale send one reading."""
    pack = json.dumps([{"n": "weight", "u": "kg", "v": 40.0, "t": at_s}]).encode()
    names = [f"scale-{name[-1]}" for name in NAMES]
    Intake(store).commit([Message("x/senml", name, pack, None, at_s) for name in names])


def silent(store):
    with store.read() as connection:
        return [one.subject for one in findings.read(connection, kind="silent")]


def marks(store):
    with store.read() as connection:
        return {one.subject for one in stale.read(connection)}


def nothing():
    pass


def test_a_hive_that_breaks_keeps_no_other_waiting(store, monkeypatch):
    clock = HandClock()
    watcher = Watcher(store, Settings(), clock)
    weigh(store, T0_S)
    clock.at_s = T0_S + 4 * 3600
    find = watch.find

    def break_at_the_first(window, *rest):
        if window.hive.id == "millrace-1":
            raise ZeroDivisionError("a bug of ours")
        return find(window, *rest)

    with monkeypatch.context() as patch:
        patch.setattr(watch, "find", break_at_the_first)
        with pytest.raises(ZeroDivisionError):
            watcher.look_round(Event(), nothing)
        assert silent(store) == ["device:scale-2", "device:scale-3"]
        assert "device:scale-1" in marks(store)
    watcher.look_round(Event(), nothing)
    assert silent(store) == ["device:scale-1", "device:scale-2", "device:scale-3"]
    assert marks(store) == set()


def test_a_round_that_is_told_to_stop_keeps_its_marks(store):
    watcher = Watcher(store, Settings(), HandClock())
    weigh(store, T0_S)
    before = marks(store)
    stop = Event()
    watcher.look_round(stop, stop.set)
    assert marks(store) == before
    watcher.look_round(Event(), nothing)
    assert marks(store) == set()


def test_what_comes_while_it_looks_is_looked_at_next_time(store, monkeypatch):
    clock = HandClock()
    watcher = Watcher(store, Settings(), clock)
    weigh(store, T0_S)
    find, came = watch.find, []

    def meanwhile(window, *rest):
        if not came:
            came.append(window.hive.id)
            weigh(store, T0_S - 60)  # late, so that it lies in what was read already
        return find(window, *rest)

    monkeypatch.setattr(watch, "find", meanwhile)
    assert watcher.look_round(Event(), nothing) == 3
    assert marks(store) == {"device:scale-1", "device:scale-2", "device:scale-3"}
    assert watcher.look_round(Event(), nothing) == 3
    assert watcher.look_round(Event(), nothing) == 0


def test_time_alone_makes_a_hive_due(store):
    clock = HandClock()
    watcher = Watcher(store, Settings(), clock)
    weigh(store, T0_S)
    watcher.look_round(Event(), nothing)
    clock.at_s = T0_S + 180 * 60
    assert watcher.look_round(Event(), nothing) == 0
    clock.at_s += 1
    assert watcher.look_round(Event(), nothing) == 3
    assert len(silent(store)) == 3


def test_air_that_a_yard_shares_makes_those_due_who_borrow_it(store):
    seen = []
    watcher = Watcher(store, Settings(), HandClock(), lambda hive, _from_s: seen.append(hive))
    weigh(store, T0_S)
    pack = json.dumps([{"n": "ambient", "u": "Cel", "v": 12.0, "t": T0_S}]).encode()
    Intake(store).commit([Message("x/senml", "scale-2", pack, None, T0_S)])
    watcher.look_round(Event(), lambda: None)
    seen.clear()
    pack = json.dumps([{"n": "ambient", "u": "Cel", "v": 12.5, "t": T0_S + 60}]).encode()
    Intake(store).commit([Message("x/senml", "scale-2", pack, None, T0_S + 60)])
    watcher.look_round(Event(), lambda: None)
    assert sorted(seen) == list(NAMES)


@pytest.mark.parametrize("quantity", sorted(QUANTITIES))
def test_a_hive_that_measures_one_thing_alone_is_looked_at_for_weeks(store, quantity):
    clock = HandClock()
    watcher = Watcher(store, Settings(), clock)
    for hour in range(0, 14 * 24, 6):
        clock.at_s = T0_S + hour * 3600
        with store.write() as connection:
            number = apiary.number_of(connection, "scale-1")
            told = [(number, QUANTITIES[quantity].number, clock.at_s * 1000, 20.0, clock.at_s)]
            readings.insert(connection, told)
            stale.mark(connection, [("device:scale-1", clock.at_s * 1000)])
        watcher.look_round(Event(), lambda: None)
    assert marks(store) == set()
