"""Holds the findings of one season against its truth."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from simulators.score.books import (
    brought_alone,
    days_left,
    had_stores,
    was_counted,
    was_without_brood,
)
from simulators.score.kinds import DAY_S, HOUR_S, SEASON_D, Event, Kind, Measure
from simulators.score.match import match, windows
from simulators.score.play import Finding, Season, seconds

BLIND_S = 2 * HOUR_S  # own choice: an event with no reading this near cannot be seen
QUIET_S = 2.5 * HOUR_S  # own choice: a gap this long is a silence
QUIET_SLACK_S = HOUR_S
EXCUSE_S = HOUR_S
EVENING_H = 20  # own choice: what begins after it shows by day, on the day that follows


@dataclass(frozen=True)
class Pair:
    """A finding and its event."""

    season: str
    subject: str
    start_s: float  # of the event
    start_error_s: float
    told_after_s: float
    told_allowed_s: float | None
    measures: dict[str, tuple[float, float]]  # said, true


@dataclass
class Tally:
    """What became of one kind in one season, or in many."""

    kind: Kind
    pairs: list[Pair] = field(default_factory=list)
    missed: list[dict[str, str]] = field(default_factory=list)
    false: list[dict[str, str]] = field(default_factory=list)
    withdrawn: int = 0  # of the false, those that were taken back later
    excused: int = 0
    unseen: int = 0  # events that the recording cannot show
    seasons: float = 0.0

    def add(self, other: Tally) -> None:
        """Take in another season."""
        self.pairs += other.pairs
        self.missed += other.missed
        self.false += other.false
        self.withdrawn += other.withdrawn
        self.excused += other.excused
        self.unseen += other.unseen
        self.seasons += other.seasons


def tally(season: Season, kinds: Iterable[Kind], *, is_live: bool = False) -> dict[str, Tally]:
    """Match every kind of finding with the truth.

    A finding counts if it was told: one that is `withdrawn` never counts as found, and as a false
    alarm only on the live path or when a replay had told it (`told_once`); an `explained` one
    counts as found. What was told after the recording's end is left out, on both sides: events
    within the tolerance of the end may be found, but need not be.
    """
    told = [one for one in season.findings if seconds(one["detected_at"]) <= season.end_s]
    standing = [one for one in told if one["status"] != "withdrawn"]
    taken_back = [one for one in told if one["status"] == "withdrawn"] if is_live else []
    taken_back += season.told_once
    done = {}
    for kind in kinds:
        found = _one_kind(season, kind, [one for one in standing if one["kind"] == kind.name])
        for one in taken_back:
            if one["kind"] == kind.name and not _near_event(season, kind, one):
                found.false.append(_said(season, one))
                found.withdrawn += 1
        done[kind.name] = found
    return done


def events_of(season: Season, kind: Kind) -> dict[str, list[Event]]:
    """Give the events of one kind by subject, in order of start."""
    found: dict[str, list[Event]] = defaultdict(list)
    for event in season.truth["events"]:
        if kind.is_truth(event["kind"]):
            found[event["subject"]].append(event)
    for events in found.values():
        events.sort(key=lambda event: seconds(event["start"]))
    return found


def subjects(season: Season, kind: Kind) -> list[str]:
    """Name all that could be found of this kind."""
    if kind.subject == "yard":
        return [f"yard:{name}" for name in season.zones]
    if kind.subject == "hive":
        return [f"hive:{name}" for name in season.hives]
    return sorted({f"device:{device['id']}" for device in season.apiary["device"]})


def exposure(season: Season, kind: Kind) -> float:
    """Give the seasons watched: yard-seasons for a yard's kinds, hive-seasons for all others."""
    watched = len(season.zones) if kind.subject == "yard" else len(season.hives)
    return watched * float(season.truth["days"]) / SEASON_D


def _one_kind(season: Season, kind: Kind, found: list[Finding]) -> Tally:
    result = Tally(kind, seasons=exposure(season, kind))
    events = events_of(season, kind)
    said: dict[str, list[Finding]] = defaultdict(list)
    for one in found:
        said[one["subject"]].append(one)
    for subject in {*events, *said}:
        _one_subject(season, result, said[subject], events.get(subject, []))
    result.missed.sort(key=str)
    result.false.sort(key=str)
    return result


def _one_subject(season: Season, result: Tally, said: list[Finding], events: list[Event]) -> None:
    kind = result.kind
    starts = [seconds(event["start"]) for event in events]
    ends = [_end(event) for event in events]
    allowed = windows(starts, ends, kind.before_s, kind.after_s, lasts=kind.lasts)
    pairs = match([seconds(one["start"]) for one in said], starts, allowed)
    matched = {i for i, _ in pairs}
    found = {j: i for i, j in pairs}
    for j, event in enumerate(events):
        if not must_be_found(season, kind, event):
            result.unseen += 1
        elif j in found:
            result.pairs.append(_pair(season, kind, said[found[j]], event))
        elif kind.pauses and any(_lasts_through(one, event) for one in said):
            result.unseen += 1
        else:
            result.missed.append(_said(season, event))
    for i, one in enumerate(said):
        if i in matched:
            continue
        if _is_excused(season, kind, one):
            result.excused += 1
        else:
            result.false.append(_said(season, one))


