"""A board is held against the last accepted one."""

from __future__ import annotations

import copy

from simulators.score import accepted

BOARD = {
    "played": ["one"],
    "kinds": {
        "handling": {
            "events": 30, "found": 30, "false": 0, "seasons": 5.0,
            "measures": {"kg": {"near": [30, 30]}},
        },
        "swarm": {"events": 0, "found": 0, "false": 2, "seasons": 5.0, "told_near": [9, 9]},
    },
    "outlook": {"7": {"near": [20, 40], "held": [32, 40]}},
}  # fmt: skip


def changed(*path, to):
    board = copy.deepcopy(BOARD)
    part = board
    for key in path[:-1]:
        part = part[key]
    part[path[-1]] = to
    return board


def test_the_same_board_is_not_worse():
    assert accepted.worse(BOARD, BOARD) == []


def test_less_recall_than_the_sampling_error_allows_is_worse():
    assert accepted.worse(changed("kinds", "handling", "found", to=29), BOARD) == []
    fallen = accepted.worse(changed("kinds", "handling", "found", to=26), BOARD)
    assert fallen == ["handling: found 26 of 30, accepted 30 of 30"]


def test_more_false_alarms_are_worse():
    fallen = accepted.worse(changed("kinds", "swarm", "false", to=9), BOARD)
    assert fallen == ["swarm: 9 false in 5.0 seasons, accepted 2 in 5.0"]


def test_measures_and_delays_are_held_too():
    less = changed("kinds", "handling", "measures", "kg", "near", to=[20, 30])
    late = changed("kinds", "swarm", "told_near", to=[2, 9])
    assert accepted.worse(less, BOARD) == ["handling: kg near enough 20 of 30, accepted 30 of 30"]
    assert accepted.worse(late, BOARD) == ["swarm: told in time 2 of 9, accepted 9 of 9"]


def test_outlooks_are_held_and_may_not_vanish():
    assert accepted.worse(changed("outlook", "7", "held", to=[15, 40]), BOARD)
    assert accepted.worse(changed("outlook", to={}), BOARD) == ["outlook: no longer scored"]


def test_a_kind_may_not_vanish():
    gone = changed("kinds", to={"handling": BOARD["kinds"]["handling"]})
    assert accepted.worse(gone, BOARD) == ["swarm: no longer scored"]


def test_events_may_not_run_out():
    none = changed("kinds", "handling", "events", to=0)
    assert "handling: happens no more, accepted 30 events" in accepted.worse(none, BOARD)


def test_a_better_board_passes():
    assert accepted.worse(changed("kinds", "swarm", "false", to=0), BOARD) == []


def test_what_is_accepted_is_read_back(tmp_path):
    accepted.write(tmp_path / "score.json", BOARD)
    assert accepted.read(tmp_path / "score.json") == BOARD
