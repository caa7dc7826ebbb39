"""Scores a real recording with labelled days: what was found of them, what else was said.

The labels name days, hives (or all of a yard) and what people noted. A label's day is the site's
local day; a finding belongs to the local day of its start. What a label should bring is in
`EXPECTED`; of the rest it is shown what was said, and nothing is held against it.
"""

from __future__ import annotations

import argparse
import csv
import re
import tempfile
import tomllib
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from simulators.plans import ScenarioError
from simulators.score import table
from simulators.score.kinds import SEASON_D
from simulators.score.play import Finding, Program, seconds
from simulators.score.recorded import NOTHING, Heard, hear
from simulators.score.sampling import garwood, wilson

EXPECTED = {  # label, in small letters: kinds of which at least one must be told that day
    "feeding": ("handling",),
    "evaluation": ("handling",),
    "inspection": ("handling",),
    "swarm": ("swarm",),
    "rain": (),  # named, or left alone
}
QUIET_ON = {"rain": ("handling", "nectar_flow", "swarm", "robbing")}
LEAST_HOURS = 12  # own choice: a day with fewer hours measured may miss what happened
HEAD = ("label", "hive-days", "found", "share, 95 %", "wrongly said", "what was said", "kg")
REST_HEAD = ("finding", "said", "on labelled days", "on other days", "a hive-season, 95 %")


@dataclass(frozen=True)
class Label:
    """What people noted of one day."""

    day: date
    hives: tuple[str, ...]
    what: str


@dataclass
class LabelFigures:
    """What became of one kind of label."""

    what: str
    hive_days: int = 0
    found: int = 0
    wrong: int = 0
    unmeasured: int = 0
    said: Counter[str] = field(default_factory=Counter)
    kg: list[float] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Scored:
    """A recording against its labels."""

    labels: list[LabelFigures]
    said: Counter[str]
    on_labelled: Counter[str]
    hive_seasons: float

    def tables(self) -> list[tuple[str, table.Cells, list[table.Cells]]]:
        """Give the tables to be printed."""
        rest: list[table.Cells] = []
        for kind, n in self.said.most_common():
            other = n - self.on_labelled[kind]
            low, high = (bound / self.hive_seasons for bound in garwood(other))
            rate = f"{other / self.hive_seasons:.2f} ({low:.2f} to {high:.2f})"
            rest.append((kind, str(n), str(self.on_labelled[kind]), str(other), rate))
        return [
            ("Labelled days", HEAD, [_label_cells(one) for one in self.labels]),
            ("All that was said", REST_HEAD, rest),
        ]


def _label_cells(one: LabelFigures) -> table.Cells:
    expected = EXPECTED.get(one.what.lower())
    found = share = table.NONE
    if expected:
        found = f"{one.found} of {one.hive_days}"
        low, high = wilson(one.found, one.hive_days)
        share = f"{100 * one.found / max(one.hive_days, 1):.0f} %"
        share += f" ({100 * low:.0f} to {100 * high:.0f})"
    said = ", ".join(f"{kind} {n}" for kind, n in one.said.most_common()) or "nothing"
    kg = sorted(one.kg)
    sizes = f"{kg[0]:.1f} to {kg[-1]:.1f}, median {kg[len(kg) // 2]:.1f}" if kg else table.NONE
    return (one.what, str(one.hive_days), found, share, str(one.wrong), said, sizes)


