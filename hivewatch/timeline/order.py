"""Which yard stands above which.

The order of the yards is a rule, not a score. The first of these that differs decides:

1. more hives with an emergency;
2. the earlier of the dates that press: today, past, or within two days;
3. more hives that want a look today;
4. the earlier date among the next visits, then more hives that want one;
5. the older of the oldest counts;
6. the name.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from hivewatch.moments import spoken
from hivewatch.timeline.reasons import NEVER_DAYS
from hivewatch.timeline.visits import YardVisit
from hivewatch.timeline.wants import Level


def rank(visit: YardVisit) -> tuple[int, date, int, date, int, int, str, str]:
    """Give a yard's place in the order; the smaller comes first."""
    every = [(one.hive, reason) for one in visit.hives for reason in one.reasons]
    every += [("", reason) for reason in visit.reasons]

    def count(level: Level) -> int:
        return len({hive for hive, reason in every if reason.level == level})

    def first(level: Level) -> date:
        days = [reason.by for _, reason in every if reason.level == level and reason.by]
        return min(days, default=date.max)

    return (
        -count("emergency"),
        first("deadline"),
        -count("today"),
        first("next visit"),
        -count("next visit"),
        -_oldest(visit),
        visit.name,
        visit.yard,
    )


def _oldest(visit: YardVisit) -> int:
    """Give the age of the oldest count that asks for another. [d]."""
    ages = [
        one.count_days
        for one in visit.hives
        if any(reason.source == "count" for reason in one.reasons)
    ]
    return max(ages, default=0)


def above(visit: YardVisit, other: YardVisit) -> YardVisit:
    """Say why a yard stands above the next one."""
    mine, its = rank(visit), rank(other)
    place = next(i for i, pair in enumerate(zip(mine, its, strict=True)) if pair[0] != pair[1])
    words = (
        f"{_hives(-mine[0])} with an emergency here, {-its[0] or 'none'} at {other.name}",
        f"a date is due on {spoken(mine[1])} here, {_or_none(its[1])} at {other.name}",
        f"{_hives(-mine[2])} for today here, {-its[2] or 'none'} at {other.name}",
        f"wanted by {spoken(mine[3])} here, {_or_none(its[3])} at {other.name}",
        f"{_hives(-mine[4])} for the next visit here, {-its[4] or 'none'} at {other.name}",
        f"the oldest count is {_days(-mine[5])} here, {_days(-its[5])} at {other.name}",
        "alike in everything else: by name",
        "alike in everything else: by name",
    )[place]
    return replace(visit, above=words)


def _hives(count: int) -> str:
    return f"{count} hive{'' if count == 1 else 's'}"


def _days(age: int) -> str:
    return "not there" if age >= NEVER_DAYS else f"{age} days old" if age else "fresh"


def _or_none(day: date) -> str:
    return "none" if day == date.max else f"on {spoken(day)}"
