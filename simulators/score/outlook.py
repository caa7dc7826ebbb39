"""How good the outlooks are: adults 7, 14 and 21 days ahead, laying three weeks back.

Every hive is asked as of every third week from its first inspection on. For scale, the same days by
two rules without a model: "as at the last inspection", and "brood emerges, nobody dies".
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from simulators.plans import Floats

if TYPE_CHECKING:
    from simulators.score.play import Program, Season

AHEAD_D = (7, 14, 21)
BACK_D = 21
BARS = {"7": 0.06, "14": 0.09, "21": 0.12, "laying": 0.12}
EGG_D, OPEN_D, CAPPED_D = 3, 6, 12  # common practice, no source
LEAST_ADULTS = 1_000  # own choice: of a dying colony no share says anything
HOUR = time(23, 30)  # the truth's days end at local midnight


@dataclass(frozen=True)
class Look:
    """One number of one outlook, and what came; `low` to `high` is the 80 % interval."""

    season: str
    hive: str
    day: date
    what: str  # days ahead, or laying
    true: float
    as_seen: float
    emerging: float
    said: tuple[float, float, float] | None  # low, median, high


def ask(program: Program, season: Season, every_d: int) -> list[dict[str, Any]]:
    """Ask the program for its outlooks; an empty list if it has no such command."""
    if not every_d or not program.knows("outlook"):
        return []
    found = []
    for hive, day, moment in _moments(season, every_d):
        as_of = datetime.fromtimestamp(moment, tz=ZoneInfo("UTC")).strftime("%Y-%m-%dT%H:%M:%SZ")
        told = program.ask("outlook", hive, "--as-of", as_of, "--format", "json")
        if told is not None:
            found.append({"hive": hive, "day": day.isoformat(), "told": told})
    return found


def _moments(season: Season, every_d: int) -> list[tuple[str, date, float]]:
    """Give hive, day and moment of each question: a written inspection lies before it."""
    first = date.fromisoformat(season.truth["start"])
    found = []
    for hive, yard in season.hives.items():
        seen = [when for when, _ in _written(season, hive)]
        zone = ZoneInfo(season.zones[yard])
        if not seen:
            continue
        day = datetime.fromtimestamp(seen[0], zone).date() + timedelta(days=1)
        day = max(day, first + timedelta(days=BACK_D))
        while day + timedelta(days=AHEAD_D[-1]) < first + timedelta(days=season.truth["days"]):
            found.append((hive, day, datetime.combine(day, HOUR, zone).timestamp()))
            day += timedelta(days=every_d)
    return found


def keep_first_counts(path: Path) -> None:
    """Leave each hive its first inspection with a count, as if nobody had come again."""
    kept: dict[str, dict[str, Any]] = {}
    for one in sorted(json.loads(path.read_text("utf-8")), key=_moment):
        if "adults" in one:
            kept.setdefault(one["hive"], one)
    path.write_text(json.dumps(list(kept.values())), "utf-8")


def _moment(inspection: dict[str, Any]) -> float:
    return datetime.fromisoformat(inspection["at"]).timestamp()


def looks(season: Season, every_d: int) -> list[Look]:
    """Hold the outlooks of a season against its truth; without outlooks, the two rules alone."""
    told = {(one["hive"], one["day"]): one["told"] for one in season.outlooks}
    found: list[Look] = []
    for hive, day, moment in _moments(season, every_d) if every_d else []:
        daily = {name: np.array(v, np.float64) for name, v in _daily(season, hive).items()}
        now = (day - date.fromisoformat(season.truth["start"])).days
        seen_s, seen = [one for one in _written(season, hive) if one[0] <= moment][-1]
        age = (moment - seen_s) / 86_400.0
        said = told.get((hive, day.isoformat()))
        if daily["adults"][now] < LEAST_ADULTS:
            continue
        for ahead in AHEAD_D:
            true = float(daily["adults"][now + ahead])
            if true >= LEAST_ADULTS:
                rules = float(seen["adults"]), emerging(seen, age + ahead)
                part = _row(said, "adults", ahead)
                found.append(Look(season.label, hive, day, str(ahead), true, *rules, part))
        laid = float(daily["laid"][now - BACK_D + 1 : now + 1].mean())
        if laid > 0:
            rules = (float(seen["brood"]["eggs"]) / EGG_D,) * 2
            found.append(Look(season.label, hive, day, "laying", laid, *rules, _laying(said)))
    return found


def emerging(seen: dict[str, Any], days: float) -> float:
    """Give the adults if every cell emerges at its time, laying goes on, and nobody dies."""
    brood = seen["brood"]
    out = brood["capped"] * min(days / CAPPED_D, 1.0)
    out += brood["open"] * float(np.clip((days - CAPPED_D) / OPEN_D, 0, 1))
    out += brood["eggs"] / EGG_D * max(days - CAPPED_D - OPEN_D, 0.0)
    return float(seen["adults"] + out)


def _daily(season: Season, hive: str) -> dict[str, list[float]]:
    return dict(season.truth["hives"][hive]["daily"])


def _written(season: Season, hive: str) -> list[tuple[float, dict[str, Any]]]:
    """Give a hive's counts in the order of the visits, each with its moment."""
    found = [
        (datetime.fromisoformat(one["at"]).timestamp(), one)
        for one in season.inspections
        if one["hive"] == hive and "adults" in one
    ]
    return sorted(found, key=lambda one: one[0])


