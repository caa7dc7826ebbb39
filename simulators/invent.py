"""Invents a scenario by chance: country, year, blooms, hives, keeper, devices, what befalls them.

What is drawn are own choices, wide on purpose: a season that nobody chose shows what a watcher does
with one that nobody looked at. The same seed gives the same scenario.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np

from simulators.plans import in_year, rng

YEAR = 2023  # own choice: any year without a leap day, to reckon in month-days
HALF_YEAR_D = 182
PLACES = {  # invented yards somewhere in such a country: latitude, longitude, time zone
    "oceanic": (52.0, -1.5, "Europe/London"),
    "continental": (49.5, 13.0, "Europe/Berlin"),
    "mediterranean": (40.2, -1.0, "Europe/Madrid"),
    "southern": (-37.8, 145.0, "Australia/Melbourne"),
}
BLOOMS = (  # first day and last, what a strong hive brings on a good day, how often it is there
    ("willow and plum", "03-08", "04-15", 0.8, 0.9),
    ("rape and orchard", "04-18", "05-20", 4.0, 0.7),
    ("robinia", "05-20", "06-07", 4.5, 0.4),
    ("clover", "06-01", "07-05", 2.0, 0.5),
    ("lime and bramble", "06-18", "07-14", 3.2, 0.7),
    ("sunflower", "07-05", "08-02", 2.2, 0.3),
    ("heather", "08-05", "09-05", 2.5, 0.3),
    ("ivy", "09-08", "10-20", 0.9, 0.6),
)
EVERY_MIN = (5, 10, 10, 15, 20, 30, 30)


def scenario(seed: int) -> dict[str, Any]:
    """Draw a scenario, in the form of its TOML file."""
    chance = rng(seed, "invent")
    climate = str(chance.choice(list(PLACES)))
    turn_d = HALF_YEAR_D if climate == "southern" else 0
    start = _near(chance, chance.choice(["03-10", "04-01", "04-25", "06-10", "08-01"]), 10)
    days = int(chance.integers(100, 190))
    span = (start, start + timedelta(days=days))
    yards = [_yard(chance, climate, n, span, turn_d) for n in range(int(chance.integers(1, 3)))]
    told: dict[str, Any] = {
        "title": f"A season drawn by chance, number {seed}",
        "seed": seed,
        "start": _written(start, turn_d),
        "days": days,
        "climate": climate,
        "year": str(chance.choice(["ordinary", "ordinary", "early", "late", "wet", "dry", "hot"])),
        "keeper": _keeper(chance, start, turn_d),
        "sensors": _sensors(chance),
        "bloom": _blooms(chance, turn_d),
        "yard": yards,
    }
    if chance.random() < 0.4:
        told["weather"] = [_spell(chance, span, turn_d)]
    return told


def _keeper(chance: np.random.Generator, start: date, turn_d: int) -> dict[str, Any]:
    return {
        "first_visit": _written(start + timedelta(days=int(chance.integers(1, 20))), turn_d),
        "last_visit": _written(_near(chance, "10-05", 10), turn_d),
        "visit_every_days": int(chance.integers(7, 26)),
        "notes": round(float(chance.uniform(0.5, 1.0)), 2),
        "late_notes": round(float(chance.uniform(0.0, 0.4)), 2),
        "count_error": round(float(chance.uniform(0.07, 0.25)), 2),
        "foundation": round(float(chance.uniform(0.0, 0.6)), 2),
        "harvest": _written(_near(chance, "07-25", 15), turn_d),
        "feeds": bool(chance.random() < 0.8),
        "treats": _written(_near(chance, "08-08", 8), turn_d),
        "winter_stores_kg": int(chance.integers(10, 20)),
        "cuts_cells": round(float(chance.choice([0.0, 0.0, 0.6])), 2),
    }


def _sensors(chance: np.random.Generator) -> dict[str, Any]:
    return {
        "every_min": int(chance.choice(EVERY_MIN)),
        "scale_noise_kg": round(float(0.008 * chance.lognormal(0, 0.6)), 4),
        "scale_step_kg": float(chance.choice([0.005, 0.01, 0.01, 0.05])),
        "scale_drift_g_per_k": round(float(chance.normal(0, 3)), 2),
        "scale_creep_g": int(chance.integers(0, 60)),
        "nest_noise_k": round(float(0.03 * chance.lognormal(0, 0.5)), 3),
        "counter_bias": round(float(chance.normal(0, 0.06)), 3),
        "spikes_a_month": round(float(chance.exponential(0.3)), 2),
        "ambient": bool(chance.random() < 0.8),
    }


def _blooms(chance: np.random.Generator, turn_d: int) -> list[dict[str, Any]]:
    shift_d = int(chance.integers(-12, 13))
    found = []
    for what, first, last, nectar_kg, often in BLOOMS:
        if chance.random() > often:
            continue
        begin = _near(chance, first, 5) + timedelta(days=shift_d)
        found.append(
            {
                "what": what,
                "start": _written(begin, turn_d),
                "end": _written(_near(chance, last, 6) + timedelta(days=shift_d), turn_d),
                "nectar_kg": round(float(nectar_kg * chance.lognormal(0, 0.35)), 2),
                "sugar": round(float(chance.uniform(0.28, 0.5)), 2),
                "pollen": round(float(chance.uniform(0.2, 1.0)), 2),
            }
        )
    weeds_kg = round(float(chance.uniform(0.05, 0.8)), 2)
    ends = {"start": _written(_near(chance, "05-05", 10), turn_d)}
    ends["end"] = _written(_near(chance, "09-12", 10), turn_d)
    return [*found, {"what": "hedge and weeds", **ends, "nectar_kg": weeds_kg, "pollen": 0.7}]


def _spell(chance: np.random.Generator, span: tuple[date, date], turn_d: int) -> dict[str, Any]:
    begin = _within(chance, span, 10)
    return {
        "what": str(chance.choice(["rain", "heat", "cold"])),
        "start": _written(begin, turn_d),
        "end": _written(begin + timedelta(days=int(chance.integers(4, 14))), turn_d),
        "kelvin": round(float(chance.uniform(4, 9)), 1),
    }


def _yard(
    chance: np.random.Generator, climate: str, number: int, span: tuple[date, date], turn_d: int
) -> dict[str, Any]:
    latitude, longitude, zone = PLACES[climate]
    name = f"lot-{number + 1}"
    hives = [
        _hive(chance, f"{name}-{n + 1}", span, turn_d) for n in range(int(chance.integers(2, 6)))
    ]
    return {
        "id": name,
        "name": f"Lot {number + 1}",
        "latitude": round(float(latitude + chance.normal(0, 1.0)), 2),
        "longitude": round(float(longitude + chance.normal(0, 1.0)), 2),
        "timezone": zone,
        "hive": hives,
    }


def _hive(
    chance: np.random.Generator, name: str, span: tuple[date, date], turn_d: int
) -> dict[str, Any]:
    is_spring = span[0] < in_year("05-10", YEAR)
    told: dict[str, Any] = {
        "id": name,
        "bees": int(chance.normal(12_000, 3_000) if is_spring else chance.normal(30_000, 6_000)),
        "stores_kg": round(float(chance.uniform(6, 18)), 1),
        "queen_best": int(chance.normal(1_800, 250)),
        "boxes": int(chance.choice([1, 1, 1, 2])),
        "swarm_urge": round(float(chance.choice([0.0, 0.5, 1.0, 1.5])), 1),
        "flow": round(float(chance.lognormal(0, 0.2)), 2),
    }
    told["bees"] = max(told["bees"], 5_000)
    own: dict[str, Any] = {}
    if chance.random() < 0.15:
        own["counter"] = False
    if chance.random() < 0.1:
        own["probe"] = False
    if chance.random() < 0.2:
        own["probe_place"] = str(chance.choice(["edge", "edge", "lid"]))
    if own:
        told["sensors"] = own
    happening = [
        *_befalls(chance, span, turn_d),
        *_troubles(chance, own, span, turn_d),
    ]
    return told | ({"happening": happening} if happening else {})


def _befalls(
    chance: np.random.Generator, span: tuple[date, date], turn_d: int
) -> list[dict[str, Any]]:
    """Draw what befalls the bees of a hive: mostly nothing, seldom two things."""
    found = []
    for _ in range(int(chance.choice([0, 0, 1, 1, 2]))):
        begin = _within(chance, span, 15)
        what = str(chance.choice(_known(begin)))
        told: dict[str, Any] = {"what": what, "on": _written(begin, turn_d)}
        hour = 13 if what in ("swarm", "absconds", "sprayed") else int(chance.integers(0, 24))
        told["at"] = f"{hour:02}:{int(chance.integers(0, 60)):02}"
        size = {
            "robbing": (1.0, 4.0, 2, 6),
            "silent robbing": (0.2, 0.7, 14, 35),
            "dwindling": (2.0, 3.5, 20, 60),
            "sprayed": (0.25, 0.6, 1, 2),
            "lid off": (1.0, 1.0, 1, 3),
        }.get(what)
        if size is not None:
            low, high, least_d, most_d = size
            told["size"] = round(float(chance.uniform(low, high)), 2)
            lasts_d = int(chance.integers(least_d, most_d + 1))
            told["until"] = _written(begin + timedelta(days=lasts_d), turn_d)
        found.append(told)
    return found


def _known(day: date) -> tuple[str, ...]:
    """Give what can befall a hive in that part of the year."""
    if day.month >= 10:
        return ("queen lost", "toppled", "taken", "absconds", "dwindling")
    if day.month >= 7:
        return (
            *("robbing", "silent robbing", "queen lost", "queen fails"),
            *("toppled", "absconds", "dwindling"),
        )
    if day.month >= 5:
        return (
            *("swarm", "swarm", "queen lost", "queen fails", "mates badly", "supersedure"),
            *("sprayed", "taken", "lid off"),
        )
    return ("queen lost", "queen fails", "toppled", "lid off", "dwindling")


def _troubles(
    chance: np.random.Generator, own: dict[str, Any], span: tuple[date, date], turn_d: int
) -> list[dict[str, Any]]:
    """Draw what troubles the devices of a hive."""
    there = ["scale", *(name for name in ("probe", "counter") if own.get(name, True))]
    found = []
    for _ in range(int(chance.choice([0, 0, 0, 1, 1, 2]))):
        begin = _within(chance, span, 15)
        what = str(chance.choice(["silent", "patchy", "stuck", "low battery", "spikes", "late"]))
        told: dict[str, Any] = {
            "what": what,
            "device": str(chance.choice(there)),
            "on": _written(begin, turn_d),
            "until": _written(begin + timedelta(days=int(chance.integers(2, 15))), turn_d),
        }
        if what == "late":
            told["size"] = round(float(chance.uniform(2, 10)), 1)  # hours
        found.append(told)
    return found


def _near(chance: np.random.Generator, month_day: str, spread_d: float) -> date:
    return in_year(str(month_day), YEAR) + timedelta(days=round(float(chance.normal(0, spread_d))))


def _within(chance: np.random.Generator, span: tuple[date, date], margin_d: int) -> date:
    days = (span[1] - span[0]).days
    return span[0] + timedelta(days=int(chance.integers(margin_d, days - margin_d)))


def _written(day: date, turn_d: int) -> str:
    turned = day + timedelta(days=turn_d)
    return "02-28" if (turned.month, turned.day) == (2, 29) else turned.strftime("%m-%d")


def toml(told: dict[str, Any]) -> str:
    """Write a scenario down as TOML."""
    return "\n".join(_lines(told, "")) + "\n"


def _lines(told: dict[str, Any], path: str) -> list[str]:
    """Write plain keys first, then tables, then lists of tables."""
    lines = [f"{key} = {_value(v)}" for key, v in told.items() if not isinstance(v, dict | list)]
    for key, value in told.items():
        name = f"{path}.{key}" if path else key
        if isinstance(value, dict):
            lines += ["", f"[{name}]", *_lines(value, name)]
        elif isinstance(value, list):
            for one in value:
                lines += ["", f"[[{name}]]", *_lines(one, name)]
    return lines


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else str(value)
