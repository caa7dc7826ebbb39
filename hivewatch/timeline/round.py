"""Which yards to visit and when, why, and what to take.

The order of the yards is a rule, not a score. The first of these that differs decides:

1. more hives with an emergency;
2. the earlier of the dates that press: today, past, or within two days;
3. more hives that want a look today;
4. the earlier date among the next visits, then more hives that want one;
5. the older of the oldest counts;
6. the name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.timeline import kit
from hivewatch.timeline.kit import Item
from hivewatch.timeline.reasons import (
    AHEAD_DAYS,
    NEVER_DAYS,
    WEEK_DAYS,
    finding_reasons,
    has_fresh_super,
    wants_of,
)
from hivewatch.timeline.wants import LEVELS, Advice, Facts, Level, Reason

STINGS = "Veil and gloves on before you open; smoke with care where the grass is dry."
LIFTING = "Full boxes are heavy: lift with two, or comb by comb."
LONE = "Tell somebody where you go and when you are back; know the way to a doctor for stings."


@dataclass(frozen=True, slots=True)
class HiveVisit:
    """One hive to look at: why, how soon, and what for it."""

    hive: str
    level: Level
    by: date
    reasons: tuple[Reason, ...]
    take: tuple[Item, ...]
    count_days: int
    closed_until: date | None = None
    closed_why: str = ""


@dataclass(frozen=True, slots=True)
class YardVisit:
    """One yard to go to.

    Parameters
    ----------
    yard, name : str
        Which.
    level : str
        Of the most urgent reason.
    by : date
        The day until which to go.
    when : str
        The same in words.
    reasons : tuple of Reason
        Those of the yard as a whole.
    hives : tuple of HiveVisit
        Those that want a look, the most urgent first.
    quiet : tuple of str
        Those that do not.
    take : tuple of Item
        In all, with what one always takes.
    mind : tuple of str
        The cautions.
    above : str
        Why it stands above the next yard; empty for the last one.
    """

    yard: str
    name: str
    level: Level
    by: date
    when: str
    reasons: tuple[Reason, ...]
    hives: tuple[HiveVisit, ...]
    quiet: tuple[str, ...]
    take: tuple[Item, ...]
    mind: tuple[str, ...]
    above: str = ""


@dataclass(frozen=True, slots=True)
class Quiet:
    """A yard that needs nothing, and until when a count of it can be relied on."""

    yard: str
    name: str
    hives: int
    words: str


@dataclass(frozen=True, slots=True)
class Round:
    """The yards to visit, the first one first, and those that need nothing."""

    as_of_s: int
    visits: tuple[YardVisit, ...]
    quiet: tuple[Quiet, ...]


def plan_round(
    yards: Sequence[Yard],
    facts: Mapping[str, Sequence[Facts]],
    of_yards: Mapping[str, Sequence[Finding]],
    advice: Mapping[str, Advice],
    as_of_s: int,
) -> Round:
    """Say which yards to visit and when, why, and what to take.

    Parameters
    ----------
    yards : Sequence[Yard]
        All of them.
    facts : Mapping
        Yard -> what is known of each of its hives.
    of_yards : Mapping
        Yard -> findings of the yard as a whole.
    advice : Mapping
        Kind of finding -> what it means.
    as_of_s : int
        The moment. [s]

    Returns
    -------
    Round
        In the order of the rule above.
    """
    visits, quiet = [], []
    for yard in yards:
        visit = _visit(yard, facts.get(yard.id, ()), of_yards.get(yard.id, ()), advice, as_of_s)
        if visit is None:
            quiet.append(_quiet(yard, facts.get(yard.id, ())))
        else:
            visits.append(visit)
    visits.sort(key=rank)
    told = [_above(one, other) for one, other in pairwise(visits)]
    return Round(as_of_s, (*told, *visits[-1:]), tuple(sorted(quiet, key=lambda one: one.name)))


def _visit(
    yard: Yard,
    facts: Sequence[Facts],
    of_yard: Sequence[Finding],
    advice: Mapping[str, Advice],
    as_of_s: int,
) -> YardVisit | None:
    """Put one yard's visit together; None when nothing asks for it."""
    zone = ZoneInfo(yard.timezone)
    today = datetime.fromtimestamp(as_of_s, zone).date()
    hives, quiet = [], []
    for one in facts:
        visit = _hive_visit(one, advice, as_of_s, yard, today)
        if visit is None:
            quiet.append(one.hive.id)
        else:
            hives.append(visit)
    reasons = tuple(finding_reasons(of_yard, advice, as_of_s, zone))
    if not hives and not reasons:
        return None
    hives.sort(key=lambda one: (LEVELS.index(one.level), one.by, one.hive))
    needs = [one.take for one in hives] + [_for_flow(facts, reasons, hives, today, zone)]
    take = kit.for_yard(needs)
    every = [reason for one in hives for reason in one.reasons] + list(reasons)
    level = min((one.level for one in every), key=LEVELS.index)
    by = min([one.by for one in hives] + [_day_by(one, today) for one in reasons])
    return YardVisit(
        yard=yard.id,
        name=yard.name,
        level=level,
        by=by,
        when=_when(level, by, today),
        reasons=reasons,
        hives=tuple(hives),
        quiet=tuple(quiet),
        take=(*take, *(one for one in kit.ALWAYS if one not in take)),
        mind=_mind(every, take),
    )