def _row(said: dict[str, Any] | None, name: str, day: int) -> tuple[float, float, float] | None:
    for one in (said or {}).get(name, []):
        if one["day"] == day:
            return float(one["low"]), float(one["median"]), float(one["high"])
    return None


def _laying(said: dict[str, Any] | None) -> tuple[float, float, float] | None:
    """Give what was said of the mean laying of the last three weeks; its interval is too wide."""
    past = [one for one in (said or {}).get("laying", []) if -BACK_D <= one["day"] < 0]
    if not past:
        return None
    means = [float(np.mean([one[key] for one in past])) for key in ("low", "median", "high")]
    return means[0], means[1], means[2]


@dataclass(frozen=True)
class Figures:
    """What the board shows of one horizon."""

    what: str
    n: int
    as_seen: float  # median errors, as shares
    emerging: float
    said_n: int = 0
    said: float = 0.0
    near: int = 0
    held: int = 0


def figures(found: Iterable[Look]) -> list[Figures]:
    """Sum the outlooks up by horizon."""
    by_what: dict[str, list[Look]] = {}
    for look in found:
        by_what.setdefault(look.what, []).append(look)
    return [_figures(what, mine) for what, mine in by_what.items()]


def _figures(what: str, found: list[Look]) -> Figures:
    true = np.array([look.true for look in found])
    as_seen = np.array([look.as_seen for look in found])
    rule = np.array([look.emerging for look in found])
    told = [(look.true, *look.said) for look in found if look.said is not None]
    base = Figures(what, len(found), _off(as_seen, true), _off(rule, true))
    if not told:
        return base
    came, low, middle, high = np.array(told).T
    off = np.abs(middle / came - 1)
    near, held = int((off <= BARS[what]).sum()), int(((low <= came) & (came <= high)).sum())
    return Figures(
        what, base.n, base.as_seen, base.emerging, len(told), float(np.median(off)), near, held
    )


def _off(said: Floats, true: Floats) -> float:
    return float(np.median(np.abs(said / true - 1)))


def as_json(rows: Iterable[Figures]) -> dict[str, Any]:
    """Give the counts that are held against an accepted board; nothing where nothing was said."""
    return {
        row.what: {
            "near": [row.near, row.said_n],
            "held": [row.held, row.said_n],
            "median_error": round(row.said, 4),
        }
        for row in rows
        if row.said_n
    }
