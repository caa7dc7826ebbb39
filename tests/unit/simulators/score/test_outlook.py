"""Outlooks against what came, and the two rules without a model."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from simulators.score import outlook, table
from simulators.score.outlook import emerging, figures, keep_first_counts, looks

DAYS = 100
SEEN = {"adults": 20_000, "brood": {"eggs": 3_000, "open": 6_000, "capped": 12_000}}


@pytest.fixture
def season(story):
    made = story.season()
    adults = (20_000 + 100 * np.arange(DAYS)).tolist()
    truth = made.truth | {
        "days": DAYS,
        "hives": {"ford-1": {"daily": {"adults": adults, "laid": [1_000] * DAYS}}},
    }
    inspections = [
        SEEN | {"hive": "ford-1", "at": "2024-05-22T10:00:00Z"},
        SEEN | {"hive": "ford-1", "at": "2024-06-13T10:00:00Z", "adults": 24_000},
    ]
    return replace(made, truth=truth, inspections=inspections)


def test_steady_laying_emerges_at_its_rate_whatever_the_stage():
    for days in (1, 7, 12, 15, 18, 21, 30):
        assert emerging(SEEN, days) == pytest.approx(20_000 + 1_000 * days)


def test_brood_of_a_stopped_queen_runs_out():
    stopped = SEEN | {"brood": {"eggs": 0, "open": 0, "capped": 12_000}}
    assert emerging(stopped, 6) == 26_000
    assert emerging(stopped, 30) == 32_000


def test_only_what_was_seen_by_then_is_known(season):
    found = looks(season, 21)
    first = [look for look in found if look.day.isoformat() == "2024-05-23"]
    assert {look.what for look in first} == {"7", "14", "21", "laying"}
    assert all(look.as_seen == 20_000 for look in first if look.what != "laying")
    later = [look for look in found if look.day.isoformat() == "2024-07-04"]
    assert all(look.as_seen == 24_000 for look in later if look.what != "laying")


def test_the_truth_is_that_of_the_day_ahead(season):
    look = next(look for look in looks(season, 21) if look.what == "14")
    assert look.true == 20_000 + 100 * (22 + 14)  # 23 May is the season's day 22
    laying = next(look for look in looks(season, 21) if look.what == "laying")
    assert (laying.true, laying.as_seen) == (1_000, 1_000)


def test_without_outlooks_the_rules_stand_alone(season):
    rows = figures(looks(season, 21))
    assert all(row.said_n == 0 for row in rows)
    assert outlook.as_json(rows) == {}
    assert "not available" in table.text(table.OUTLOOK_HEAD, table.outlook_rows(rows))


def test_errors_and_intervals_are_counted(season):
    told = {
        "adults": [
            {"day": 7, "low": 22_000, "median": 22_900, "high": 24_000},  # 22,900 came
            {"day": 14, "low": 30_000, "median": 33_000, "high": 36_000},
        ],
        "laying": [{"day": -d, "low": 900, "median": 1_100, "high": 1_200} for d in range(1, 22)],
    }
    season.outlooks.append({"hive": "ford-1", "day": "2024-05-23", "told": told})
    rows = {row.what: row for row in figures(looks(season, 21))}
    assert (rows["7"].said_n, rows["7"].near, rows["7"].held) == (1, 1, 1)
    assert rows["7"].said == pytest.approx(0)
    assert (rows["14"].near, rows["14"].held) == (0, 0)
    assert rows["21"].said_n == 0
    assert rows["laying"].said == pytest.approx(0.1)
    assert rows["laying"].near == 1


def test_of_each_hive_the_first_count_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "inspections.json"
    told = [
        {"hive": "a", "at": "2026-05-09T10:00:00Z", "adults": 3},
        {"hive": "a", "at": "2026-05-02T10:00:00Z", "adults": 2},
        {"hive": "a", "at": "2026-05-01T10:00:00Z", "note": "hefted"},
        {"hive": "b", "at": "2026-05-05T10:00:00Z", "adults": 4},
    ]
    path.write_text(json.dumps(told), "utf-8")
    keep_first_counts(path)
    assert [one["adults"] for one in json.loads(path.read_text("utf-8"))] == [2, 4]
