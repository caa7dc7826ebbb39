"""What the round is made of: what is known of a hive, and why it wants a visit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from hivewatch.apiary import Hive
from hivewatch.detect.finding import Finding
from hivewatch.timeline.kit import Item
from hivewatch.timeline.stated import Noted

Level = Literal["emergency", "deadline", "today", "next visit", "count"]
LEVELS: tuple[Level, ...] = ("emergency", "deadline", "today", "next visit", "count")
Source = Literal["finding", "outlook", "queen date", "count"]
PRESSING_DAYS = 2  # own choice: a date so near decides which yard comes first
AHEAD_DAYS = 14  # own choice: later dates are in the calendar, not in the round
SURE_FROM = 0.5  # own choice: less likely than not waits for the next visit, and changes no plan


@dataclass(frozen=True, slots=True)
class Advice:
    """What one kind of finding means: how urgent, why so, what to mind.

    Parameters
    ----------
    urgency : str
        ``emergency``, ``today``, ``next visit``, or anything else for none.
    tell_once_over : bool
        Whether it still wants a look when it is over.
    head, why, do, mind : str
        In words.
    """

    urgency: str
    tell_once_over: bool
    head: str
    why: str
    do: str = ""
    mind: str = ""


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason for a visit.

    Parameters
    ----------
    source : str
        Where it comes from.
    about : str
        The kind of finding, or the name of the date.
    level : str
        How urgent: one of `LEVELS`.
    by : date or None
        The day until which it has to be done; None when there is no date to it.
    words : str
        What is the matter.
    why : str
        Why so urgent.
    do, mind : str
        What to do, and the cautions.
    take : tuple of Item
        What to take along.
    id : str or None
        Of the finding or inspection it comes from.
    """

    source: Source
    about: str
    level: Level
    by: date | None
    words: str
    why: str
    do: str = ""
    mind: str = ""
    take: tuple[Item, ...] = ()
    id: str | None = None


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of one hive when the round is made.

    Parameters
    ----------
    hive : Hive
        Which.
    findings : Sequence[Finding]
        Of the hive and the devices at it, as told.
    inspections : Sequence[Noted]
        Of the last sixty days at least.
    outlook : Mapping or None
        In the form of the contract, where there is one.
    """

    hive: Hive
    findings: Sequence[Finding] = ()
    inspections: Sequence[Noted] = ()
    outlook: Mapping[str, Any] | None = None

    @property
    def is_taken(self) -> bool:
        """Whether no hive stands there."""
        return any(one.kind == "taken" and one.status == "open" for one in self.findings)

    @property
    def is_without_bees(self) -> bool:
        """Whether there is no colony any more that dates, a count or a super could be about."""
        return any(
            one.kind == "taken" or (one.kind == "dead_out" and one.confidence >= SURE_FROM)
            for one in self.findings
            if one.status == "open"
        )


@dataclass(frozen=True, slots=True)
class Wants:
    """Why a hive wants a visit, how old its last count is, and until when it stays closed."""

    reasons: tuple[Reason, ...]
    count_days: int
    closed_until: date | None = None
    closed_why: str = ""
