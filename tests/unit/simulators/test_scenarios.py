"""Scenarios: all of them read, placed in a season, and the same again from the same seed."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from simulators import scenario, season
from simulators.plans import ScenarioError

TODAY = date(2026, 11, 25)

SMALL = """
title = "small"
seed = 1
start = "05-01"
days = 12

[[bloom]]
what = "clover"
start = "04-20"
end = "06-01"
nectar_kg = 3

[[yard]]
id = "croft"
name = "Croft"
latitude = 52
longitude = 0
timezone = "Europe/London"
hives = 2
"""


def written(folder: Path, text: str) -> str:
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_there_are_many_and_each_can_be_read() -> None:
    names = scenario.names()
    assert len(names) >= 20
    titles = {scenario.load(name, TODAY).title for name in names}
    assert len(titles) == len(names)


@pytest.mark.parametrize("name", scenario.names())
def test_each_ends_before_today(name: str) -> None:
    told = scenario.load(name, TODAY)
    assert told.start + timedelta(days=told.days) <= TODAY
    assert told.start + timedelta(days=told.days + 366) > TODAY
    for yard in told.yards:
        for hive in yard.hives:
            for event in hive.happenings:
                assert 0 <= told.day_of(event.on) < told.days, f"{hive.id}: {event}"


def test_a_start_can_be_given(tmp_path: Path) -> None:
    told = scenario.load(written(tmp_path, SMALL), TODAY, start=date(2024, 5, 1))
    assert told.start == date(2024, 5, 1)
    assert told.day_of("05-03") == 2


def test_the_same_seed_makes_the_same_season_and_another_does_not(tmp_path: Path) -> None:
    def weights(seed: int | None) -> np.ndarray:
        told = scenario.load(written(tmp_path, SMALL), TODAY, seed)
        return np.concatenate(
            [
                feed.value
                for hive in season.play(told)
                for feed in hive.watched.feeds
                if feed.quantity == "weight"
            ]
        )

    assert np.array_equal(weights(None), weights(1))
    assert not np.array_equal(weights(1), weights(2))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("nectar_kg = 3", "nectar = 3"), "nectar"),
        (("[[yard]]", "[[yards]]"), "yard"),
        (('start = "05-01"', 'start = "05-41"'), "day"),
        (("hives = 2", 'hives = "two"'), "two"),
        (('title = "small"', "title = small"), "TOML"),
        (('timezone = "Europe/London"', 'timezone = "Europe/Londinium"'), "Londinium"),
    ],
)
def test_a_mistake_is_said_with_the_file_s_name(
    change: tuple[str, str], said: str, tmp_path: Path
) -> None:
    with pytest.raises(ScenarioError, match=said) as wrong:
        scenario.load(written(tmp_path, SMALL.replace(*change)), TODAY)
    assert "own.toml" in str(wrong.value)


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(ScenarioError, match="spring"):
        scenario.load("no-such-season", TODAY)


@pytest.mark.parametrize(
    ("event", "said"),
    [
        ('what = "abducted"', "abducted"),
        ('what = "silent"\ndevice = "camera"', "camera"),
        ('what = "haunted"\ndevice = "scale"', "haunted"),
        ('what = "moved"\ndevice = "probe"\nto = "elsewhere-1"', "same yard"),
        ('what = "moved"\ndevice = "scale"\nto = "croft-2"', "probe or counter"),
    ],
)
def test_an_unknown_happening_is_refused(event: str, said: str, tmp_path: Path) -> None:
    text = SMALL + '\n[[yard.hive]]\nid = "croft-1"\n'
    text += f'[[yard.hive.happening]]\non = "05-04"\n{event}\n'
    told = scenario.load(written(tmp_path, text), TODAY)
    with pytest.raises(ScenarioError, match=said):
        list(season.play(told))
