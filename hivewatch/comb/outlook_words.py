"""The outlook as JSON and in a keeper's sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import timedelta

from hivewatch.comb.outlook import AHEAD_DAYS, Outlook
from hivewatch.comb.reading import Range
from hivewatch.comb.room_words import describe_need, describe_room, room_dict, stores_dict
from hivewatch.comb.words import about
from hivewatch.moments import spoken

VISIT_STALE_DAYS = 14
"""A count older than this is asked for again. Own choice: two brood checks of a swarming season."""

CHANGES_BY = 0.10  # own choice: less is called holding its strength
HARDLY_ANY = 20.0  # [1/d] own choice
MOST_CELLS_A_BEE = 3.0
"""Cells of brood for each bee, above which they cannot all be cared for. Published: a nurse keeps
up to 3 (Free & Racey 1968, in Becher et al. 2014); that every bee nurses is the upper end."""

LOOK_AGAIN_DAYS = 4  # as after a comb without eggs; see `words.look_again_days`
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
        "days": [
            {"day": day} | {name: _span(spans[day]) for name, spans in outlook.figures.items()}
            for day in sorted(outlook.figures["adults"])
        ],
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
    said = f"{said}, and {young} in the next 7 days."
    return [said, *_on_the_combs(outlook), *_again(outlook), *_cold(outlook)]


def _on_the_combs(outlook: Outlook) -> list[str]:
    """Say what a count would find, so that a keeper can hold the next one against it."""
    eggs, larvae, capped = (span.median for span in outlook.brood.values())
    if outlook.visit.day == outlook.as_of or eggs + larvae + capped < 1:
        return []
    return [
        (
            f"On the combs there should be about {about(eggs)} eggs, {about(larvae)} open and "
            f"{about(capped)} capped cells."
        )
    ]


def _again(outlook: Outlook) -> list[str]:
    """Say from when eggs may be laid again, where none are; nothing in winter, as none are due."""
    if outlook.laying[-1].median >= 1:
        return []
    coming = range(1, AHEAD_DAYS + 1)
    likely = [day for day in coming if outlook.laying[day].median >= HARDLY_ANY]
    maybe = [day for day in coming if outlook.laying[day].high >= HARDLY_ANY]
    if likely:
        return [
            f"Eggs are likely again from about {_ahead(outlook, likely[0])}: look for them then."
        ]
    if maybe and "queen caged" not in outlook.visit.done:
        return [
            (
                f"There may be eggs from about {_ahead(outlook, maybe[0])}, if a queen is there or "
                f"being raised: look for them and for queen cells within {LOOK_AGAIN_DAYS} days."
            )
        ]
    return []


def _ahead(outlook: Outlook, days: int) -> str:
    return spoken(outlook.as_of + timedelta(days=days))


def _cold(outlook: Outlook) -> list[str]:
    """Ask where there are too few bees for the brood."""
    cells = sum(span.median for span in outlook.brood.values())
    if cells <= MOST_CELLS_A_BEE * outlook.adults[0].median:
        return []
    return [
        (
            "There are few bees for so much brood, and some of it may be chilled: did a swarm "
            "leave, or were the bees not all counted?"
        )
    ]


def _workers(outlook: Outlook) -> list[str]:
    """Warn of laying workers, where there is no open brood to hold them back."""
    day = outlook.workers_lay_from
    if day is None:
        return []
    return [
        (
            "There is no open brood: without a queen, workers may begin to lay about "
            f"{spoken(day)}; look for eggs before then, and give a comb of young brood if there "
            "are none."
        )
    ]


def _rests_on(outlook: Outlook) -> list[str]:
    """Say how old and how sure it is."""
    said = []
    if outlook.restarted_on is not None:
        said.append(
            f"The count of {spoken(outlook.restarted_on)} fits nothing before it: a swarm, a "
            "split, hives united, or a slip of the pen? The outlook starts from it."
        )
    ago = (outlook.as_of - outlook.visit.day).days
    when = "today's visit" if ago == 0 else f"the visit of {spoken(outlook.visit.day)}"
    if ago > VISIT_STALE_DAYS:
        winter = outlook.need.winter
        rests = winter is not None and winter.since <= outlook.as_of
        again = "count again once they fly well in spring" if rests else "count again soon"
        said.append(f"This rests on {when}, {ago} days ago: {again}.")
    else:
        said.append(f"This rests on {when}.")
    if outlook.visit.adults is None:
        said.append("Nobody counted the bees there: their number is read from the brood.")
    if outlook.visit.reading is None and outlook.visit.count is not None:
        said.append(
            "The brood counted there would take more eggs than a queen lays, and is left aside: "
            "set it right, or count again."
        )
    elif outlook.visit.reading is None:
        said.append("Nobody counted the brood there: it is carried on from before or guessed.")
    now = outlook.adults[0]
    if now.low > 0 and math.sqrt(now.high / now.low) - 1 > VAGUE_PART:
        said.append("Take the number of bees as a rough one.")
    return said
