"""The loop that looks at the hives: one that breaks keeps no other waiting, marks are kept."""

from __future__ import annotations

import json
from threading import Event

import pytest

from hivewatch import watch
from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.ingest.intake import Intake, Message
from hivewatch.settings import Settings
from hivewatch.store import apiary, findings, stale
from hivewatch.store.open import Store
from hivewatch.watch import Watcher

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
