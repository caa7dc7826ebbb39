"""The outlooks that stand: worked out by the loop, and anew when what they rest on changed."""

from __future__ import annotations

from threading import Event

import pytest
from served import NOW_S, served

from hivewatch import outlooks
from hivewatch.settings import Settings
from hivewatch.watch import Watcher

STRONG = {"brood": {"eggs": 5400, "open": 10000, "capped": 21000}, "adults": 32000}
VISIT = {"hive": "hazel-1", "at": "2026-05-10T09:00:00Z", **STRONG}


@pytest.fixture
def here(tmp_path, monkeypatch):
    with served(tmp_path) as one:
        one.load_apiary()
        one.store_season()
        one.watcher = Watcher(one.store, Settings(), one.clock, one.outlooks.changed)
        one.asked = []
        real = outlooks.told_of

        def told_of(connection, known, hive, as_of_s, **more):
            one.asked.append((hive, as_of_s))
            return real(connection, known, hive, as_of_s, **more)

        monkeypatch.setattr(outlooks, "told_of", told_of)
        yield one


def look(here):
    """Let watch and outlooks look until nothing is left; give what was worked out."""
    here.asked.clear()
    while here.watcher.look_round(Event(), lambda: None):
        pass
    here.outlooks.look_round(Event(), lambda: None)
    return [hive for hive, _ in here.asked]


def tag_of(here, inspection):
    return here.http.get(f"/api/v1/inspections/{inspection}").headers["etag"]


def test_a_hive_that_was_counted_has_its_outlook_unasked(here):
    assert look(here) == []
    here.write_down(**VISIT)
    assert look(here) == ["hazel-1"]
    assert here.outlooks.all()["hazel-1"]["room"]["super_by"] is not None
    assert look(here) == []  # nothing changed


def test_it_is_worked_out_anew_by_the_hour_for_a_correction_and_for_late_readings(here):
    here.write_down(**VISIT)
    look(here)
    first = here.outlooks.all()["hazel-1"]
    here.send(b'[{"bn":"scale-1/","n":"weight","u":"kg","bt":%d,"v":40.1}]' % (NOW_S + 60))
    here.clock.at_s = NOW_S + 120
    assert look(here) == []  # of this hour, which is not over
    here.clock.at_s = NOW_S + 3600
    assert look(here) == ["hazel-1"]
    here.send(b'[{"bn":"scale-1/","n":"weight","u":"kg","bt":%d,"v":36.1}]' % (NOW_S - 7201))
    assert look(here) == ["hazel-1"]
    kept = here.http.get("/api/v1/inspections").json()["items"][0]["id"]
    before = here.outlooks.version
    answer = here.http.put(
        f"/api/v1/inspections/{kept}",
        json=VISIT | {"brood": {"eggs": 540, "open": 1000, "capped": 2100}, "adults": 7000},
        headers={"if-match": tag_of(here, kept)},
    )
    assert answer.status_code == 200, answer.text
    page = here.http.get("/api/v1/hives/hazel-1/outlook").json()  # before the watch has looked
    assert page["adults"][0]["median"] < 0.5 * first["adults"][0]["median"]
    assert look(here) == ["hazel-1"]
    assert here.outlooks.all()["hazel-1"]["adults"] == page["adults"]
    assert here.outlooks.version > before


def test_nothing_that_waits_for_the_watch_keeps_an_outlook_waiting(here):
    here.write_down(**VISIT)
    here.outlooks.look_round(Event(), lambda: None)
    assert here.outlooks.all().keys() == {"hazel-1"}  # as devices send all the time
    assert look(here) == ["hazel-1"]  # once more, with what the watch has found


def test_a_count_that_is_taken_back_leaves_none(here):
    kept = here.write_down(**VISIT)
    look(here)
    assert here.outlooks.all()
    gone = here.http.delete(f"/api/v1/inspections/{kept}", headers={"if-match": tag_of(here, kept)})
    assert gone.status_code == 200, gone.text
    look(here)
    assert here.outlooks.all() == {}
    assert here.http.get("/api/v1/hives/hazel-1/outlook").status_code == 404
