"""Two watchers for scale: one that never says anything, one that says everything every hour."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from simulators.score.kinds import HOUR_S, Kind
from simulators.score.match import windows
from simulators.score.play import Season, seconds
from simulators.score.tally import events_of, exposure, must_be_found, subjects

EVERY_S = HOUR_S  # own choice: an alarm of each kind about each subject, once an hour


@dataclass
class Scale:
    """What a watcher that does not look would reach."""

    events: int = 0
    found: int = 0
    false: int = 0
    seasons: float = 0.0

    def add(self, other: Scale) -> None:
        """Take in another season."""
        self.events += other.events
        self.found += other.found
        self.false += other.false
        self.seasons += other.seasons


def nothing(season: Season, kinds: Iterable[Kind]) -> dict[str, Scale]:
    """Score the watcher that never says anything: it has no false alarms, either."""
    done = {}
    for kind in kinds:
        whole = always_of(season, kind)
        done[kind.name] = Scale(whole.events, 0, 0, whole.seasons)
    return done


def always(season: Season, kinds: Iterable[Kind]) -> dict[str, Scale]:
    """Score the watcher that says every kind of every subject, every hour."""
    return {kind.name: always_of(season, kind) for kind in kinds}


def always_of(season: Season, kind: Kind) -> Scale:
    """Score it for one kind.

    The first alarm of each event's window that no earlier event has used is its own. Events are
    taken by the end of their windows, which pairs as many as can be (windows as intervals, alarms
    as points: earliest deadline first).
    """
    scale = Scale(seasons=exposure(season, kind))
    events = events_of(season, kind)
    for subject in subjects(season, kind):
        mine = events.get(subject, [])
        starts = [seconds(event["start"]) for event in mine]
        ends = [seconds(event["end"]) if event.get("end") else None for event in mine]
        spans = windows(starts, ends, kind.before_s, kind.after_s, lasts=kind.lasts)
        used: set[int] = set()
        order = sorted(range(len(mine)), key=lambda j: spans[j][1])
        for j in order:
            hour = _first_hour(season, spans[j], used)
            if hour is not None:
                used.add(hour)
            if must_be_found(season, kind, mine[j]):
                scale.events += 1
                scale.found += hour is not None
        scale.false += int((season.end_s - season.start_s) // EVERY_S) - len(used)
    return scale


def _first_hour(season: Season, span: tuple[float, float], used: set[int]) -> int | None:
    """Give the first hour of the season inside a window that is still free."""
    first = max(int(-((season.start_s - span[0]) // EVERY_S)), 0)
    last = int((min(span[1], season.end_s) - season.start_s) // EVERY_S)
    return next((hour for hour in range(first, last + 1) if hour not in used), None)
