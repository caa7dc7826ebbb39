"""What is said of one hive is the same whether it is asked about alone or with all of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from threading import Event

import numpy as np
import pytest
from served import StillClock

from hivewatch.apiary import read_apiary
from hivewatch.inspections import Inspection
from hivewatch.replay import find
from hivewatch.settings import Alerts, Settings
from hivewatch.store import apiary, findings, inspections, readings
from hivewatch.store.open import Store
from hivewatch.watch import Watcher
from hivewatch.wire.quantities import QUANTITIES

START_S = int(datetime(2026, 8, 1, tzinfo=UTC).timestamp())
HOURS, FALLS_H = 24 * 45, 24 * 33  # the brood of one hive goes in the first days of September
HIVES = ("hazel-1", "hazel-2", "hazel-3", "hazel-4")
YARD = """
[[yard]]
id = "hazel-end"
name = "Hazel End"
latitude = 52.2
longitude = 0.12
timezone = "Europe/London"
"""
PLACES = """
[[hive]]
id = "{hive}"
yard = "hazel-end"
frame = "langstroth-deep"
frames = 10
boxes = 1

[[device]]
id = "probe-{hive}"
hive = "{hive}"
since = "2026-08-01T00:00:00Z"
"""


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """Give four nests in late summer, of which the first goes cool."""
    made = Store(tmp_path_factory.mktemp("replay") / "hivewatch.db")
    rng, hour = np.random.default_rng(3), np.arange(HOURS)
    places = YARD + "".join(PLACES.format(hive=hive) for hive in HIVES)
    with made.write() as connection:
        apiary.load(connection, read_apiary(places, "apiary.toml"))
        for hive in HIVES:
            nest = 34.6 + rng.normal(0, 0.1, HOURS)
            nest -= 9.0 * np.clip((hour - FALLS_H) / 96, 0, 1) * (hive == "hazel-1")
            device, kind = apiary.number_of(connection, f"probe-{hive}"), QUANTITIES["nest"].number
            rows = [
                (device, kind, (START_S + 3600 * at) * 1000, float(cel), START_S + 3600 * at)
                for at, cel in enumerate(nest.round(2))
            ]
            readings.insert(connection, rows)
    return made


def said_of(store, hive=None):
    found = find(store, Alerts(), as_of_s=START_S + 3600 * HOURS, is_replay=True, hive=hive)
    return [replace(one, id="") for one in found if one.subject.startswith("hive:")]


def test_what_the_neighbours_tell_of_a_hive_is_told_of_it_alone_as_well(store):
    told = {hive: said_of(store, hive) for hive in HIVES}
    assert [one.kind for one in told["hazel-1"] if one.kind == "queen_trouble"] == ["queen_trouble"]
    everything = said_of(store)
    for hive, found in told.items():
        assert found == [one for one in everything if one.subject == f"hive:{hive}"]


def test_eggs_that_a_keeper_finds_end_the_trouble_of_a_brood_that_seemed_to_end(store):
    (before,) = [one for one in said_of(store, "hazel-1") if one.kind == "queen_trouble"]
    assert before.status == "open"
    clock = StillClock(START_S + 3600 * HOURS)
    watcher = Watcher(store, Settings(), clock)
    watcher.look_round(Event(), lambda: None)
    at = datetime.fromtimestamp(START_S + 3600 * (HOURS - 30), UTC)
    visit = Inspection(hive="hazel-1", at=at, queen="eggs seen")
    with store.write() as connection:
        inspections.add(connection, visit, clock.now_s() - 3600)
    watcher.look_round(Event(), lambda: None)
    with store.read() as connection:
        (told,) = findings.read(connection, hive="hazel-1", kind="queen_trouble")
    (after,) = [one for one in said_of(store, "hazel-1") if one.kind == "queen_trouble"]
    for one in (told, after):
        assert (one.status, one.end_s) == ("ended", visit.at_s)
