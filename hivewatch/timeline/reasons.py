"""Why a hive wants a visit, and how soon: findings, dates, a super due, a count too old."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta, tzinfo
from operator import attrgetter

from hivewatch.comb.outlook_words import VISIT_STALE_DAYS
from hivewatch.detect.finding import Finding
from hivewatch.inspections import Inspection
from hivewatch.moments import spoken
from hivewatch.signals.season import laying_level
from hivewatch.timeline import kit
from hivewatch.timeline.dates import Event, looked_at_brood, queen_events
from hivewatch.timeline.supers import super_reasons
from hivewatch.timeline.wants import (
    LEVELS,
    PRESSING_DAYS,
    SURE_FROM,
    Advice,
    Facts,
    Level,
    Reason,
    Wants,
)

WEEK_DAYS = 7  # own choice: "next visit" means within a week
FRESH_S = 2 * 86_400  # [s] own choice: what ended before then is history
SEASON_LEVEL = 0.3  # own choice: of the peak of laying; below, nobody opens a hive to count
DAYS_NAMED = ("eggs_by_day",)  # measures that name a day until which to act
DAYS_AHEAD = ("days_left", "days_until_capped")  # measures that say how many days there are left
ISO_DAY = re.compile(r"\d{4}-(0[1-9]|1[0-2])-([0-2]\d|3[01])")
NEVER_DAYS = 9999  # of a hive that nobody has counted


def wants_of(
    facts: Facts, advice: Mapping[str, Advice], as_of_s: int, zone: tzinfo, latitude: float
) -> Wants:
    """Say why one hive wants a visit.

    Parameters
    ----------
    facts : Facts
        What is known of it.
    advice : Mapping
        Kind of finding -> what it means.
    as_of_s : int
        The moment; later inspections do not count. [s]
    zone : tzinfo
        Of the yard: its local days are meant.
    latitude : float
        Of the yard. [deg]

    Returns
    -------
    Wants
        Reasons by level, date and words.
    """
    today = datetime.fromtimestamp(as_of_s, zone).date()
    noted = [one for one in facts.inspections if one.inspection.at_s <= as_of_s]
    visits = sorted((one.inspection for one in noted), key=attrgetter("at_s"))
    events = queen_events(facts.findings, noted, zone, today)
    standing = [one for one in events if one.over_s is None]
    count_days = _count_days(visits, zone, today)
    if facts.is_without_bees:
        theirs = [
            one
            for one in facts.findings
            if not (facts.is_taken and one.subject.startswith("device:"))
        ]
        return Wants(_in_order(finding_reasons(theirs, advice, as_of_s, zone, visits)), count_days)
    reasons = list(finding_reasons(facts.findings, advice, as_of_s, zone, visits))
    reasons += _date_reasons(standing, visits, zone, today)
    reasons += super_reasons(facts, visits, today)
    reasons += _count_reasons(count_days, today, latitude)
    closed = _closed(standing, today)
    if closed is not None:
        reasons = [_after(one, closed[0]) for one in reasons]
    return Wants(_in_order(reasons), count_days, *(closed or (None, "")))


def _in_order(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Put the most urgent first."""
    return tuple(sorted(reasons, key=lambda o: (LEVELS.index(o.level), o.by or date.max, o.words)))


def finding_reasons(
    findings: Iterable[Finding],
    advice: Mapping[str, Advice],
    as_of_s: int,
    zone: tzinfo,
    visits: Sequence[Inspection] = (),
) -> Iterator[Reason]:
    """Give the findings that want a visit."""
    for one in findings:
        meant = advice.get(one.kind)
        level = None if meant is None else _level(one, meant, as_of_s, visits)
        if meant is None or level is None:
            continue
        by = _by(one, zone)
        if by is not None and level != "emergency" and _is_pressing(by, as_of_s, zone):
            level = "deadline"
        name = one.subject.partition(":")[2]
        is_device = one.subject.startswith("device:")
        head = f"{name}: {meant.head}" if is_device else f"{meant.head[0].upper()}{meant.head[1:]}"
        since = "since" if one.end_s is None else "on"
        words = f"{head} {since} {_moment(one.start_s, zone)}"
        if one.confidence < SURE_FROM:
            words += f", perhaps ({one.confidence:.0%})"
        yield Reason(
            source="finding",
            about=one.kind,
            level=level,
            by=by,
            words=words,
            why=meant.why,
            do=meant.do,
            mind=meant.mind,
            take=kit.BY_KIND.get(one.kind, ()),
            id=one.id,
        )


def _level(
    finding: Finding, meant: Advice, as_of_s: int, visits: Sequence[Inspection]
) -> Level | None:
    """Say how urgent a finding is now; None when it wants nothing."""
    levels: dict[str, Level] = {
        "emergency": "emergency",
        "today": "today",
        "next visit": "next visit",
    }
    level = levels.get(meant.urgency)
    if level is None or finding.status not in {"open", "ended"}:
        return None
    if finding.confidence < SURE_FROM:
        level = "next visit"
    if finding.end_s is None:
        return level
    is_seen = any(one.at_s > finding.end_s for one in visits)
    if not meant.tell_once_over or is_seen or as_of_s - finding.end_s > FRESH_S:
        return None
    return "today" if level == "emergency" else level


