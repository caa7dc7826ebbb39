"""Reads a scenario: a season as a beekeeper would write it down, in TOML."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from datetime import date, timedelta
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

import numpy as np

from simulators.plans import (
    Bloom,
    Happening,
    HivePlan,
    Keeper,
    Scenario,
    ScenarioError,
    Sensors,
    Spell,
    YardPlan,
    in_year,
    rng,
)
from simulators.weather import CLIMATES, YEARS

T = TypeVar("T")


def names() -> list[str]:
    """List the scenarios that come with the package."""
    folder = resources.files("simulators") / "scenarios"
    return sorted(
        e.name.removesuffix(".toml") for e in folder.iterdir() if e.name.endswith(".toml")
    )


def load(name: str, today: date, seed: int | None = None, start: date | None = None) -> Scenario:
    """Read a scenario by its name or from a file, placed in the latest complete season."""
    path = Path(name)
    if path.suffix == ".toml":
        if not path.is_file():
            raise ScenarioError(f"{name}: no such file")
        text = path.read_text(encoding="utf-8")
    elif name in names():
        text = (resources.files("simulators") / "scenarios" / f"{name}.toml").read_text("utf-8")
    else:
        raise ScenarioError(f"{name}: no such scenario; known are {', '.join(names())}")
    try:
        return build(path.stem, tomllib.loads(text), today, seed, start)
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as wrong:
        raise ScenarioError(f"{name}: {type(wrong).__name__}: {wrong}") from wrong


def build(
    name: str, told: dict[str, Any], today: date, seed: int | None, start: date | None
) -> Scenario:
    """Make a scenario from what the TOML file says."""
    days = int(told["days"])
    if start is None:
        start = in_year(str(told["start"]), today.year)
        while start + timedelta(days=days) > today:
            start = start.replace(year=start.year - 1)
    chosen = int(told["seed"]) if seed is None else seed
    sensors = _record(Sensors, told.get("sensors", {}))
    return Scenario(
        name=name,
        title=str(told["title"]),
        seed=chosen,
        start=start,
        days=days,
        keeper=_record(Keeper, told.get("keeper", {})),
        yards=tuple(_yard(yard, told, sensors, chosen) for yard in told["yard"]),
    )


def _record(kind: type[T], told: dict[str, Any]) -> T:
    known = {f.name for f in fields(kind)}  # type: ignore[arg-type]
    for key in told:
        if key not in known:
            raise ValueError(
                f"[{kind.__name__.lower()}] {key}: not known; known are {sorted(known)}"
            )
    return kind(**told)


def _yard(told: dict[str, Any], whole: dict[str, Any], sensors: Sensors, seed: int) -> YardPlan:
    blooms = told.get("bloom", whole.get("bloom", []))
    climate = str(told.get("climate", whole.get("climate", "oceanic")))
    year = str(told.get("year", whole.get("year", "ordinary")))
    for word, known in ((climate, CLIMATES), (year, YEARS)):
        if word not in known:
            raise ValueError(f"{word}: not known; known are {', '.join(known)}")
    special = {str(hive["id"]): hive for hive in told.get("hive", [])}
    ids = [f"{told['id']}-{n + 1}" for n in range(int(told.get("hives", 0)))]
    ids += [name for name in special if name not in ids]
    return YardPlan(
        id=str(told["id"]),
        name=str(told["name"]),
        latitude=float(told["latitude"]),
        longitude=float(told["longitude"]),
        timezone=ZoneInfo(str(told["timezone"])).key,
        climate=climate,
        year=year,
        blooms=tuple(_record(Bloom, bloom) for bloom in blooms),
        spells=tuple(_record(Spell, spell) for spell in whole.get("weather", [])),
        hives=tuple(
            _hive(name, {**whole.get("hives", {}), **special.get(name, {})}, sensors, seed)
            for name in ids
        ),
    )


def _hive(name: str, told: dict[str, Any], sensors: Sensors, seed: int) -> HivePlan:
    chance = rng(seed, "hive", name)
    bees, stores, years, best = (
        float(chance.normal(11_000, 1_800)),
        float(chance.normal(13, 2.5)),
        float(chance.choice([0.8, 1.8, 2.8], p=[0.6, 0.35, 0.05])),
        float(chance.normal(1_850, 150)),
    )
    own = {**{f.name: getattr(sensors, f.name) for f in fields(Sensors)}, **told.get("sensors", {})}
    frames = int(told.get("frames", 10))
    boxes = int(told.get("boxes", 1))
    return HivePlan(
        id=name,
        bees=float(told.get("bees", max(bees, 5_000))),
        stores_kg=float(told.get("stores_kg", max(stores, 5))),
        queen_years=float(told.get("queen_years", years)),
        queen_best=float(told.get("queen_best", np.clip(best, 1_300, 2_200))),
        boxes=boxes,
        frame=str(told.get("frame", "langstroth-deep")),
        frames=frames,
        empty_kg=float(told.get("empty_kg", round(11.5 + 9.8 * boxes + chance.normal(0, 0.4), 1))),
        swarm_urge=float(told.get("swarm_urge", 1.0)),
        supers=int(told.get("supers", 0)),
        shares_scale_with=str(told.get("shares_scale_with", "")),
        flow=float(told.get("flow", np.clip(chance.normal(1.0, 0.15), 0.6, 1.5))),
        loss=float(told.get("loss", 1.0)),
        sensors=_record(Sensors, own),
        happenings=tuple(_record(Happening, event) for event in told.get("happening", [])),
    )
