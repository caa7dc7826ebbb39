"""The outlook as JSON and in a keeper's sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date

from hivewatch.comb.outlook import AHEAD_DAYS, Outlook
from hivewatch.comb.reading import Range
from hivewatch.comb.room_words import describe_need, describe_room, room_dict, stores_dict
from hivewatch.comb.words import about

VISIT_STALE_DAYS = 14
"""A count older than this is asked for again. Own choice: two brood checks of a swarming season."""

CHANGES_BY = 0.10  # own choice: less is called holding its strength
HARDLY_ANY = 20.0  # [1/d] own choice
VAGUE_PART = 0.35  # half of the 80 % range over the median, from which the number is called rough


def outlook_dict(outlook: Outlook, as_of: str | None = None) -> dict[str, object]:
    """Give the JSON form of the contract; `as_of` as text where the caller knows the time."""
    return {
        "hive": outlook.hive,
        "as_of": as_of or outlook.as_of.isoformat(),
        "laying": _days(outlook.laying),
        "brood": {name: _span(span) for name, span in outlook.brood.items()},
        "adults": _days(outlook.adults),
        "foragers": _days(outlook.foragers),
        "emerging": _days(outlook.emerging),
        "room": room_dict(outlook.room),
        "stores": stores_dict(outlook.need),
        "reading": describe_outlook(outlook),
    }


def _days(spans: Mapping[int, Range]) -> list[dict[str, int]]:
    return [{"day": day} | _span(span) for day, span in sorted(spans.items())]


def _span(span: Range) -> dict[str, int]:
    return {name: round(getattr(span, name)) for name in ("low", "median", "high")}


def describe_outlook(outlook: Outlook) -> list[str]:
    """Say what a keeper would take from it."""
    if outlook.adults[0].median < 1 and outlook.adults[AHEAD_DAYS].median < 1:
        return ["There are no bees left.", *_rests_on(outlook)]
    return [
        *_strength(outlook),
        *_brood(outlook),
        *_workers(outlook),
        *describe_room(outlook.room, outlook.as_of),
        *describe_need(outlook.need, outlook.as_of),
        *_rests_on(outlook),
    ]


def _strength(outlook: Outlook) -> list[str]:
    now, then = outlook.adults[0], outlook.adults[AHEAD_DAYS]
    change = (then.median + 1) / (now.median + 1) - 1
    verb = "holds its strength"
    if change > CHANGES_BY:
        verb = "is growing"
    elif change < -CHANGES_BY:
        verb = "is shrinking"
    return [
        (
            f"The colony {verb}: about {_bees(now)} bees today, {_bees(then)} in three weeks "
            f"({_bees_of(then.low)} to {_bees_of(then.high)})."
        )
    ]


def _bees(span: Range) -> str:
    return _bees_of(span.median)


def _bees_of(bees: float) -> str:
    """Round bees to thousands, as they are judged by the seam."""
    return f"{round(bees / 1000) * 1000:,.0f}" if bees >= 10_000 else about(bees)  # noqa: PLR2004


def _brood(outlook: Outlook) -> list[str]:
    laying = outlook.laying[-1]
    week = sum(outlook.emerging[day].median for day in range(1, 8))
    said = f"She lays about {about(laying.median)} eggs a day"
    if laying.median < HARDLY_ANY:
        said = "She lays hardly any eggs" if laying.median >= 1 else "No eggs are being laid"
    young = f"about {about(week)} young bees emerge" if week >= 1 else "no young bees emerge"
    return [f"{said}, and {young} in the next 7 days."]


def _workers(outlook: Outlook) -> list[str]:
    """Warn of laying workers, where there is no open brood to hold them back."""
    day = outlook.workers_lay_from
    if day is None:
        return []
    return [
        (
            "There is no open brood: without a queen, workers may begin to lay about "
            f"{day:%-d %B}; look for eggs before then, and give a comb of young brood if there are "
            "none."
        )
    ]


def _said(day: date) -> str:
    return f"{day.day} {day:%B}"


def _rests_on(outlook: Outlook) -> list[str]:
    """Say how old and how sure it is."""
    said = []
    if outlook.restarted_on is not None:
        said.append(
            f"The count of {_said(outlook.restarted_on)} fits nothing before it: a swarm, a split, "
            "hives united, or a slip of the pen? The outlook starts from it."
        )
    ago = (outlook.as_of - outlook.visit.day).days
    when = "today's visit" if ago == 0 else f"the visit of {_said(outlook.visit.day)}"
    if ago > VISIT_STALE_DAYS:
        said.append(f"This rests on {when}, {ago} days ago: count again soon.")
    else:
        said.append(f"This rests on {when}.")
    if outlook.visit.adults is None:
        said.append("Nobody counted the bees there: their number is read from the brood.")
    if outlook.visit.reading is None:
        said.append("Nobody counted the brood there: it is carried on from before or guessed.")
    now = outlook.adults[0]
    if now.low > 0 and math.sqrt(now.high / now.low) - 1 > VAGUE_PART:
        said.append("Take the number of bees as a rough one.")
    return said
