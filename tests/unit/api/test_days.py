"""A hive's daily figures: those of the whole history, whatever part is asked for."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from served import DAY_S, NOW_S, START_S

from hivewatch.api.days import figures
from hivewatch.store import apiary
from hivewatch.store.windows import read_window


def ask(here, hive="hazel-1", **query):
    answer = here.http.get(f"/api/v1/hives/{hive}/days", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def whole(here, hive="hazel-1"):
    """Give the figures worked out from everything that is stored."""
    with here.store.read() as connection:
        window = read_window(connection, apiary.read(connection), hive, NOW_S)
    return [one.model_dump(mode="json") for _, one in figures(window)]


def test_the_last_two_weeks_are_given_unless_asked_otherwise(fresh):
    fresh.store_season()
    got = ask(fresh)
    assert got["items"] == whole(fresh)
    assert [one["day"] for one in got["items"]] == [f"2026-05-{day:02}" for day in range(1, 12)]
    assert got["next"] is None
    third = got["items"][2]
    assert third["gain_kg"] is not None
    assert third["day_kg"] is not None
    assert third["night_kg"] is not None
    assert abs(third["day_kg"] - third["night_kg"] - third["gain_kg"]) < 0.002


def test_a_days_traffic_and_warmth_are_those_of_its_readings(fresh):
    season = fresh.store_season()
    from_s = START_S + 3 * DAY_S - 3600  # local midnight in summer time
    got = ask(fresh, **{"from": "2026-05-04T12:00:00Z", "to": "2026-05-04T13:00:00Z"})
    (day,) = got["items"]
    assert day["day"] == "2026-05-04"
    assert datetime.fromisoformat(day["sunrise"]).hour == 4
    for name, quantity, reduce in (("bees_in", "bees-in", np.sum), ("nest_cel", "nest", np.mean)):
        time_s, value = season[quantity]
        within = (time_s >= from_s) & (time_s < from_s + DAY_S)
        assert abs(day[name] - reduce(value[within])) <= 0.5, name


def test_a_part_says_the_same_as_the_whole(fresh):
    fresh.store_season()
    part = ask(fresh, **{"from": "2026-05-06T00:00:00+01:00", "to": "2026-05-08T00:00:00+01:00"})
    assert part["items"] == whole(fresh)[5:8]


def test_days_come_in_pages(fresh):
    fresh.store_season()
    found, after = [], {}
    for _ in range(10):
        page = ask(fresh, limit=4, **after)
        found += page["items"]
        if page["next"] is None:
            break
        after = {"after": page["next"]}
    assert found == whole(fresh)
    assert page["next"] is None


def test_a_hive_that_was_never_heard_has_no_days(fresh):
    assert ask(fresh, "quarry-1")["items"] == []


def test_what_cannot_be_asked_is_told(fresh):
    answer = fresh.http.get("/api/v1/hives/hazel-9/days")
    assert answer.status_code == 404
    assert "hazel-9" in answer.json()["detail"]
    answer = fresh.http.get("/api/v1/hives/hazel-1/days", params={"from": "yesterday"})
    assert answer.status_code == 422