def _by(finding: Finding, zone: tzinfo) -> date | None:
    """Read the date that a finding itself names: a day, or days from when it was settled."""
    days = []
    for name in DAYS_NAMED:
        told = finding.measures.get(name)
        if isinstance(told, str) and ISO_DAY.fullmatch(told):
            days.append(date.fromisoformat(told))
    for name in DAYS_AHEAD:
        left = finding.measures.get(name)
        if isinstance(left, int | float):
            told_on = datetime.fromtimestamp(finding.detected_s, zone).date()
            days.append(told_on + timedelta(days=max(0, min(int(left), 365))))
    return min(days, default=None)


def _is_pressing(by: date, as_of_s: int, zone: tzinfo) -> bool:
    today = datetime.fromtimestamp(as_of_s, zone).date()
    return by <= today + timedelta(days=PRESSING_DAYS)


LOOKS = {
    "look for cells": ("Look for queen cells", "cells are raised in these days"),
    "look for eggs": ("Look for eggs of the queen", "she should lay by now"),
    "free the queen": ("Let the caged queen out", "the brood has emerged, and none follows"),
    "failed if no eggs": ("No eggs by now means no queen", "the bees grow old without brood"),
}

FROM_DAYS = {"failed if no eggs": 0}  # [d] before a date that it is said; else a week


def _date_reasons(
    events: Iterable[Event], visits: Sequence[Inspection], zone: tzinfo, today: date
) -> Iterator[Reason]:
    """Give the dates of the queen calendar that ask for a look, until somebody has looked.

    A date that is past gives way to the next one of its calendar; cells that nobody looked for in
    time have become a queen, or another swarm.
    """
    for event in events:
        waiting = [
            due
            for due in event.dates
            if due.what in LOOKS
            and today >= due.first - timedelta(days=FROM_DAYS.get(due.what, WEEK_DAYS))
            and not any(_has_looked(one, event, due.first, zone) for one in visits)
        ]
        for due in waiting:
            is_late = due.last < today
            if is_late and any(due.first < one.first <= today for one in waiting):
                continue
            if due.what == "look for cells" and today - due.last > timedelta(days=WEEK_DAYS):
                continue
            words, why = LOOKS[due.what]
            pressing = due.last <= today + timedelta(days=PRESSING_DAYS)
            late = "it is late already" if is_late else f"after {spoken(due.last)} it is late"
            yield Reason(
                source="queen date",
                about=due.what,
                level="deadline" if pressing else "next visit",
                by=due.last,
                words=f"{words}, from {spoken(due.first)} to {spoken(due.last)}: {event.words}",
                why=f"{why}; {late}",
                take=kit.BY_DATE.get(due.what, ()),
                id=event.id,
            )


def _has_looked(visit: Inspection, event: Event, first: date, zone: tzinfo) -> bool:
    """Say whether a visit answered a date of the calendar."""
    on = datetime.fromtimestamp(visit.at_s, zone).date()
    looked = looked_at_brood(visit) or visit.queen_cells is not None
    return looked and on >= first and visit.at_s > event.said_s


def _count_days(visits: Sequence[Inspection], zone: tzinfo, today: date) -> int:
    """Give the age of the last count of brood or bees. [d]."""
    counted = [one.at_s for one in visits if one.brood or one.adults is not None or one.frames]
    if not counted:
        return NEVER_DAYS
    return (today - datetime.fromtimestamp(counted[-1], zone).date()).days


def _count_reasons(count_days: int, today: date, latitude: float) -> Iterator[Reason]:
    """Ask for a count in the season of brood, when the last one is too old to rely on."""
    if count_days <= VISIT_STALE_DAYS or laying_level(today, latitude) < SEASON_LEVEL:
        return
    words = f"The last count is {count_days} days old"
    yield Reason(
        source="count",
        about="count",
        level="count",
        by=None,
        words="Nobody has counted lately" if count_days == NEVER_DAYS else words,
        why=f"after {VISIT_STALE_DAYS} days nothing sure can be said of brood and bees",
    )


def _closed(events: Iterable[Event], today: date) -> tuple[date, str] | None:
    """Give the last day on which a hive is to be left closed, and why."""
    spans = [
        (due.last, event.words)
        for event in events
        for due in event.dates
        if due.what == "do not open" and due.first <= today <= due.last
    ]
    return max(spans, default=None)


def _after(reason: Reason, closed_until: date) -> Reason:
    """Put off what has no date and can wait until a hive may be opened again."""
    if reason.by is not None or reason.level not in {"next visit", "count"}:
        return reason
    return replace(reason, by=closed_until + timedelta(days=1))


def _moment(at_s: int, zone: tzinfo) -> str:
    at = datetime.fromtimestamp(at_s, zone)
    hour = "" if (at.hour, at.minute) == (0, 0) else f", {at:%H:%M}"  # whole days are found as such
    return f"{at:%A} {spoken(at)}{hour}"
