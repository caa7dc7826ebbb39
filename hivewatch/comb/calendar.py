"""Queen calendar: from what was seen on a day, what follows and when, each row with its source."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

Seen = Literal[
    "cell with egg",
    "open cell",
    "capped cell",
    "emerged cell",
    "virgin seen",
    "swarm left",
    "queen lost",
    "queen removed",
    "queen caged",
    "requeened",
]
What = Literal[
    "no eggs left",
    "no open brood left",
    "no brood left",
    "after-swarm",
    "emergence",
    "mating",
    "first eggs",
    "do not open",
    "look for cells",
    "look for eggs",
    "first new workers",
    "failed if no eggs",
    "free the queen",
]

PRACTICE = "common practice, no source"
_TABLE = "queen capped on day 7.5 to 8, emerges on day 15.5 to 17 (published tables; QDPI)"
_MATING = (
    "mating flights on day 20 to 24 from the egg (published table); 5 to 6 days to maturity, then "
    "flights for 2 to 4 days, in bad weather up to 4 weeks later (Winston 1987 p. 203, quoted by "
    "Becher et al. 2014)"
)
_EGGS = (
    "fertile from day 23 of her life from the egg (published table), usually laying within two "
    "weeks of emergence (common practice, no source)"
)
_FAILED = "three to four weeks after emergence a queen is too late to mate (county training notes)"
_WORKERS = "worker brood takes 21 days (common practice, no source)"

MATING_AFTER = (4, 10)
EGGS_AFTER = (7, 14)
FAILED_AFTER = (21, 28)
"""Days after a queen's emergence, first and last; sources in the rows. The last of `FAILED_AFTER`
is what bad weather may put off: no flight for weeks."""

FREED_AFTER = (21, 25)
"""Days after a queen was caged on which she is let out: when the worker brood, or the drone brood
too, has emerged (common practice, no source)."""

_EMERGES: dict[Seen, tuple[int, int, str]] = {
    "cell with egg": (12, 17, f"egg for 3 days; {_TABLE}"),
    "open cell": (7, 14, f"open from day 3 to 8; {_TABLE}"),
    "capped cell": (0, 9, f"capped at an unknown time; {_TABLE}"),
    "emerged cell": (-7, 0, "an emptied queen cell is torn down within about a week; own choice"),
    "virgin seen": (-10, 0, "a queen not laying yet is 0 to 10 days old (Winston 1987 p. 203)"),
    "swarm left": (
        4,
        8,
        (
            "a prime swarm leaves when the first cells are capped, so 7 to 8 days; 4 to 7 days "
            "without a piping queen were measured (Ramsey et al. 2020, Sci. Rep. 10:9798)"
        ),
    ),
    "queen lost": (
        11,
        14,
        f"raised from a larva of at most 36 hours, day 3 to 4.5 from the egg; {_TABLE}",
    ),
}
_EMERGES["queen removed"] = _EMERGES["queen lost"]

SWARM_EMERGES = _EMERGES["swarm left"][:2]
"""From a prime swarm to the new queen's emergence, first and last. [d]"""

EMERGENCY_EGGS_DAYS = (_EMERGES["queen lost"][0] + EGGS_AFTER[0], 14 + FAILED_AFTER[1])
"""From the loss of a queen to the first eggs of one raised in her place, and to giving up. [d]"""


@dataclass(frozen=True)
class Due:
    """Something that comes between two days, both included."""

    what: What
    first: date
    last: date
    source: str


