"""What is known of a hive's days that are over, so that a reading asks only for the last.

Every look says what one look over the whole history would say; it need not go through all of it.
What rests on days that are over stays as it is. So, some days behind the last reading, there is a
midnight, `Carried.until_s`, up to which results are kept, and only what came after it is worked out
anew:

- A signal (moves of the weight, figures of days) keeps its events and its days before `until_s`,
  under its name in `parts`, and gives them back with those since: `worked`. Its module has
  `carry(window, until_s)`, which cuts it there.
- A detector that goes by readings (`BACK_S` in its module) is asked of a window that begins that
  long before. Of what it finds, what was settled since counts; what was settled before, and was
  over, is kept: `detect.run`. What lasts holds its own detector's moment back to when it was told.
- A detector that goes by days, and has no `BACK_S`, is asked of all days each time.
- What takes long and rests on figures that most readings leave as they are (of days that are over,
  of full quarters of an hour, of a move that is settled) is kept with these figures, and worked out
  anew when one of them has changed: `unless_same`.

It holds because nothing that happened before `until_s` is changed by a reading `AHEAD_S` after it
or later: no judgement waits for longer (a device that says nothing for a day is not waited for), no
sum runs over all history, what is usual is a matter of days. What comes late for more than that
makes the window be read and worked out as a whole, as at the start. tests/property/test_carried.py
holds it to that, reading by reading.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar, cast

if TYPE_CHECKING:
    from hivewatch.signals.window import HiveWindow

T = TypeVar("T")

DAY_S = 86_400
AHEAD_S = 2 * DAY_S  # [s] own choice: so long after it a day, or an event, is as it stays
LATE_S = DAY_S  # [s] own choice: what comes late by no more than this costs nothing
SILENT_S = DAY_S  # [s] own choice: a device that says nothing for so long is not waited for
MARGIN_S = DAY_S  # [s] own choice: what a detector settles is settled so soon after its event
RAW_S = 12 * DAY_S  # [s] own choice: readings so long before `until_s` are looked at again
RAW_LEAST = 300  # [readings] own choice: six blocks of noise, however far apart the readings are


@dataclass(frozen=True, slots=True)
class Carried:
    """What is kept of a hive up to a moment.

    Parameters
    ----------
    until_s : int
        A local midnight; 0 when nothing is kept. [s]
    parts : Mapping
        What each signal and each detector keeps, by its name.
    last : dict
        What the last look worked out, with what it was given for it, by its name: `unless_same`.
    """

    until_s: int = 0
    parts: Mapping[str, object] = field(default_factory=dict)
    last: dict[str, tuple[object, object]] = field(default_factory=dict, compare=False)


NOTHING = Carried()


def worked(window: HiveWindow, name: str, work: Callable[[HiveWindow, T | None], T]) -> T:
    """Give a signal of a window, worked out once, from what is carried of it.

    Parameters
    ----------
    work : Callable
        Takes the window and what was carried, None at the start; gives all there is.
    """
    if name not in window.memo:
        window.memo[name] = work(window, cast("T | None", window.carried.parts.get(name)))
    return cast("T", window.memo[name])


def unless_same(window: HiveWindow, name: str, given: object, work: Callable[[], T]) -> T:
    """Give what is worked out of some figures, and of nothing else; once, as long as they stay.

    Parameters
    ----------
    given : object
        All that `work` goes by, to be compared with what it was at the last look.
    work : Callable
        Its result is not to be changed by whoever takes it.
    """
    last = window.carried.last
    if name not in last or last[name][0] != given:
        told = given, work()
        if not window.carried.until_s:
            return told[1]
        last[name] = told
    return cast("T", last[name][1])


def first_after(window: HiveWindow, quantity: str, moment_s: int) -> int:
    """Give the time of the first reading from a moment on, a day later at most; remembered. [s]."""
    known, key = _first_after(window), (quantity, moment_s)
    if key not in known:
        time_s = window.of(quantity).time_s
        at = int(time_s.searchsorted(moment_s))
        latest_s = moment_s + SILENT_S
        known[key] = min(int(time_s[at]), latest_s) if at < len(time_s) else latest_s
    return known[key]


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what was asked for of the time before a moment."""
    known = _first_after(window).items()
    return {"first after": {key: told for key, told in known if key[1] < until_s}}


def _first_after(window: HiveWindow) -> dict[tuple[str, int], int]:
    """Give the moments that were asked for, with what was said of each."""
    return worked(window, "first after", lambda _, kept: dict(kept or {}))
