"""Which yards to visit and when, why, and what to take.

The order of the yards is a rule, not a score: `hivewatch.timeline.order` has it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.moments import spoken
from hivewatch.timeline import kit
from hivewatch.timeline.kit import LIFTING, STINGS, Item
from hivewatch.timeline.order import above, rank
from hivewatch.timeline.reasons import WEEK_DAYS, finding_reasons, wants_of
from hivewatch.timeline.supers import has_fresh_super
from hivewatch.timeline.visits import HiveVisit, Quiet, Round, YardVisit
from hivewatch.timeline.wants import AHEAD_DAYS, LEVELS, Advice, Facts, Level, Reason, Wants

LONE = "Tell somebody where you go and when you are back; know the way to a doctor for stings."


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
    told = [above(one, other) for one, other in pairwise(visits)]
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
    wants = [(one, wants_of(one, advice, as_of_s, zone, yard.latitude)) for one in facts]
    hives = [_hive_visit(one, its, today) for one, its in wants if its.reasons]
    quiet = {one.hive.id: its for one, its in wants if not its.reasons}
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
        today=today,
        when=_when(level, by, today),
        reasons=reasons,
        hives=tuple(hives),
        quiet=tuple(quiet),
        take=(*take, *(one for one in kit.ALWAYS if one not in take)),
        mind=(*_mind(every, take), *_closed(quiet)),
    )


def _hive_visit(facts: Facts, wants: Wants, today: date) -> HiveVisit:
    """Say why one hive wants a look, by when, and what for."""
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


def _closed(quiet: Mapping[str, Wants]) -> list[str]:
    """Name the hives that want nothing but to be left closed."""
    return [
        f"Leave {hive} closed until {spoken(wants.closed_until)}: {wants.closed_why}."
        for hive, wants in quiet.items()
        if wants.closed_until is not None
    ]


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
    wanting = Counter(
        one.hive.frame
        for one in facts
        if one.hive.id not in listed
        and not one.is_without_bees
        and not has_fresh_super([noted.inspection for noted in one.inspections], zone, today)
    )
    return kit.in_order(replace(kit.SUPER, count=n, fits=frame) for frame, n in wanting.items())


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
        return f"today; it was due on {spoken(by)}"
    if by == today:
        return "today"
    return f"by {by:%A} {spoken(by)}"


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
    words = "Nothing needs a visit." if facts else "No hives stand there."
    return Quiet(yard.id, yard.name, len(facts), words)