def must_be_found(season: Season, kind: Kind, event: Event) -> bool:
    """Say whether an event is one that counts, and one that the recording can show."""
    start = seconds(event["start"])
    counts = kind.is_shown and (kind.counts is None or kind.counts(event))
    has_stores = had_stores(season, event, kind.least_stores_kg)
    if not (counts and has_stores and was_counted(season, event)):
        return False
    grace = kind.bar.told_s if kind.bar and kind.bar.told_s else HOUR_S
    if start + max(grace, 3 * HOUR_S, kind.settles_s) > season.end_s:
        return False
    for other in season.truth["events"] if kind.hidden_by else ():
        is_same_hive = other["subject"] == event["subject"]
        if not is_same_hive or other["kind"] not in kind.hidden_by:
            continue
        if _spans(other, start) or 0 <= seconds(other["start"]) - start <= kind.hidden_ahead_s:
            return False
    if kind.needs and event["subject"].startswith("hive:"):
        hive = event["subject"].removeprefix("hive:")
        if kind.longest_feed_s is not None:
            feed_s = min(season.heard.interval_s(hive, name) for name in kind.needs)
            if feed_s > kind.longest_feed_s:
                return False
        return any(season.heard.is_heard(hive, name, start, BLIND_S) for name in kind.needs)
    return True


def _is_excused(season: Season, kind: Kind, one: Finding) -> bool:
    """Say whether something else in the truth accounts for a finding without an event."""
    start = seconds(one["start"])
    subject = str(one["subject"])
    if kind.name == "silent":
        device = subject.removeprefix("device:")
        if season.heard.is_quiet(device, start, QUIET_SLACK_S, QUIET_S):
            return True
    alone = kind.name == "nectar_flow" and brought_alone(season, one)
    hive = subject.removeprefix("hive:")
    if alone or (kind.may_be_short and was_without_brood(season, hive, start)):
        return True
    for event in season.truth["events"]:
        is_excuse = event["subject"] == subject and event["kind"] in kind.excuses
        ahead_s = kind.excused_ahead_s
        if is_excuse and ahead_s and 0 <= seconds(event["start"]) - start <= ahead_s:
            return True
        if is_excuse and not ahead_s and _spans(event, start):
            return True
        if kind.subject == "yard" and subject.startswith("hive:") and kind.is_truth(event["kind"]):
            yard = season.hives.get(subject.removeprefix("hive:"))
            if event["subject"] == f"yard:{yard}" and _spans(event, start, kind.before_s):
                return True
    return False


def _near_event(season: Season, kind: Kind, one: Finding) -> bool:
    """Say whether a finding that was taken back had been told of something that happened."""
    start = seconds(one["start"])
    for event in events_of(season, kind).get(one["subject"], []):
        begins = seconds(event["start"])
        span = windows([begins], [_end(event)], kind.before_s, kind.after_s, lasts=kind.lasts)
        if span[0][0] <= start <= span[0][1]:
            return True
    return _is_excused(season, kind, one)


def _spans(event: Event, moment_s: float, slack_s: float = EXCUSE_S) -> bool:
    end = _end(event)
    begins = seconds(event["start"]) - slack_s
    return begins <= moment_s and (end is None or moment_s <= end + slack_s)


def _lasts_through(one: Finding, event: Event) -> bool:
    """Say whether a finding had been told before an event began, and lasted to its end."""
    over, end = _end(one), _end(event)
    told_first = seconds(one["detected_at"]) <= seconds(event["start"])
    return told_first and (over is None or (end is not None and end <= over + DAY_S))


def _end(event: Event) -> float | None:
    return seconds(event["end"]) if event.get("end") else None


def _said(season: Season, one: Finding | Event) -> dict[str, str]:
    """Note a miss or a false alarm, so that somebody can look at it."""
    more = one.get("measures") or {
        key: one[key] for key in ("kg", "actions", "cause", "swarm", "what") if key in one
    }
    note = {"season": season.label, "subject": one["subject"], "start": one["start"]}
    return note | {"end": str(one.get("end")), "more": str(more)}


def _pair(season: Season, kind: Kind, one: Finding, event: Event) -> Pair:
    start = seconds(event["start"])
    end = _end(event)
    told = seconds(one["detected_at"])
    origin = end if kind.told_from == "end" and end is not None else start
    measures = {
        m.said: (float(one["measures"][m.said]), _true(season, m, event, told))
        for m in kind.measures
        if one["measures"].get(m.said) is not None and event.get(m.true) is not None
    }
    return Pair(
        season.label, event["subject"], start, seconds(one["start"]) - start, told - origin,
        _told_allowed_s(season, kind, event), measures,
    )  # fmt: skip


def _true(season: Season, measure: Measure, event: Event, told_s: float) -> float:
    if measure.when_told:
        return days_left(season, event["subject"].removeprefix("hive:"), told_s)
    return float(event[measure.true])


def _told_allowed_s(season: Season, kind: Kind, event: Event) -> float | None:
    """Give how long the bar lets the telling wait; None where it says nothing of it."""
    bar = kind.bar
    if bar is None:
        return None
    if bar.told_same_day:
        yard = str(event.get("yard") or season.hives.get(event["subject"].removeprefix("hive:")))
        zone = ZoneInfo(season.zones[yard])
        start = datetime.fromtimestamp(seconds(event["start"]), zone)
        days = 1 if start.hour < EVENING_H else 2
        midnight = (start + timedelta(days=days)).replace(hour=0, minute=0, second=0)
        return midnight.timestamp() - start.timestamp()
    if bar.told_s is None:
        return None
    interval = 0.0
    if bar.told_readings:
        hive = event["subject"].removeprefix("hive:")
        names = ("weight", *kind.needs)  # a hive that nobody weighs has the feed of its counter
        heard = [name for name in names if (hive, name) in season.heard.hives]
        interval = season.heard.interval_s(hive, *heard[:1])
    return bar.told_s + bar.told_readings * interval


def totals(parts: Iterable[dict[str, Tally]], kinds: Iterable[Kind]) -> dict[str, Tally]:
    """Add seasons up."""
    whole = {kind.name: Tally(kind) for kind in kinds}
    for part in parts:
        for name, one in part.items():
            whole[name].add(one)
    return whole
