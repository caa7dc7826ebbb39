"""The round as JSON and as a list to read at the car."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from hivewatch.moments import spoken, written_s
from hivewatch.timeline.kit import Item
from hivewatch.timeline.reasons import NEVER_DAYS
from hivewatch.timeline.visits import HiveVisit, Quiet, Round, YardVisit
from hivewatch.timeline.wants import Reason

SOON = {
    "emergency": "EMERGENCY",
    "deadline": "due soon",
    "today": "today",
    "next visit": "next visit",
    "count": "count again",
}


def round_dict(plan: Round) -> dict[str, Any]:
    """Give the JSON form; days are local days of their yards."""
    return {
        "as_of": written_s(plan.as_of_s),
        "visits": [_yard(one) for one in plan.visits],
        "quiet": [
            {"yard": one.yard, "name": one.name, "hives": one.hives, "words": one.words}
            for one in plan.quiet
        ],
    }


def _yard(visit: YardVisit) -> dict[str, Any]:
    return {
        "yard": visit.yard,
        "name": visit.name,
        "urgency": visit.level,
        "by": visit.by.isoformat(),
        "when": visit.when,
        "above_the_next": visit.above or None,
        "reasons": [_reason(one) for one in visit.reasons],
        "hives": [_hive(one) for one in visit.hives],
        "quiet": list(visit.quiet),
        "take": [_item(one) for one in visit.take],
        "mind": list(visit.mind),
    }


def _hive(visit: HiveVisit) -> dict[str, Any]:
    return {
        "hive": visit.hive,
        "urgency": visit.level,
        "by": visit.by.isoformat(),
        "counted_days_ago": None if visit.count_days == NEVER_DAYS else visit.count_days,
        "closed_until": _day(visit.closed_until),
        "closed_because": visit.closed_why or None,
        "reasons": [_reason(one) for one in visit.reasons],
        "take": [_item(one) for one in visit.take],
    }


def _reason(reason: Reason) -> dict[str, Any]:
    return {
        "source": reason.source,
        "about": reason.about,
        "id": reason.id,
        "urgency": reason.level,
        "by": _day(reason.by),
        "words": reason.words,
        "why": reason.why,
        "do": reason.do,
        "mind": reason.mind,
    }


def _item(item: Item) -> dict[str, Any]:
    return {
        "what": item.what,
        "count": item.count,
        "unit": item.unit or None,
        "fits": item.fits or None,
    }


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def round_text(plan: Round) -> str:
    """Write the round as a list."""
    lines: list[str] = []
    for number, visit in enumerate(plan.visits, start=1):
        lines += [f"{number}. {visit.name} ({visit.yard}): {visit.when}"]
        lines += [f"   {_because(one, visit.today)}" for one in visit.reasons]
        for hive in visit.hives:
            lines += _hive_lines(hive, visit.today)
        if visit.quiet:
            lines += [f"   quiet: {', '.join(visit.quiet)}"]
        lines += [f"   Take: {in_words(visit.take)}"]
        lines += [f"   Mind: {text}" for text in visit.mind]
        lines += [f"   Before the next yard because: {visit.above}"] if visit.above else []
        lines += [""]
    lines += [_quiet_line(one) for one in plan.quiet]
    return "\n".join(lines).rstrip() or "no yard yet: hivewatch apiary load FILE"


def _hive_lines(hive: HiveVisit, today: date) -> list[str]:
    lines = [f"   {hive.hive}: {_because(hive.reasons[0], today)}"]
    lines += [f"      {_because(one, today)}" for one in hive.reasons[1:]]
    if hive.closed_until is not None:
        until = spoken(hive.closed_until)
        lines += [f"      leave it closed until {until} if you can: {hive.closed_why}"]
    return lines


def _because(reason: Reason, today: date) -> str:
    soon, by = SOON[reason.level], ""
    if reason.by is not None:
        is_past = reason.level == "deadline" and reason.by < today
        soon, by = (
            ("overdue", f" since {spoken(reason.by)}")
            if is_past
            else (soon, f", by {spoken(reason.by)}")
        )
    return f"{reason.words} [{soon}{by}: {reason.why}]"


def _quiet_line(quiet: Quiet) -> str:
    hives = f"{quiet.hives} hive{'' if quiet.hives == 1 else 's'}"
    return f"{quiet.name} ({quiet.yard}), {hives}: {quiet.words[0].lower()}{quiet.words[1:]}"


def in_words(items: Iterable[Item]) -> str:
    """List what to take: two supers, 5 kg of feed, a smoker."""
    said = []
    for one in items:
        fits = f" ({one.fits})" if one.fits else ""
        if one.unit:
            said.append(f"{one.count} {one.unit} {one.what}{fits}")
        elif one.is_shared and one.count == 1:
            said.append(f"{one.what}{fits}")
        else:
            said.append(f"{one.count} × {one.what}{fits}")  # noqa: RUF001 - the sign for times
    return ", ".join(said)
