"""Scenarios drawn by chance: the same from the same seed, and all of them can be played."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date

import pytest

from simulators import __main__ as commands
from simulators import invent, scenario, season

TODAY = date(2025, 12, 31)


@pytest.mark.parametrize("seed", range(1, 26))
def test_what_is_drawn_is_a_scenario(seed: int) -> None:
    told = tomllib.loads(invent.toml(invent.scenario(seed)))
    drawn = scenario.build("drawn", told, TODAY, None, None)
    assert told == invent.scenario(seed)
    assert drawn.seed == seed
    assert all(yard.hives for yard in drawn.yards)
    for hive in (hive for yard in drawn.yards for hive in yard.hives):
        days = [drawn.day_of(one.on) for one in hive.happenings]
        assert all(0 < day < drawn.days for day in days)


def test_seeds_differ() -> None:
    assert len({invent.toml(invent.scenario(seed)) for seed in range(50)}) == 50


def test_one_can_be_played() -> None:
    drawn = scenario.build("drawn", invent.scenario(2), TODAY, None, None)
    hives = list(season.play(replace(drawn, days=20, yards=drawn.yards[:1])))
    assert len(hives) == len(drawn.yards[0].hives)


def test_the_command_prints_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert commands.main(["invent", "5"]) == 0
    assert tomllib.loads(capsys.readouterr().out) == invent.scenario(5)
