"""Plays a scenario through the real program, across a process: files in, findings out."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import time
import tomllib
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from simulators.plans import ScenarioError
from simulators.score import outlook
from simulators.score.recorded import Heard, hear, leave_out

YEAR = 2024  # own choice: the same season whenever the board is run
PATIENCE_S = 1_800.0
REFUSED = 2  # the exit status of a usage or input error
MOVED_S = 86_400.0  # own choice: a finding that starts this near was moved, not taken back

Finding = dict[str, Any]


class ProgramError(Exception):
    """The program did not do what it was asked; the text says what it answered."""


class RefusalError(ProgramError):
    """The program says that it cannot answer, and why."""


@dataclass(frozen=True)
class Order:
    """What to play."""

    scenario: str
    seed: int | None = None
    days: int | None = None
    every_min: float | None = None  # between readings
    without: tuple[str, ...] = ()  # groups of quantities left out: weight, nest, traffic
    outlook_days: int = 0  # an outlook for each hive every so many days
    first_count: bool = False  # each hive's first counted inspection, and none after it
    replay_days: int = 0  # the findings again as of every so many days

    @property
    def label(self) -> str:
        """Name the season in lists."""
        words = [Path(self.scenario).stem]
        words += [f"seed {self.seed}"] if self.seed is not None else []
        words += [f"{self.days} d"] if self.days is not None else []
        words += [f"every {self.every_min:g} min"] if self.every_min is not None else []
        words += [f"without {name}" for name in self.without]
        words += ["first count only"] if self.first_count else []
        return ", ".join(words)


@dataclass(frozen=True)
class Season:
    """A season as it was played, and what the program said of it."""

    label: str
    truth: dict[str, Any]
    apiary: dict[str, Any]
    findings: list[Finding]
    heard: Heard
    inspections: list[dict[str, Any]] = field(default_factory=list)
    took_s: dict[str, float] = field(default_factory=dict)
    told_once: list[Finding] = field(default_factory=list)  # told at some moment, and no more
    outlooks: list[dict[str, Any]] = field(default_factory=list)
    outlook_days: int = 0
    same: dict[str, int] = field(default_factory=dict)  # live: against the same season imported

    @property
    def start_s(self) -> float:
        """Give the season's first moment."""
        return seconds(f"{self.truth['start']}T00:00:00Z")

    @property
    def end_s(self) -> float:
        """Give the moment after which nothing was recorded."""
        return self.heard.last_s

    @property
    def hives(self) -> dict[str, str]:
        """Give the yard of each hive."""
        return {hive["id"]: hive["yard"] for hive in self.apiary["hive"]}

    @property
    def zones(self) -> dict[str, str]:
        """Give the time zone of each yard."""
        return {yard["id"]: yard["timezone"] for yard in self.apiary["yard"]}


class Program:
    """The real program, with a folder of its own."""

    def __init__(self, folder: Path) -> None:
        """Make the folder and the settings; nothing is started."""
        self.folder = folder
        self.took_s: dict[str, float] = {}
        folder.mkdir(parents=True, exist_ok=True)
        self.config = folder / "hivewatch.toml"
        self.config.write_text('[store]\npath = "store.db"\n', encoding="utf-8")

    def do(self, *words: str) -> str:
        """Run one command to its end; gives what it printed."""
        began = time.monotonic()
        command = [*program(), *words, "--config", str(self.config)]
        done = subprocess.run(  # noqa: S603 - our own program
            command, capture_output=True, text=True, timeout=PATIENCE_S, check=False
        )
        name = " ".join(word for word in words[:2] if word.isalpha())
        self.took_s[name] = self.took_s.get(name, 0.0) + time.monotonic() - began
        if done.returncode:
            said = (done.stderr.strip() or done.stdout.strip()).splitlines()[-1:]
            fault = RefusalError if done.returncode == REFUSED else ProgramError
            raise fault(f"hivewatch {' '.join(words)}: {' '.join(said)}")
        return done.stdout

    def ask(self, *words: str) -> dict[str, Any] | None:
        """Ask for one JSON object; None where it refuses (status 2)."""
        try:
            return dict(json.loads(self.do(*words)))
        except RefusalError:
            return None

    def knows(self, command: str) -> bool:
        """Say whether it has a command."""
        words = [*program(), command, "--help"]
        done = subprocess.run(  # noqa: S603 - our own program
            words, capture_output=True, timeout=PATIENCE_S, check=False
        )
        return done.returncode == 0

    def load(self, apiary: Path, readings: Path, inspections: Path | None) -> None:
        """Give it an apiary, its readings and what the keeper wrote down."""
        self.do("apiary", "load", str(apiary))
        self.do("import", str(readings))
        if inspections is not None and inspections.stat().st_size > 2:
            self.do("inspections", "load", str(inspections))

    def findings(self, *words: str) -> list[Finding]:
        """Ask what it finds in the stored history."""
        found = json.loads(self.do("findings", "--format", "json", *words))
        return [dict(one) for one in found]


def program() -> list[str]:
    """Name the command: beside this Python, else on the path."""
    beside = Path(sys.executable).parent / "hivewatch"
    found = str(beside) if beside.exists() else shutil.which("hivewatch")
    if not found:
        raise ProgramError("hivewatch: no such command here; pip install the project first")
    return [found]


def seconds(written: str) -> float:
    """Read an RFC 3339 time."""
    return datetime.fromisoformat(written).timestamp()


