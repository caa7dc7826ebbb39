"""The calendar as phones were told it: what moved is told anew, what vanished as cancelled.

A phone takes an appointment anew when its SEQUENCE has risen (RFC 5545 section 3.8.7.4), and one
that merely vanishes may stay on a phone that keeps copies. Whatever makes a date vanish, a visit
taken back, a swarm that was none, a super that is on, it is struck out all the same.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from hivewatch.timeline.agenda import Appointment
from hivewatch.timeline.wants import Facts

PAST_DAYS = 14  # own choice: what is so long over is history, and no longer struck out
KEPT_DAYS = 60  # own choice: as long as the events that appointments follow from are looked at
RISE_S = 60  # [s] SEQUENCE counts minutes


def unsaid(facts: Iterable[Facts], told: Mapping[str, Appointment]) -> set[str]:
    """Name the appointments of which nothing can be said now, so that they stay as they were told.

    A super stays due while nobody has looked ahead, until one is on.
    """
    found = set()
    for one in facts:
        due = told.get(f"super-{one.hive.id}")
        if due is not None and one.outlook is None and not _is_on(one, due.stamp_s):
            found.add(due.name)
    return found


def _is_on(facts: Facts, since_s: int) -> bool:
    visits = (one.inspection for one in facts.inspections if one.inspection.at_s >= since_s)
    return any(done.what == "super added" for visit in visits for done in visit.actions)


def tell(
    now: Sequence[Appointment],
    told: Mapping[str, Appointment],
    untold: Collection[str],
    as_of_s: int,
) -> list[Appointment]:
    """Say what a phone is to be told, after what it was told before.

    Parameters
    ----------
    now : Sequence[Appointment]
        What stands in the calendar.
    told : Mapping
        What was told, by name.
    untold : Collection[str]
        Names of which nothing can be said now: they stay as they were told.
    as_of_s : int
        The moment. [s]

    Returns
    -------
    list[Appointment]
        By day and name. One that is as it was told keeps its stamp; else its stamp rises. What is
        long over is left out.
    """
    today = datetime.fromtimestamp(as_of_s, UTC).date()
    found = [_again(one, told.get(one.name), as_of_s) for one in now]
    present = {one.name for one in now}
    for old in told.values():
        if old.name in present or old.last < today - timedelta(days=KEPT_DAYS):
            continue
        is_over = old.last < today - timedelta(days=PAST_DAYS)
        if old.is_cancelled or is_over or old.name in untold:
            found.append(old)
        else:
            found.append(_again(replace(old, is_cancelled=True), old, as_of_s))
    return sorted(found, key=lambda one: (one.first, one.name))


def _again(one: Appointment, old: Appointment | None, as_of_s: int) -> Appointment:
    """Give an appointment its stamp."""
    if old is None:
        return one
    if replace(one, stamp_s=old.stamp_s) == old:
        return old
    return replace(one, stamp_s=max(as_of_s, old.stamp_s + RISE_S))