def run(told: argparse.Namespace) -> int:
    """Play a recording through the program and print how its labelled days fared."""
    if told.labels is None or told.apiary is None:
        raise ScenarioError("--recording: say --labels FILE and --apiary FILE, too")
    apiary = tomllib.loads(told.apiary.read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory(prefix="hivewatch-score-") as folder:
        asked = Program(Path(folder))
        asked.load(told.apiary, told.recording, told.inspections)
        findings = asked.findings()
    heard = hear(told.recording, apiary)
    labels = read_labels(told.labels, [str(hive["id"]) for hive in apiary["hive"]])
    scored = score(findings, labels, apiary, heard)
    write = table.markdown if told.markdown else table.text
    for name, head, rows in scored.tables():
        print(f"{name}\n\n{write(head, rows)}\n")
    for finding in findings:
        if finding["kind"] in (told.never or ()) and _is_told(finding, heard):
            print("# never happened:", finding["kind"], finding["subject"], finding["start"])
    for one in scored.labels:
        for line in one.missed:
            print(f"# missed: {line}")
    print(f"# {scored.hive_seasons:.1f} hive-seasons of {SEASON_D:.0f} days measured")
    return 0


def read_labels(path: Path, hives: list[str]) -> list[Label]:
    """Read labelled days: Date (d/m/Y or Y-m-d), Hives (all, or one), Comment."""
    found = []
    with path.open(encoding="utf-8-sig", newline="") as file:
        for number, row in enumerate(csv.DictReader(file), 2):
            try:
                day = _day(row["Date"].strip())
                named = _named(row["Hives"].strip(), hives)
            except (KeyError, ValueError) as wrong:
                raise ScenarioError(f"{path.name}: line {number}: {wrong}") from wrong
            found.append(Label(day, named, row["Comment"].strip()))
    return found


def _day(text: str) -> date:
    if re.fullmatch(r"\d{1,2}/\d{1,2}/\d{4}", text):
        day, month, year = (int(part) for part in text.split("/"))
        return date(year, month, day)
    return date.fromisoformat(text)


def _named(text: str, hives: list[str]) -> tuple[str, ...]:
    """Find the hives a label means: all, an id, the one id with its number; none of another."""
    if text.lower() == "all":
        return tuple(hives)
    if text in hives:
        return (text,)
    number = re.search(r"\d+$", text)
    same = [one for one in hives if number and re.search(rf"(?<!\d){number.group()}$", one)]
    return (same[0],) if len(same) == 1 else ()


def score(
    findings: Iterable[Finding], labels: list[Label], apiary: dict[str, Any], heard: Heard
) -> Scored:
    """Hold findings against labelled days; what was told after the recording's end is left out."""
    zones = {yard["id"]: ZoneInfo(yard["timezone"]) for yard in apiary["yard"]}
    zone_of = {hive["id"]: zones[hive["yard"]] for hive in apiary["hive"]}
    stands = {device["id"]: device["hive"] for device in apiary["device"]}
    said: dict[tuple[str, date], list[Finding]] = defaultdict(list)
    for one in findings:
        if not _is_told(one, heard):
            continue
        for hive in _hives_of(one, apiary, stands):
            day = datetime.fromtimestamp(seconds(one["start"]), zone_of[hive]).date()
            said[hive, day].append(one)
    by_label: dict[str, LabelFigures] = {}
    labelled: set[tuple[str, date]] = set()
    for label in labels:
        row = by_label.setdefault(label.what, LabelFigures(label.what))
        if not label.hives:
            row.missed.append(f"{label.what} {label.day.isoformat()}: of a hive not recorded here")
        for hive in label.hives:
            if not _is_measured(heard, hive, label.day, zone_of[hive]):
                row.unmeasured += 1
                continue
            labelled.add((hive, label.day))
            _judge(row, hive, label.day, said.get((hive, label.day), []))
    whole = _by_kind(one for some in said.values() for one in some)
    on = _by_kind(one for key in labelled for one in said.get(key, []))
    return Scored(list(by_label.values()), whole, on, _hive_seasons(heard, zone_of))


def _is_told(one: Finding, heard: Heard) -> bool:
    """Say whether a finding stands, and was told while the recording went on."""
    return one["status"] != "withdrawn" and seconds(one["detected_at"]) <= heard.last_s


def _by_kind(findings: Iterable[Finding]) -> Counter[str]:
    """Count findings by kind, each once: one of a yard stands with all its hives."""
    return Counter({one["id"]: one["kind"] for one in findings}.values())


def _hives_of(one: Finding, apiary: dict[str, Any], stands: dict[str, str]) -> list[str]:
    """Name the hives a finding speaks of."""
    what, _, name = str(one["subject"]).partition(":")
    if what == "hive":
        return [name]
    if what == "device":
        return [stands[name]] if name in stands else []
    return [hive["id"] for hive in apiary["hive"] if hive["yard"] == name]


def _judge(row: LabelFigures, hive: str, day: date, said: list[Finding]) -> None:
    """Count one hive on one labelled day."""
    what = row.what.lower()
    kinds = {one["kind"] for one in said}
    row.hive_days += 1
    row.said.update(kinds)
    row.wrong += bool(kinds & set(QUIET_ON.get(what, ())))
    expected = EXPECTED.get(what, ())
    if kinds & set(expected):
        row.found += 1
        sizes = [
            one["measures"]["kg"]
            for one in said
            if one["kind"] in expected and one["measures"].get("kg") is not None
        ]
        row.kg += [max(sizes, key=abs)] if sizes else []
    elif expected:
        row.missed.append(f"{row.what} {day.isoformat()} {hive}")


def _is_measured(heard: Heard, hive: str, day: date, zone: ZoneInfo) -> bool:
    """Say whether enough hours of a local day were measured to see what happened on it."""
    midnight = datetime.combine(day, datetime.min.time(), zone)
    hours = {
        int(when - midnight.timestamp()) // 3_600
        for (name, _), times in heard.hives.items()
        if name == hive
        for when in times[
            (times >= midnight.timestamp()) & (times < (midnight + timedelta(days=1)).timestamp())
        ]
    }
    return len(hours) >= LEAST_HOURS


def _hive_seasons(heard: Heard, zones: dict[str, ZoneInfo]) -> float:
    """Count the days on which a hive was heard."""
    days = 0
    for hive in zones:
        parts = [times // 86_400 for (name, _), times in heard.hives.items() if name == hive]
        days += len({int(day) for part in [*parts, NOTHING] for day in part})
    return max(days, 1) / SEASON_D
