"""What a look at a hive or a yard gave; the looks at the yards, which rest on those at hives.

A yard is looked at when all of its hives were. What its hives say together is worked out when one
of their days has changed; what was left to it of what each says alone may change at any reading.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import is_
from typing import NamedTuple

from sqlalchemy import Connection

from hivewatch.apiary import Yard
from hivewatch.detect import run
from hivewatch.detect.finding import Finding, settle
from hivewatch.signals.days import Days
from hivewatch.store import findings
from hivewatch.store.inspections import Stored
from hivewatch.timeline.explain import explain
from hivewatch.timeline.stated import Noted


@dataclass(frozen=True, slots=True)
class Look:
    """What a look at one hive, or at a yard as a whole, gave."""

    yard: Yard
    hive: str | None  # None for the yard as a whole
    before: Sequence[Finding]  # what had been told, with its ids
    settled: Sequence[Finding]  # what is to be told now, with its ids
    found: Sequence[Finding]  # what the detectors say
    left: Sequence[Finding] = ()  # of that, what is settled with what its yard says
    again_s: int | None = None  # when time alone would change the findings [s]

    @property
    def changed(self) -> list[Finding]:
        """Give the findings that are new or not as they were told."""
        if self.settled is self.before:
            return []
        told = {one.id: one for one in self.before}
        return [
            one for one in self.settled if (before := told.get(one.id)) is not one and before != one
        ]


def look_at_yard(
    connection: Connection,
    yard: Yard,
    found: Sequence[Finding],
    noted: Mapping[str, Sequence[Noted]],
    told: Sequence[Finding] | None = None,
) -> Look:
    """Settle what the hives of a yard say together.

    Parameters
    ----------
    found : Sequence[Finding]
        That, as `run.detect_yard` gives it, and what the looks at its hives have left to it.
    noted : Mapping
        What people wrote down of each of them, up to the moment.
    told : sequence of Finding or None
        What was told before, where that is known; else it is read.
    """
    before = told
    if before is None:
        before = [one for one in findings.read(connection, yard=yard.id) if run.is_of_yard(one)]
    found = [
        one
        for hive, some in groupby(sorted(run.told_once(found), key=hive_of), key=hive_of)
        for one in explain(some, noted.get(hive, ()))
    ]
    return Look(yard, None, before, settle(before, found), found)


def hive_of(one: Finding) -> str:
    """Name the hive that a finding is about; empty for a yard or a device."""
    kind, _, name = one.subject.partition(":")
    return name if kind == "hive" else ""


class Together(NamedTuple):
    """The last look at a yard, and what it was given."""

    given: tuple[Sequence[object], Sequence[object]]  # yard, days; visits, what was left
    together: Sequence[Finding]  # what the days of its hives say
    look: Look


def look_together(
    connection: Connection,
    yard: Yard,
    days: Mapping[str, Days],
    noted: Mapping[str, Sequence[Stored]],
    left: Mapping[str, Sequence[Finding]],
    now_s: int,
    last: Together | None,
) -> Together:
    """Look at a yard; gives the last look where all that it was given is still the same.

    Parameters
    ----------
    days : Mapping
        Those of each of its hives, as `as_weighed` gives them.
    noted, left : Mapping
        What people wrote down of each of them; what the looks at them have left to the yard.
    now_s : int
        The moment. [s]
    """
    given = [yard, *days.values()], [*noted.values(), *left.values()]
    is_day_same = last is not None and _are(last.given[0], given[0])
    if last is not None and is_day_same and _are(last.given[1], given[1]):
        return last
    together = last.together if last is not None and is_day_same else run.detect_yard(yard, days)
    found = [*together, *(one for some in left.values() for one in some)]
    so_far = {hive: [one for one in some if one.at_s <= now_s] for hive, some in noted.items()}
    told = None if last is None else last.look.settled
    return Together(given, together, look_at_yard(connection, yard, found, so_far, told))


def _are(before: Sequence[object], now: Sequence[object]) -> bool:
    """Say whether each of these is what it was."""
    return len(before) == len(now) and all(map(is_, before, now))