def queen_calendar(seen: Seen, on: date, since: date | None = None) -> list[Due]:
    """Say what follows from what was seen.

    Parameters
    ----------
    seen : Seen
        What was seen, or happened.
    on : date
        The day, at the latest.
    since : date or None
        The earliest day it can have happened, when it was only noticed on `on`.

    Returns
    -------
    list[Due]
        By first day. Nothing before `on` is left out: a range may begin in the past.

    Raises
    ------
    ValueError
        If `since` is later than `on`.
    """
    begin = on if since is None else since
    if begin > on:
        raise ValueError("since must not be later than on")
    if seen == "requeened":
        rows = _requeened(begin, on)
    elif seen == "queen caged":
        rows = [*_brood_runs_out(begin, on), *_freed(begin, on)]
    else:
        rows = _new_queen(seen, begin, on)
        if seen in ("queen lost", "queen removed"):
            rows += _brood_runs_out(begin, on)
            rows.append(_due("look for cells", (begin, 4), (on, 7), PRACTICE))
        if seen == "swarm left":
            rows.append(_due("look for cells", (begin, 1), (on, 3), PRACTICE))
    return sorted(rows, key=lambda row: (row.first, row.last, row.what))


def _due(what: What, first: tuple[date, int], last: tuple[date, int], source: str) -> Due:
    return Due(what, first[0] + timedelta(days=first[1]), last[0] + timedelta(days=last[1]), source)


def _new_queen(seen: Seen, begin: date, on: date) -> list[Due]:
    """Follow a young queen from her cell to her first workers."""
    soonest, latest, source = _EMERGES[seen]
    rows = [
        _due("emergence", (begin, soonest), (on, latest), source),
        _due("mating", (begin, soonest + MATING_AFTER[0]), (on, latest + MATING_AFTER[1]), _MATING),
        _due("first eggs", (begin, soonest + EGGS_AFTER[0]), (on, latest + EGGS_AFTER[1]), _EGGS),
        _due(
            "first new workers",
            (begin, soonest + EGGS_AFTER[0] + 21),
            (on, latest + EGGS_AFTER[1] + 21),
            _WORKERS,
        ),
        # from the first emergence until the last mating flight: a cell must not be jarred, a queen
        # on her flights must find her hive as she left it
        _due("do not open", (begin, soonest), (on, latest + MATING_AFTER[1]), PRACTICE),
        _due("look for eggs", (on, latest + MATING_AFTER[1] + 1), (on, latest + 14), PRACTICE),
        _due(
            "failed if no eggs",
            (on, latest + FAILED_AFTER[0]),
            (on, latest + FAILED_AFTER[1]),
            _FAILED,
        ),
    ]
    if seen == "swarm left":
        rows.append(_due("after-swarm", (begin, soonest), (on, latest + 5), PRACTICE))
    return rows


def _brood_runs_out(begin: date, on: date) -> list[Due]:
    """Follow the last brood of a queen who lays no more; drones emerge three days later."""
    source = "egg 3, open 6, capped 12 days, drones 24 in all (common practice, no source)"
    return [
        _due("no eggs left", (begin, 3), (on, 3), source),
        _due("no open brood left", (begin, 9), (on, 10), source),
        _due("no brood left", (begin, 21), (on, 24), source),
    ]


def _freed(begin: date, on: date) -> list[Due]:
    """Follow a caged queen, and the bees who may raise another beside her, until she lays again."""
    first, last = FREED_AFTER
    return [
        _due("look for cells", (begin, 7), (on, 9), PRACTICE),
        _due("free the queen", (begin, first), (on, last), PRACTICE),
        _due("first eggs", (begin, first + 1), (on, last + 5), PRACTICE),
        _due("look for eggs", (on, last + 5), (on, last + 9), PRACTICE),
        _due("first new workers", (begin, first + 22), (on, last + 26), _WORKERS),
        _due("failed if no eggs", (on, last + 10), (on, last + 17), PRACTICE),
    ]


def _requeened(begin: date, on: date) -> list[Due]:
    """Follow a mated queen put in with a cage: freed in days, then left in peace."""
    return [
        _due("do not open", (begin, 0), (on, 6), PRACTICE),
        _due("first eggs", (begin, 3), (on, 10), PRACTICE),
        _due("look for eggs", (on, 7), (on, 10), PRACTICE),
        _due("first new workers", (begin, 24), (on, 31), _WORKERS),
        _due("failed if no eggs", (on, 14), (on, 21), PRACTICE),
    ]
