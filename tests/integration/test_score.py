"""The scoreboard on the real program: the accepted board holds, both paths agree."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

ACCEPTED = Path(__file__).parents[1] / "data" / "accepted-score.json"
WHOLE_S = 1_500  # for a machine under load; the set takes about a minute of one core
APIARY = """
[[yard]]
id = "mesa"
name = "Mesa"
latitude = 31.8
longitude = -110.9
timezone = "America/Phoenix"

[[hive]]
id = "mesa-1"
yard = "mesa"
frame = "langstroth-deep"
frames = 10
boxes = 1

[[device]]
id = "scale-1"
hive = "mesa-1"
since = "2024-05-01T00:00:00Z"
"""


def score(*words, expect=0):
    """Run the command; gives what it printed."""
    path = {"PATH": f"{os.environ['PATH']}:/usr/sbin"}
    done = subprocess.run(
        [sys.executable, "-m", "simulators", "score", *map(str, words)],
        capture_output=True, text=True, timeout=WHOLE_S, check=False, env=os.environ | path,
    )  # fmt: skip
    assert done.returncode == expect, done.stdout + done.stderr
    return done.stdout + done.stderr


@pytest.mark.slow
@pytest.mark.timeout(WHOLE_S)
def test_no_figure_falls_below_the_accepted_board():
    """After a change for the better, or of the model: score --small --accepted FILE --accept."""
    score("--small", "--accepted", ACCEPTED)


@pytest.mark.slow
@pytest.mark.timeout(WHOLE_S)
def test_a_season_is_scored_written_down_and_held_against_a_board(tmp_path):
    words = ["poor-kit", "--days", 30, "--kinds", "handling", "toppled", "--outlook-every", 0]
    board = tmp_path / "accepted.json"
    score(*words, "--out", tmp_path / "out", "--accepted", board, "--accept")
    written = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"score.txt", "score.md", "score.json", "wrong.json", "recall.png"} <= written
    accepted = json.loads(board.read_text())
    mine = accepted["kinds"]["handling"]
    assert mine["events"] > 0
    assert mine["seasons"] == pytest.approx(3 * 30 / 180, abs=1e-3)  # three hives
    mine |= {"events": 1_000, "found": 1_000, "false": 0, "seasons": 1_000.0}
    mine["measures"] = {"kg": {"near": [1_000, 1_000]}}
    accepted["kinds"]["silent"] = mine
    board.write_text(json.dumps(accepted))
    printed = score(*words, "--accepted", board, expect=1)
    assert "WORSE silent: no longer scored" in printed


@pytest.mark.slow
@pytest.mark.timeout(WHOLE_S)
def test_the_wire_and_the_files_tell_the_same():
    printed = score("poor-kit", "--days", 30, "--live", "--pace", 3, "--outlook-every", 0)
    assert "0 imported only, 0 live only" in printed
    assert "0 said by both" not in printed


def test_a_recording_with_labelled_days_is_scored(tmp_path):
    begin = datetime(2024, 5, 2, 7, tzinfo=UTC)
    weight = np.full(10 * 96, 31.0)
    weight[3 * 96 + 68 :] += 3.0  # a feeding at five in the afternoon of the fourth day
    lines = ["time,device,quantity,value"]
    for i, kg in enumerate(weight + np.random.default_rng(5).normal(0, 0.01, weight.size)):
        when = begin + timedelta(minutes=15 * i)
        lines.append(f"{when:%Y-%m-%dT%H:%M:%SZ},scale-1,weight,{kg:.3f}")
    (tmp_path / "readings.csv").write_text("\n".join(lines) + "\n")
    (tmp_path / "labels.csv").write_text(
        "Date,Hives,Comment\n05/05/2024,all,Feeding\n07/05/2024,all,Rain\n"
    )
    (tmp_path / "apiary.toml").write_text(APIARY)
    words = [f"--{name}" for name in ("recording", "labels", "apiary")]
    files = [tmp_path / name for name in ("readings.csv", "labels.csv", "apiary.toml")]
    printed = score(*(word for pair in zip(words, files, strict=True) for word in pair))
    rows = {line.split()[0]: line for line in printed.splitlines() if line}
    assert "1 of 1" in rows["Feeding"]
    assert rows["Feeding"].endswith("3.0 to 3.0, median 3.0")
    assert "nothing" in rows["Rain"]


def test_a_scenario_that_does_not_exist_is_refused():
    score(expect=2)
    score("no-such-season", expect=2)
