"""The round as it is made: yards, hives, and what to take to them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from hivewatch.timeline.kit import Item
from hivewatch.timeline.wants import Level, Reason


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
    today : date
        The local day of the round there.
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
    today: date
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
