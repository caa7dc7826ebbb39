"""The board as it is printed and written; orders; what both paths tell."""

from __future__ import annotations

import json
import tomllib

import numpy as np
import pytest

from simulators.plans import ScenarioError
from simulators.score import baselines, live, play, report, table
from simulators.score.kinds import BY_NAME, KINDS
from simulators.score.play import Order, orders
from simulators.score.tally import tally, totals

SCENARIO = 'start = "05-01"\ndays = 40\n[sensors]\nevery_min = 10 # each\nscale = true\n'


@pytest.fixture
def board(story):
    story.happened("handling", 3, 10, kg=6.0)
    story.happened("handling", 9, 10, kg=6.0)
    story.happened("clock", 9, 10, subject="device:scale-1")
    story.told("handling", 3, 10, kg=6.5)
    story.told("swarm", 20, 12, once=True)
    season = story.season()
    scales = {who: getattr(baselines, who)(season, KINDS) for who in ("nothing", "always")}
    played = [{"season": season.label, "took_s": {}}]
    return report.Board.of(totals([tally(season, KINDS)], KINDS), [scales], [], played)


@pytest.mark.parametrize(
    ("time_s", "words"),
    [(None, "-"), (90, "2 min"), (-600, "-10 min"), (3 * 3600, "3.0 h"), (5 * 86400, "5.0 d")],
)
def test_times_are_written_with_a_unit_a_person_would_choose(time_s, words):
    assert table.span(time_s) == words


def test_the_table_says_recall_false_alarms_errors_and_what_is_asked(board):
    row = next(line for line in board.text().splitlines() if line.startswith("handling"))
    assert "1 of 2" in row
    assert "50 % (9 to 91)" in row
    assert "98 %" in row
    assert "1 in 10" in row
    assert "kg 0.50 kg" in row
    assert "kg 0 of 1" in row  # the bar is 0.2 kg
    swarm = next(line for line in board.text().splitlines() if line.startswith("swarm"))
    assert "1 (1 taken back)" in swarm
    assert "clock 1" in board.text()  # happened, and no recording can show it


def test_markdown_has_as_many_cells_in_each_row(board):
    for block in board.markdown().split("\n\n"):
        if block.startswith("|"):
            assert len({line.count("|") for line in block.splitlines()}) == 1


def test_every_kind_with_a_bar_has_its_row_though_nothing_happened(board):
    first = {line.split()[0] for line in board.text().splitlines() if line}
    assert {kind.name for kind in KINDS if kind.bar} <= first


def test_a_written_board_lists_each_hit_miss_and_false_alarm(board, tmp_path):
    paths = board.write(tmp_path)
    assert all(path.stat().st_size for path in paths)
    wrong = json.loads((tmp_path / "wrong.json").read_text())
    assert [one["start"] for one in wrong["handling"]["missed"]] == ["2024-05-10T10:00:00Z"]
    assert len(wrong["swarm"]["false"]) == 1
    found = (tmp_path / "found.csv").read_text().splitlines()
    assert found[1].startswith('handling,"made up",hive:ford-1,2024-05-04T10:00:00Z,0,3600')
    assert found[1].endswith("kg 6.5/6")


def test_orders_repeat_each_scenario_with_other_seeds():
    made = orders(["spring", "stolen"], 3, Order("", days=20))
    assert [(one.scenario, one.seed) for one in made] == [
        ("spring", None), ("spring", 1001), ("spring", 1002),
        ("stolen", None), ("stolen", 1001), ("stolen", 1002),
    ]  # fmt: skip
    assert made[1].label == "spring, seed 1001, 20 d"


@pytest.mark.parametrize("text", [SCENARIO, 'start = "05-01"\n[keeper]\nnotes = 1\n'])
def test_devices_can_be_made_to_measure_at_another_interval(text):
    read = tomllib.loads(play._every(text, 30))
    assert read["sensors"]["every_min"] == 30
    kept = tomllib.loads(text)
    assert read["start"] == kept["start"]
    assert read.get("keeper") == kept.get("keeper")
    assert read["sensors"].get("scale") == kept.get("sensors", {}).get("scale")


def test_an_unknown_scenario_is_named(tmp_path):
    with pytest.raises(ScenarioError, match="no-such: no such scenario"):
        play.write(Order("no-such"), tmp_path)


def test_both_paths_are_held_together_but_for_what_the_clock_alone_tells():
    def one(kind, start, status="ended"):
        return {"kind": kind, "subject": "hive:a", "start": start, "end": None,
                "detected_at": start, "status": status}  # fmt: skip

    files = [one("handling", "2024-05-01T10:00:00Z"), one("silent", "2024-05-02T10:00:00Z")]
    wire = [
        one("handling", "2024-05-01T10:00:00Z"),
        one("handling", "2024-05-03T10:00:00Z"),
        one("swarm", "2024-05-03T10:00:00Z", "withdrawn"),
    ]
    same = live.agreement(files, wire, play.seconds("2024-06-01T00:00:00Z"))
    assert same == {"said by both": 1, "imported only": 0, "live only": 1}


def test_tolerances_leave_room_for_the_bars():
    for kind in KINDS:
        if kind.bar and kind.bar.start_s:
            assert min(kind.before_s, kind.after_s) > kind.bar.start_s
    assert np.all([BY_NAME[kind.name] is kind for kind in KINDS])