def written(time_s: float) -> str:
    """Write a time as RFC 3339, in UTC."""
    return datetime.fromtimestamp(round(time_s), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def play(order: Order, folder: Path) -> Season:
    """Write a season, import it, and read the findings; `folder` may be thrown away after."""
    return ask(order, folder, prepare(order, folder))


def prepare(order: Order, folder: Path) -> Season:
    """Write a season and let the program import it; nothing is asked yet."""
    began = time.monotonic()
    write(order, folder)
    took = {"write": time.monotonic() - began}
    readings = folder / "readings.csv"
    if order.without:
        leave_out(readings, order.without)
    if order.first_count:
        outlook.keep_first_counts(folder / "inspections.json")
    given = _program(folder)
    given.load(folder / "apiary.toml", readings, folder / "inspections.json")
    return read_back(order, folder, took | given.took_s)


def ask(order: Order, folder: Path, season: Season) -> Season:
    """Ask what the program says of a prepared season, and give the season with it.

    All is asked as of the last reading. Inspections count as written down at the visit: a file
    says no more. With `order.replay_days` the findings are asked for again as of every so many
    days: what was told then and is told no more is kept in `told_once`.
    """
    asked = _program(folder)
    found = asked.findings("--as-of", written(season.end_s))
    season = replace(season, findings=found, outlook_days=order.outlook_days)
    if order.replay_days:
        season = replace(season, told_once=_told_once(asked, season, order.replay_days))
    told = outlook.ask(asked, season, order.outlook_days)
    took_s = {name: round(took, 2) for name, took in asked.took_s.items()}
    return replace(season, outlooks=told, took_s=season.took_s | took_s)


def _program(folder: Path) -> Program:
    return Program(folder / "program")


def write(order: Order, folder: Path) -> Path:
    """Let the simulators write a season into a folder; gives the scenario's own file."""
    text, name = scenario_text(order.scenario)
    start = tomllib.loads(text)["start"]
    if order.days is not None:
        text = re.sub(r"(?m)^days *=.*$", f"days = {order.days}", text, count=1)
    if order.every_min is not None:
        text = _every(text, order.every_min)
    folder.mkdir(parents=True, exist_ok=True)
    plan = folder / f"{name}.toml"
    plan.write_text(text, encoding="utf-8")
    words = ["write", str(plan), "--out", str(folder), "--from", f"{YEAR}-{start}"]
    if order.seed is not None:
        words += ["--seed", str(order.seed)]
    done = subprocess.run(  # noqa: S603 - ourselves
        [sys.executable, "-m", "simulators", *words],
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    if done.returncode:
        raise ScenarioError(f"{order.label}: {done.stderr.strip()}")
    return plan


def _every(text: str, minutes: float) -> str:
    """Let the devices of a scenario measure at another interval."""
    line = f"every_min = {minutes:g}"
    if "sensors" not in tomllib.loads(text):
        return f"{text}\n[sensors]\n{line}\n"
    bare = re.sub(r"(?m)^every_min *=.*\n", "", text)
    return re.sub(r"(?m)^\[sensors\]\s*$", f"[sensors]\n{line}", bare, count=1)


def scenario_start(order: Order) -> str:
    """Give the month-day on which a scenario begins."""
    return str(tomllib.loads(scenario_text(order.scenario)[0])["start"])


def scenario_text(scenario: str) -> tuple[str, str]:
    """Give the text and the name of a scenario, from a file or from the library."""
    path = Path(scenario)
    if path.suffix == ".toml":
        return path.read_text(encoding="utf-8"), path.stem
    found = resources.files("simulators") / "scenarios" / f"{scenario}.toml"
    if not found.is_file():
        raise ScenarioError(f"{scenario}: no such scenario; python -m simulators list")
    return found.read_text(encoding="utf-8"), scenario


def read_back(order: Order, folder: Path, took_s: dict[str, float]) -> Season:
    """Read what was written; what the program says of it is still to come."""
    apiary = tomllib.loads((folder / "apiary.toml").read_text(encoding="utf-8"))
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    inspections = json.loads((folder / "inspections.json").read_text(encoding="utf-8"))
    return Season(
        label=order.label,
        outlook_days=order.outlook_days,
        truth=truth,
        apiary=apiary,
        findings=[],
        heard=hear(folder / "readings.csv", apiary),
        inspections=inspections,
        took_s={name: round(took, 2) for name, took in took_s.items()},
    )


def _told_once(asked: Program, season: Season, every_days: int) -> list[Finding]:
    """Ask as of one day after the other; give what was told then and is not told at the end."""
    starts: dict[tuple[str, str], list[float]] = defaultdict(list)
    for one in season.findings:
        starts[one["kind"], one["subject"]].append(seconds(one["start"]))
    gone: dict[tuple[str, str, str], Finding] = {}
    first = datetime.fromtimestamp(season.start_s, UTC)
    moments = range(every_days, int(season.truth["days"]) + 1, every_days)
    for day in moments:
        then = (first + timedelta(days=day)).timestamp()
        for one in asked.findings("--as-of", written(then)):
            begun = np.array(starts[one["kind"], one["subject"]], np.float64)
            near_s = np.abs(begun - seconds(one["start"]))
            if not (near_s < MOVED_S).any():
                gone.setdefault((one["kind"], one["subject"], one["start"]), one)
    return list(gone.values())


def orders(scenarios: Sequence[str], seeds: int, like: Order) -> list[Order]:
    """Give every scenario with its own seed and so many others."""
    found = []
    for name in scenarios:
        found.append(replace(like, scenario=name))
        found += [replace(like, scenario=name, seed=1_000 + n) for n in range(1, seeds)]
    return found
