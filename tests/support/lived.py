"""An invented life of two hives, the order in which it reaches the program, and the live program.

What happens to the hives and to the messages is drawn by hypothesis; see test_live_is_replay.py.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from threading import Event

import numpy as np
from hypothesis import strategies as st

from hivewatch.apiary import read_apiary
from hivewatch.ingest.intake import Intake, Message
from hivewatch.inspections import read_inspections
from hivewatch.settings import Alerts, Settings
from hivewatch.store import apiary, findings, inspections
from hivewatch.store.open import Store
from hivewatch.store.schema import METADATA
from hivewatch.watch import Watcher

START_S = 1_777_593_600  # 2026-05-01T00:00:00Z
HOUR_S, DAY_S = 3600, 86_400
STEP_S = 1200
DAYS = 3
BATCH = 40
APIARY = read_apiary(
    """
[[yard]]
id = "hazel-end"
name = "Hazel End"
latitude = 52.2
longitude = 0.12
timezone = "Europe/London"
[[hive]]
id = "hazel-1"
yard = "hazel-end"
frame = "langstroth-deep"
frames = 10
boxes = 1
[[hive]]
id = "hazel-2"
yard = "hazel-end"
frame = "langstroth-deep"
frames = 10
boxes = 1
[[device]]
id = "scale-1"
hive = "hazel-1"
since = "2026-04-30T00:00:00Z"
[[device]]
id = "probe-1"
hive = "hazel-1"
since = "2026-05-01T06:00:00Z"
[[device]]
id = "probe-1"
hive = "hazel-2"
since = "2026-05-02T18:00:00Z"
""",
    "apiary.toml",
)
LIMITS = Settings(alerts=Alerts(quiet=""))


@dataclass
class HandClock:
    """A clock that stands until it is turned."""

    at_s: int = START_S

    def now_s(self) -> int:
        return self.at_s

    def monotonic_s(self) -> float:
        return float(self.at_s)


@dataclass
class Life:
    """What happens to the hive: how its weight and battery go, when its devices say nothing."""

    seed: int
    falls_h: float | None
    lifted_h: float | None
    battery_low_h: float | None
    mute: list[tuple[float, float]]
    wrong_clock: list[tuple[float, float]]

    def packs(self) -> list[tuple[int, str, bytes]]:
        """Write the packs as the devices do: (moment of sending, device, pack)."""
        packs = []
        rng = np.random.default_rng(self.seed)
        for at_s in range(START_S, START_S + DAYS * DAY_S, STEP_S):
            hour = (at_s - START_S) / HOUR_S
            if any(from_h <= hour < to_h for from_h, to_h in self.mute):
                continue
            weight = 42 + 0.01 * hour + rng.normal(0, 0.02)
            if self.lifted_h is not None and 0 < hour - self.lifted_h <= 0.6:
                weight -= 12
            if self.falls_h is not None and hour > self.falls_h:
                weight = 3 + rng.normal(0, 0.02)
            is_low = self.battery_low_h is not None and hour > self.battery_low_h
            nest = 34.8 + rng.normal(0, 0.1)
            ahead_s = next((h * HOUR_S for t, h in self.wrong_clock if t <= hour < t + 2), 0)
            scale = [
                {"bt": at_s + ahead_s, "n": "weight", "u": "kg", "v": round(weight, 3)},
                {"n": "battery", "u": "V", "v": 3.2 if is_low else 3.9},
                {"n": "ambient", "u": "Cel", "v": round(14 + 9 * np.sin(hour / 24 * 2 * np.pi), 1)},
            ]
            probe = [{"t": at_s + 7, "n": "nest", "u": "Cel", "v": round(nest, 2)}]
            packs.append((at_s, "scale-1", json.dumps(scale).encode()))
            packs.append((at_s + 7, "probe-1", json.dumps(probe).encode()))
        return packs


@dataclass
class Course:
    """In which order things come to the program, and when it looks, restarts and is asked."""

    late: list[tuple[float, float, float]]  # what is sent from .. to comes so many hours late
    repeated: float
    shuffled: bool
    looks: int
    restarts: int
    visits: list[float]


LAST_H = DAYS * 24 - 2.0
TAIL_H = (LAST_H - 0.1, LAST_H + 1, LAST_H + 4, LAST_H + 6, LAST_H + 30)  # looks, always
hours = st.floats(0, DAYS * 24 - 1).map(lambda hour: round(hour, 1))
spans = st.tuples(hours, st.sampled_from([1.0, 4.0, 9.0, 20.0])).map(lambda s: (s[0], s[0] + s[1]))
lives = st.builds(
    Life,
    seed=st.integers(0, 9),
    falls_h=st.none() | hours,
    lifted_h=st.none() | hours,
    battery_low_h=st.none() | hours,
    mute=st.lists(spans, max_size=2),
    wrong_clock=st.lists(
        st.tuples(hours | st.just(LAST_H), st.sampled_from([0.2, 3.0, 30.0])), max_size=2
    ),
)
courses = st.builds(
    Course,
    late=st.lists(
        st.tuples(spans, st.sampled_from([1.0, 5.0, 26.0])).map(lambda p: (*p[0], p[1])), max_size=2
    ),
    repeated=st.sampled_from([0.0, 0.1]),
    shuffled=st.booleans(),
    looks=st.integers(0, 12),
    restarts=st.integers(0, 3),
    visits=st.lists(hours, max_size=2),
)


class Live:
    """The daemon's rooms but for its threads, and a memory of all it ever told."""

    def __init__(self, store: Store) -> None:
        self.store, self.clock = store, HandClock()
        with store.write() as connection:
            for table in reversed(METADATA.sorted_tables):
                connection.execute(table.delete())
            apiary.load(connection, APIARY)
        self.kind_of: dict[str, tuple[str, str]] = {}
        self.restart()

    def restart(self) -> None:
        self.intake = Intake(self.store)
        self.watcher = Watcher(self.store, LIMITS, self.clock)

    def take(self, come: list[tuple[int, str, bytes]]) -> None:
        self.intake.commit(
            [
                Message(f"hivewatch/{device}/senml", device, pack, None, at_s)
                for at_s, device, pack in come
            ]
        )

    def visit(self) -> None:
        at = datetime.fromtimestamp(self.clock.now_s() - HOUR_S, UTC).isoformat()
        said = read_inspections(json.dumps([{"hive": "hazel-1", "at": at}]), "visits.json")
        with self.store.write() as connection:
            inspections.add(connection, said[0], self.clock.now_s())

    def look(self) -> list[findings.Finding]:
        """Look until nothing is due; gives what stands, by its start."""
        rounds = 0
        while self.watcher.look_round(Event(), lambda: None):
            rounds += 1
            assert rounds < 5, "looks at the same again and again"
        with self.store.read() as connection:
            told = findings.read(connection)
        for one in told:
            assert self.kind_of.setdefault(one.id, (one.kind, one.subject)) == (
                one.kind,
                one.subject,
            )
        return in_order(one for one in told if one.status != "withdrawn")


