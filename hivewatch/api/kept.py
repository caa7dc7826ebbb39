"""Answers that rest on all hives: made again only when what they rest on has changed.

With a thousand hives such an answer takes a third of a second or more to make, and something
changes all the time; then it is shown again for thirty times as long as it took to make, so that
however many ask, it takes a thirtieth of one processor. With a few hives that is no time at all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import Connection

from hivewatch import rounds
from hivewatch.api.rooms import Rooms

KEPT_S = 60  # [s] own choice: time alone changes the round by the hour and the day
BUSY_S = 1  # [s] what changed within the last second may still be changing under the same number
PATIENCE = 30.0  # own choice: a thirtieth of one processor at most

Make = Callable[[Connection, int], bytes]


@dataclass(frozen=True, slots=True)
class Kept:
    """An answer, from what it was made, when, and how long that took."""

    body: bytes
    version: tuple[int, ...]
    made_s: int
    done_s: float
    took_s: float

    def holds(self, version: tuple[int, ...], now_s: int) -> bool:
        """Say whether it is as it would be made now; time alone matters by the minute."""
        return self.version == version and 0 <= now_s - self.made_s < KEPT_S

    def is_fresh(self, monotonic_s: float) -> bool:
        """Say whether making it again so soon would take too much of the machine."""
        return monotonic_s - self.done_s < PATIENCE * self.took_s


def kept_or_made(here: Rooms, name: str, make: Make, kind: str | None = None) -> bytes:
    """Give an answer that was made before while it holds; else make it.

    Parameters
    ----------
    name : str
        Of the answer.
    make : Callable
        Makes it at a moment (Unix time in s).
    kind : str or None
        Of findings, only this kind matters to it.
    """
    now_s, began_s = here.clock.now_s(), here.clock.monotonic_s()
    kept = here.kept.get(name)
    if isinstance(kept, Kept) and kept.is_fresh(began_s) and now_s >= kept.made_s:
        return kept.body
    with here.store.read() as connection:
        version = (*rounds.version_of(connection, kind), here.outlooks.version)
        if isinstance(kept, Kept) and kept.holds(version, now_s):
            return kept.body
        body = make(connection, now_s)
    done_s = here.clock.monotonic_s()
    if now_s - max(version[:2]) <= BUSY_S:
        version = ()  # it may hold for as long as it is fresh, no longer
    here.kept[name] = Kept(body, version, now_s, done_s, done_s - began_s)
    return body