def _hive_visit(
    facts: Facts, advice: Mapping[str, Advice], as_of_s: int, yard: Yard, today: date
) -> HiveVisit | None:
    """Say why one hive wants a look; None when it does not."""
    wants = wants_of(facts, advice, as_of_s, ZoneInfo(yard.timezone), yard.latitude)
    if not wants.reasons:
        return None
    return HiveVisit(
        hive=facts.hive.id,
        level=wants.reasons[0].level,
        by=min(_day_by(one, today) for one in wants.reasons),
        reasons=wants.reasons,
        take=kit.for_hive([one.take for one in wants.reasons], facts.hive.frame),
        count_days=wants.count_days,
        closed_until=wants.closed_until,
        closed_why=wants.closed_why,
    )


def _for_flow(
    facts: Sequence[Facts],
    reasons: Sequence[Reason],
    hives: Sequence[HiveVisit],
    today: date,
    zone: ZoneInfo,
) -> tuple[Item, ...]:
    """In a flow take a super for each hive that got none lately and has none on the list yet."""
    if not any(one.about == "nectar_flow" for one in reasons):
        return ()
    listed = {one.hive for one in hives if any(item.what == "super" for item in one.take)}
    wanting = [
        one.hive
        for one in facts
        if one.hive.id not in listed
        and not has_fresh_super([noted.inspection for noted in one.inspections], zone, today)
    ]
    return kit.for_yard([kit.for_hive([(kit.SUPER,)], one.frame) for one in wanting])


def _day_by(reason: Reason, today: date) -> date:
    """Give the day until which a reason wants a visit."""
    if reason.level in {"emergency", "today"}:
        return today
    days = AHEAD_DAYS if reason.level == "count" else WEEK_DAYS
    return reason.by if reason.by is not None else today + timedelta(days=days)


def _when(level: Level, by: date, today: date) -> str:
    if level == "emergency":
        return "now, as soon as it is safe"
    if by < today:
        return f"today, it was due on {by.day} {by:%B}"
    if by == today:
        return "today"
    return f"by {by:%A} {by.day} {by:%B}"


def _mind(reasons: Sequence[Reason], take: Sequence[Item]) -> tuple[str, ...]:
    """Gather the cautions, each once."""
    said = [STINGS, *(one.mind for one in reasons if one.mind)]
    if any(item.what in {"super", "spare hive"} for item in take):
        said.append(LIFTING)
    said.append(LONE)
    whole = [text for text in dict.fromkeys(said) if text]
    return tuple(
        text for text in whole if not any(text != other and text in other for other in whole)
    )


def _quiet(yard: Yard, facts: Sequence[Facts]) -> Quiet:
    words = "Nothing asks for a visit." if facts else "No hives stand there."
    return Quiet(yard.id, yard.name, len(facts), words)


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


def _above(visit: YardVisit, other: YardVisit) -> YardVisit:
    """Say why a yard stands above the next one."""
    mine, its = rank(visit), rank(other)
    place = next(i for i, pair in enumerate(zip(mine, its, strict=True)) if pair[0] != pair[1])
    words = (
        f"{_hives(-mine[0])} with an emergency here, {-its[0] or 'none'} at {other.name}",
        f"a date presses on {_said(mine[1])} here, {_or_none(its[1])} at {other.name}",
        f"{_hives(-mine[2])} for today here, {-its[2] or 'none'} at {other.name}",
        f"wanted by {_said(mine[3])} here, {_or_none(its[3])} at {other.name}",
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


def _said(day: date) -> str:
    return f"{day.day} {day:%B}"


def _or_none(day: date) -> str:
    return "none" if day == date.max else f"on {_said(day)}"