def in_order(found):
    return sorted(found, key=lambda one: (one.start_s, one.kind, one.subject))


def without_ids(found):
    return [replace(one, id="") for one in in_order(found)]


def arrivals(life: Life, course: Course) -> list[tuple[int, str, bytes]]:
    """Say when each pack comes: (moment, device, pack)."""
    rng = np.random.default_rng(life.seed + 1)
    come = []
    for sent_s, device, pack in life.packs():
        hour = (sent_s - START_S) / HOUR_S
        delay_h = max((d for from_h, to_h, d in course.late if from_h <= hour < to_h), default=0)
        at_s = sent_s + round(delay_h * HOUR_S)
        if delay_h:  # a late block comes in one go
            at_s = max(at_s, START_S + round(max(t for f, t, _ in course.late if f <= hour) * 3600))
        come.append((at_s, device, pack))
        if rng.random() < course.repeated:
            come.append((at_s + int(rng.integers(0, 2 * DAY_S)), device, pack))
    if course.shuffled:  # within what comes at one look
        rng.shuffle(come)  # type: ignore[arg-type]
        come.sort(key=lambda one: one[0] // (2 * HOUR_S))
        come = [(one[0] // (2 * HOUR_S) * 2 * HOUR_S + 2 * HOUR_S, *one[1:]) for one in come]
    else:
        come.sort(key=lambda one: one[0])
    return come


def play(live: Live, life: Life, course: Course) -> dict[int, list[findings.Finding]]:
    """Let it all happen; gives what stood at each moment of looking."""
    rng = np.random.default_rng(life.seed + 2)
    come = arrivals(life, course)
    last_s = max([START_S + DAYS * DAY_S, *(one[0] for one in come)]) + 2 * DAY_S
    moments = {int(one): "look" for one in rng.integers(START_S, last_s, course.looks)}
    moments |= {int(one): "restart" for one in rng.integers(START_S, last_s, course.restarts)}
    moments |= {START_S + round(hour * HOUR_S): "visit" for hour in course.visits}
    moments |= {START_S + round(hour * HOUR_S): "look" for hour in TAIL_H}
    moments[last_s] = "look"
    told: dict[int, list[findings.Finding]] = {}
    done = 0
    for moment_s, what in sorted(moments.items()):
        until = next((i for i in range(done, len(come)) if come[i][0] > moment_s), len(come))
        while done < until:
            live.take(come[done : min(done + BATCH, until)])
            done = min(done + BATCH, until)
        live.clock.at_s = moment_s
        if what == "visit":
            live.visit()
        elif what == "restart":
            live.restart()
        else:
            told[moment_s] = live.look()
    return told
