"""The simulators' README says every key there is, and its example can be played."""

from __future__ import annotations

import re
from dataclasses import fields
from datetime import date
from importlib import resources
from pathlib import Path

import pytest

from simulators import faults, plans, scenario, season, spells, weather

README = (resources.files("simulators") / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "kind", [plans.Keeper, plans.Sensors, plans.Bloom, plans.Spell, plans.HivePlan]
)
def test_every_key_is_named(kind: type) -> None:
    text = README.split("```toml")[1].split("```")[0]
    unsaid = {"sensors", "happenings"}
    for field in fields(kind):
        if field.name not in unsaid:
            assert re.search(rf"^\s*{field.name} = ", text, re.MULTILINE), field.name


def test_every_happening_climate_and_year_is_named() -> None:
    for word in (*faults.FAULTS, "moved", *spells.SPELLS):
        assert f"`{word}`" in README.replace("\n", " "), word
    for word in (*weather.CLIMATES, *weather.YEARS):
        assert word in README


def test_the_example_can_be_played(tmp_path: Path) -> None:
    path = tmp_path / "example.toml"
    path.write_text(README.split("```toml")[1].split("```")[0], encoding="utf-8")
    told = scenario.load(str(path), date(2026, 11, 25))
    hives = list(season.play(told))
    assert len(hives) == 3
    assert [e["kind"] for e in hives[0].life.events].count("swarm") >= 1
