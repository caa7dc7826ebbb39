"""Readings by steps, findings and the timeline."""

from __future__ import annotations

import re
from datetime import datetime

import numpy as np
import pytest
from served import APIARY, DAY_S, NOW_S, START_S

from hivewatch.detect.finding import Finding
from hivewatch.timeline.merge import WHATS

# RFC 3339 section 5.6: date-time, here always in UTC and with "Z".
UTC_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")


def ask(here, path, **query):
    answer = here.http.get(f"/api/v1/{path}", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def unix(text):
    assert UTC_TIME.fullmatch(text)
    return int(datetime.fromisoformat(text).timestamp())


@pytest.mark.parametrize(("step", "step_s"), [("30m", 1800), ("1h", 3600), ("1d", DAY_S)])
@pytest.mark.parametrize("quantity", ["weight", "ambient", "bees-in"])
def test_steps_say_what_numpy_says(fresh, quantity, step, step_s):
    """The store's sums against numpy over the very arrays that were stored."""
    time_s, value = fresh.store_season()[quantity]
    span = {"from": "2026-05-02T00:00:00+01:00", "to": "2026-05-06T12:00:00Z"}
    got = ask(fresh, "hives/hazel-1/readings", quantity=quantity, step=step, **span)
    from_s, to_s = START_S + 23 * 3600, START_S + 5 * DAY_S + 12 * 3600
    assert (unix(got["from"]), unix(got["to"]), got["step"]) == (from_s, to_s, step)
    within = (time_s >= from_s) & (time_s < to_s)
    step_of = time_s[within] // step_s
    assert [unix(one["time"]) for one in got["items"]] == list(np.unique(step_of) * step_s)
    for one in got["items"]:
        of = value[within][step_of == unix(one["time"]) // step_s]
        assert one["count"] == len(of)
        assert one["mean"] == pytest.approx(of.mean(), rel=1e-9)
        assert one["low"] == of.min()
        assert one["high"] == of.max()
        assert one["total"] == pytest.approx(of.sum(), rel=1e-9)


def test_the_step_suits_the_span(fresh):
    fresh.store_season()
    week = ask(fresh, "hives/hazel-1/readings", quantity="weight")
    assert week["step"] == "15m"
    year = ask(
        fresh, "hives/hazel-1/readings", quantity="weight", **{"from": "2025-05-11T09:00:00Z"}
    )
    assert year["step"] == "1d"
    assert week["unit"] == "kg"


def test_readings_come_in_pages(fresh):
    fresh.store_season()
    query = {"quantity": "nest", "step": "1h", "from": "2026-05-01T00:00:00Z"}
    whole = ask(fresh, "hives/hazel-1/readings", **query)
    assert whole["next"] is None
    parts, after = [], {}
    for _ in range(10):
        page = ask(fresh, "hives/hazel-1/readings", **query, limit=50, **after)
        parts += page["items"]
        if page["next"] is None:
            break
        after = {"after": page["next"]}
    assert parts == whole["items"]


def test_a_running_total_becomes_counts(fresh):
    """RFC 8428 section 4.3: a sum holds all before it; a fall is a counter started anew."""
    fresh.load_apiary(APIARY.replace("counter-1", "total-1"))
    time_s = np.arange(START_S, START_S + 6 * 3600, 600)
    came = np.arange(len(time_s)) % 7 * 10.0
    total = np.cumsum(came)
    total[18:] -= total[17]  # at 03:00 it starts anew, from what came since
    fresh.store_series("total-1", "bees-in-total", time_s, total)
    got = ask(
        fresh,
        "hives/hazel-1/readings",
        quantity="bees-in",
        step="1h",
        **{"from": "2026-05-01T01:00:00Z", "to": "2026-05-01T06:00:00Z"},
    )
    hour_of = (time_s - START_S) // 3600
    expected = [came[hour_of == hour].sum() for hour in range(1, 6)]
    assert [one["total"] for one in got["items"]] == pytest.approx(expected)


def test_one_hour_with_two_scales_is_one_step(fresh):
    later = '[[device]]\nid = "scale-2"\nhive = "hazel-1"\nsince = "2026-05-05T00:30:00Z"\n'
    fresh.load_apiary(APIARY + later)
    time_s = np.arange(START_S + 4 * DAY_S, START_S + 4 * DAY_S + 3600, 600)
    fresh.store_series("scale-1", "weight", time_s, np.full(6, 30.0))
    fresh.store_series("scale-2", "weight", time_s, np.full(6, 40.0))
    (step,) = ask(fresh, "hives/hazel-1/readings", quantity="weight", step="1h")["items"]
    assert (step["count"], step["low"], step["high"], step["mean"]) == (6, 30.0, 40.0, 35.0)


def test_nothing_measured_is_an_empty_list(here):
    got = ask(here, "hives/quarry-1/readings", quantity="weight")
    assert got["items"] == []


def found(kind, day, hours=1, **more):
    start_s = START_S + day * DAY_S
    return Finding(kind, "hive:hazel-1", start_s, start_s + hours * 3600, start_s, 0.9, **more)


def test_findings_are_filtered(fresh):
    fresh.tell(
        found("handling", 1, status="ended"),
        found("handling", 5, status="ended"),
        Finding(
            "toppled",
            "hive:hazel-1",
            START_S + 6 * DAY_S,
            None,
            START_S + 6 * DAY_S,
            0.98,
            {"kg": -30.0},
            ("weight fell",),
        ),
    )
    fresh.tell(
        Finding("taken", "hive:quarry-1", START_S, None, START_S, 0.9),
        hive="quarry-1",
        yard="quarry",
    )

    def kinds(**query):
        return [one["kind"] for one in ask(fresh, "findings", **query)["items"]]

    assert kinds() == ["taken", "handling", "handling", "toppled"]
    assert kinds(hive="hazel-1", status="open") == ["toppled"]
    assert kinds(yard="quarry") == ["taken"]
    assert kinds(kind="handling") == ["handling", "handling"]
    assert fresh.http.get("/api/v1/findings", params={"kind": "swam"}).status_code == 422
    assert kinds(since="2026-05-05T00:00:00Z") == ["taken", "handling", "toppled"]
    assert kinds(until="2026-05-03T00:00:00Z") == ["taken", "handling"]
    first = ask(fresh, "findings", limit=2)
    second = ask(fresh, "findings", limit=2, after=first["next"])
    assert [one["kind"] for one in first["items"] + second["items"]] == kinds()
    assert second["next"] is None


def test_a_finding_has_the_agreed_form(fresh):
    (told,) = fresh.tell(
        Finding(
            "toppled",
            "hive:hazel-1",
            NOW_S - 3600,
            None,
            NOW_S - 1800,
            0.98,
            {"kg": -30.0},
            ("weight fell",),
        )
    )
    assert ask(fresh, f"findings/{told.id}") == {
        "id": told.id,
        "kind": "toppled",
        "subject": "hive:hazel-1",
        "start": "2026-05-11T08:00:00Z",
        "end": None,
        "detected_at": "2026-05-11T08:30:00Z",
        "confidence": 0.98,
        "status": "open",
        "measures": {"kg": -30.0},
        "evidence": ["weight fell"],
        "explained_by": None,
    }
    assert fresh.http.get("/api/v1/findings/0123456789abcdef").status_code == 404


def test_every_told_kind_has_words(here):
    kinds = {one["kind"]: one for one in ask(here, "kinds")["items"]}
    # the kinds of the contract, so that a page never shows a bare key
    assert {
        "nectar_flow",
        "dearth",
        "brood_onset",
        "brood_end",
        "swarm",
        "swarm_risk",
        "robbing",
        "queen_trouble",
        "low_stores",
        "dead_out",
        "toppled",
        "taken",
        "handling",
        "orientation_flight",
        "forager_loss",
        "chilled_brood",
        "overheating",
        "silent",
        "stuck",
        "clock",
        "low_battery",
        "scale_drift",
    } <= set(kinds)
    for one in kinds.values():
        assert one["head"]
        assert "{who}" in one["what"]
        if one["urgency"] == "emergency":
            assert one["mind"]


def test_the_timeline_merges_in_one_order(fresh):
    fresh.tell(
        found("handling", 2, status="ended"),
        Finding("toppled", "hive:hazel-1", NOW_S - 3600, None, NOW_S - 1800, 0.98),
    )
    fresh.write_down(hive="hazel-1", at="2026-05-03T12:00:00Z", note="super on")
    fresh.write_down(hive="hazel-2", at="2026-05-03T12:00:00Z")
    whole = ask(fresh, "hives/hazel-1/timeline")["items"]
    assert [one["what"] for one in whole] == [
        *("alert", "finding", "inspection", "question", "finding", "device", "device")
    ]
    times = [unix(one["at"]) for one in whole]
    assert times == sorted(times, reverse=True)
    assert whole[2]["inspection"]["note"] == "super on"
    for one in whole:
        assert [name for name in WHATS if one[name]] == [one["what"]]
    parts, after = [], {}
    for _ in range(10):
        page = ask(fresh, "hives/hazel-1/timeline", limit=1, **after)
        parts += page["items"]
        if page["next"] is None:
            break
        after = {"after": page["next"]}
    assert parts == whole
