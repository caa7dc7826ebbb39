"""Yards, hives and devices as they stand."""

from __future__ import annotations

import numpy as np
import pytest
from served import APIARY, DAY_S, NOW_S, START_S

from hivewatch.detect.finding import Finding


def items(here, path):
    answer = here.http.get(f"/api/v1/{path}")
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]


def test_the_time_is_the_clocks(here):
    assert here.http.get("/api/v1/now").json()["now"] == "2026-05-11T09:00:00Z"
    assert here.http.get("/api/v1/yards").json()["now"] == "2026-05-11T09:00:00Z"


def test_yards_count_their_hives(here):
    assert [(one["id"], one["hives"], one["timezone"]) for one in items(here, "yards")] == [
        ("hazel-end", 2, "Europe/London"),
        ("quarry", 1, "America/Toronto"),
    ]


def test_a_hive_without_a_reading_says_so(here):
    hive = here.http.get("/api/v1/hives/quarry-1").json()
    assert hive["devices"] == []
    for name in ("weight_kg", "weight_at", "change_day_kg", "change_week_kg", "nest_c", "heard_at"):
        assert hive[name] is None


def test_pages_give_every_hive_once(here):
    seen, after = [], None
    while True:
        tail = f"&after={after}" if after else ""
        page = here.http.get(f"/api/v1/hives?limit=1{tail}").json()
        seen += [one["id"] for one in page["items"]]
        after = page["next"]
        if after is None:
            break
    assert seen == ["hazel-1", "hazel-2", "quarry-1"]
    assert [one["id"] for one in items(here, "hives?yard=quarry")] == ["quarry-1"]


def test_weight_and_its_changes(fresh):
    time_s = np.array([NOW_S - 7 * DAY_S - 60, NOW_S - DAY_S - 60, NOW_S - 60])
    fresh.store_series("scale-1", "weight", time_s, np.array([30.0, 35.5, 36.2]))
    fresh.store_series("scale-1", "nest", time_s[-1:], np.array([34.8]))
    hive = fresh.http.get("/api/v1/hives/hazel-1").json()
    assert hive["weight_kg"] == pytest.approx(36.2)
    assert hive["weight_at"] == "2026-05-11T08:59:00Z"
    assert hive["change_day_kg"] == pytest.approx(0.7)
    assert hive["change_week_kg"] == pytest.approx(6.2)
    assert hive["nest_c"] == pytest.approx(34.8)
    assert hive["heard_at"] == "2026-05-11T08:59:00Z"


def test_an_earlier_weight_that_is_too_old_gives_no_change(fresh):
    time_s = np.array([NOW_S - 3 * DAY_S, NOW_S - 60])
    fresh.store_series("scale-1", "weight", time_s, np.array([30.0, 36.0]))
    hive = fresh.http.get("/api/v1/hives/hazel-1").json()
    assert hive["change_day_kg"] is None
    assert hive["change_week_kg"] is None


def test_a_reading_from_the_future_is_not_how_it_stands(fresh):
    time_s = np.array([NOW_S - 600, NOW_S + 3600])
    fresh.store_series("scale-1", "weight", time_s, np.array([36.0, 99.0]))
    assert fresh.http.get("/api/v1/hives/hazel-1").json()["weight_kg"] == 36.0


def test_the_device_placed_last_speaks(fresh):
    moved = '[[device]]\nid = "scale-2"\nhive = "hazel-1"\nsince = "2026-05-05T00:00:00Z"\n'
    fresh.load_apiary(APIARY + moved)
    for device, kg in (("scale-1", 30.0), ("scale-2", 41.0)):
        time_s = np.arange(START_S, NOW_S, 3600)
        fresh.store_series(device, "weight", time_s, np.full(len(time_s), kg))
    first, second = items(fresh, "hives?yard=hazel-end")
    assert first["weight_kg"] == 41.0
    assert first["change_week_kg"] is None  # scale-2 stood elsewhere then
    assert second["weight_kg"] is None


def test_an_unplaced_device_is_listed(fresh):
    fresh.send(b'[{"n": "weight", "u": "kg", "v": 30}]', device="stray-7")
    assert [one["id"] for one in items(fresh, "devices?unplaced=true")] == ["stray-7"]
    everyone = {one["id"]: one["hive"] for one in items(fresh, "devices")}
    assert everyone == {
        "counter-1": "hazel-1",
        "scale-1": "hazel-1",
        "scale-2": "hazel-2",
        "stray-7": None,
    }


def test_a_hive_shows_what_is_open_and_what_ended_lately(fresh):
    def one(kind, start_s, end_s, **more):
        return Finding(kind, "hive:hazel-1", start_s, end_s, start_s, 0.9, **more)

    fresh.tell(
        one("toppled", NOW_S - 3600, None),
        one("handling", NOW_S - DAY_S, NOW_S - DAY_S + 900, status="ended"),
        one("handling", NOW_S - 5 * DAY_S, NOW_S - 5 * DAY_S + 900, status="ended"),
        one("swarm", NOW_S - 7200, None, status="withdrawn"),
        Finding("low_battery", "device:scale-1", NOW_S - 9 * DAY_S, None, NOW_S, 0.9),
        Finding("nectar_flow", "yard:hazel-end", NOW_S - 3 * DAY_S, None, NOW_S, 0.9),
    )
    first, second, _ = items(fresh, "hives")
    assert sorted(found["kind"] for found in first["findings"]) == [
        "handling",
        "low_battery",
        "toppled",
    ]
    assert second["findings"] == []
    yard, other = items(fresh, "yards")
    assert [found["kind"] for found in yard["findings"]] == ["nectar_flow"]
    assert other["findings"] == []
