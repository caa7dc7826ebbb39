"""The outlooks that stand: kept up to date for round, calendar and pages, by a loop of their own.

An outlook goes by days, and costs a tenth of a second or two. So it is worked out as of the last
full hour, or of the last visit since, and anew once the hour is over or what it rests on changed:
an inspection, the apiary, a reading of before that moment. The watch says so after its look.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from threading import Event, Lock
from typing import Any, NamedTuple

from sqlalchemy import Connection, select

from hivewatch.ahead import HOUR_S, Beside, moment_s, outlook_of
from hivewatch.apiary import Apiary
from hivewatch.clock import Clock
from hivewatch.comb.outlook_words import outlook_dict
from hivewatch.store import apiary as apiary_rows
from hivewatch.store import inspections
from hivewatch.store.inspections import Stored
from hivewatch.store.open import Store
from hivewatch.store.schema import inspection as inspection_table

BACK_S = 61 * 86_400  # a visit of longer ago starts no outlook
PAUSE_S = 0.5  # own choice: nobody waits for an outlook that no page asked for
PATIENCE = 3.0  # own choice: for what is an hour old a quarter of one processor, else a half


class Kept(NamedTuple):
    """What was told of a hive: from which visits, as of when, the outlook or None."""

    as_of_s: int
    visits: tuple[tuple[str, int], ...]
    told: Mapping[str, Any] | None


class Outlooks:
    """The last outlook of every hive that was counted; from any thread."""

    def __init__(self, store: Store, clock: Clock) -> None:
        """Know nothing yet."""
        self._store, self._clock = store, clock
        self._kept: dict[str, Kept] = {}
        self._changed_s: dict[str, int] = {}
        self._lock = Lock()
        self._woken = Event()
        self._hour = -1
        self.version = 0  # rises when an outlook says something else of room

    def changed(self, hive: str, from_s: int) -> None:
        """Note that what is stored of a hive changed from a time on; 0: other than readings."""
        with self._lock:
            self._changed_s[hive] = min(from_s, self._changed_s.get(hive, from_s))
            kept = self._kept.get(hive)
        if from_s == 0 or (kept is not None and from_s <= kept.as_of_s):
            self._woken.set()

    def all(self) -> dict[str, Mapping[str, Any]]:
        """Give what was told last of every hive that has an outlook."""
        with self._lock:
            return {hive: one.told for hive, one in self._kept.items() if one.told is not None}

    def of(self, connection: Connection, hive: str, now_s: int) -> Kept:
        """Give the outlook of a hive as it stands, worked out now where it is not up to date."""
        seen = inspections.read(connection, hive=hive)
        as_of_s = moment_s((one.at_s for one in seen), now_s)
        visits = _visits(seen, as_of_s)
        with self._lock:
            kept = self._kept.get(hive)
            if (
                kept is not None
                and (kept.as_of_s, kept.visits) == (as_of_s, visits)
                and self._changed_s.get(hive, as_of_s + 1) > as_of_s
            ):
                return kept
            self._changed_s.pop(hive, None)  # what changes from here on is told anew
        known = apiary_rows.read_around(connection, hive)
        kept = Kept(as_of_s, visits, told_of(connection, known, hive, as_of_s, is_watched=True))
        self._keep(hive, kept)
        return kept

    def _keep(self, hive: str, kept: Kept | None) -> None:
        with self._lock:
            before = self._kept.pop(hive, None)
            if kept is not None:
                self._kept[hive] = kept
            if _dated(before) != _dated(kept):
                self.version += 1

    def run(self, stop: Event, beat: Callable[[], None]) -> None:
        """Work out what is due."""
        while not stop.is_set():
            beat()
            if not self.look_round(stop, beat):
                stop.wait(PAUSE_S)

    def look_round(self, stop: Event, beat: Callable[[], None]) -> int:
        """Work out once every outlook that is due; gives how many were."""
        hour = self._clock.now_s() // HOUR_S
        if hour == self._hour and not self._woken.is_set():
            return 0
        self._woken.clear()
        due = self._due()
        for hive in due:
            if stop.is_set():
                break
            began_s = self._clock.monotonic_s()
            is_new = hive not in self._kept or self._changed_s.get(hive) == 0
            with self._store.read() as connection:
                self.of(connection, hive, self._clock.now_s())
            beat()
            rests = 1.0 if is_new else PATIENCE
            stop.wait(rests * (self._clock.monotonic_s() - began_s))
        self._hour = hour
        return len(due)

    def _due(self) -> list[str]:
        """Name the hives that were counted lately, those that changed first, then the oldest."""
        c = inspection_table.c
        query = select(c.hive).where(c.at_s >= self._clock.now_s() - BACK_S, c.withdrawn == 0)
        with self._store.read() as connection:
            counted = set(connection.execute(query.distinct()).scalars())
        for hive in self._kept.keys() - counted:
            self._keep(hive, None)
        changed = dict(self._changed_s)
        age = {hive: self._kept[hive].as_of_s for hive in counted & self._kept.keys()}
        return sorted(counted, key=lambda one: (changed.get(one, 1) > 0, age.get(one, 0), one))


def _dated(kept: Kept | None) -> tuple[object, object]:
    """Give what round and calendar take from an outlook."""
    told = kept.told if kept and kept.told else {}
    return told.get("as_of"), told.get("room")


def told_of(
    connection: Connection,
    apiary: Apiary,
    hive: str,
    as_of_s: int,
    recorded_by_s: int | None = None,
    *,
    is_watched: bool = False,
    beside: Beside | None = None,
) -> Mapping[str, Any] | None:
    """Work an outlook out, in the form of the contract; None where nothing was counted."""
    found = outlook_of(
        connection, apiary, hive, as_of_s,
        recorded_by_s=recorded_by_s, is_watched=is_watched, beside=beside,
    )  # fmt: skip
    return None if found is None else outlook_dict(found)


def _visits(seen: Sequence[Stored], as_of_s: int) -> tuple[tuple[str, int], ...]:
    return tuple((one.id, one.version) for one in seen if one.at_s <= as_of_s)
