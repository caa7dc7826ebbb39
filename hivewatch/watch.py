"""Look at the hives: read a window, ask the detectors, settle it with what was told before.

`look` is pure but for its reading of the store; `Watcher` is the loop that looks at every hive
whose data changed, and writes down what is found and what a phone must hear.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from itertools import groupby
from threading import Event

import structlog
from sqlalchemy import Connection

from hivewatch import metrics
from hivewatch.alerts import outbox
from hivewatch.apiary import Apiary
from hivewatch.clock import Clock
from hivewatch.detect import run
from hivewatch.detect.carrying import asked_from_s
from hivewatch.detect.finding import KINDS, Finding, settle
from hivewatch.looks import Look, Together, hive_of, look_together
from hivewatch.settings import Alerts, Settings
from hivewatch.signals.carried import unless_same
from hivewatch.signals.days import Days, days_of
from hivewatch.signals.weighed import as_weighed
from hivewatch.signals.window import HiveWindow
from hivewatch.store import apiary as apiary_rows
from hivewatch.store import findings, inspections, stale
from hivewatch.store.inspections import Stored
from hivewatch.store.keeper import WindowKeeper
from hivewatch.store.open import Store
from hivewatch.store.windows import next_dated_s
from hivewatch.timeline.explain import explain
from hivewatch.timeline.stated import Noted

LOG = structlog.get_logger(__name__)
WAITING_MOST = 20  # [hives] own choice: some seconds, where each has a history of years
PAUSE_S = 0.2  # own choice: how soon what another process has stored is seen
metrics.at_zero(metrics.FINDINGS, KINDS)


@dataclass(frozen=True, slots=True)
class Known:
    """What was told of a hive, what people wrote down of it, and what was found last."""

    told: Sequence[Finding]
    noted: Sequence[Stored]
    found: Sequence[Finding] | None = None
    left: Sequence[Finding] = ()

    @classmethod
    def read(cls, connection: Connection, hive: str, received_by_s: int | None = None) -> Known:
        """Read it from the store."""
        told = [one for one in findings.read(connection, hive=hive) if not run.is_of_yard(one)]
        noted = inspections.read(connection, hive=hive, recorded_by_s=received_by_s)
        return cls(told, noted)


def look(
    connection: Connection,
    window: HiveWindow,
    settings: Alerts,
    as_of_s: int,
    *,
    received_by_s: int | None = None,
    known: Known | None = None,
) -> Look:
    """Say what the detectors find of one hive at a moment.

    Parameters
    ----------
    window : HiveWindow
        The hive up to that moment.
    as_of_s : int
        The moment; nothing measured later counts. [s]
    received_by_s : int or None
        For a replay: no inspection written down later counts. None: all there is. [s]
    known : Known or None
        What was told and written down, where that is known; else it is read.
    """
    known = known or Known.read(connection, window.hive.id, received_by_s)
    noted = [stored for stored in known.noted if stored.at_s <= as_of_s]
    found = find(window, noted, settings, as_of_s)
    again_s = run.look_again_s(window, settings)
    settled, left = known.told, known.left
    if found is not known.found:
        left = tuple(one for one in found if run.is_left_to_yard(one))
        left = known.left if left == known.left else left
        settled = settle(settled, (one for one in found if not run.is_left_to_yard(one)))
    return Look(window.yard, window.hive.id, known.told, settled, found, left, again_s)


def find(
    window: HiveWindow, noted: Sequence[Noted], settings: Alerts, as_of_s: int
) -> list[Finding]:
    """Say what the detectors find of a hive, and which of it an inspection accounts for; pure."""
    found = run.detect(window, [one.inspection for one in noted], settings, as_of_s)
    return unless_same(window, "explained", (found, noted), lambda: explain(found, noted))


class Watcher:
    """Looks at hives; the only writer of findings."""

    def __init__(
        self,
        store: Store,
        settings: Settings,
        clock: Clock,
        changed: Callable[[str, int], None] = lambda _hive, _from_s: None,
    ) -> None:
        """Look at every hive once at the start: time has passed, too.

        `changed` is told of every hive that was looked at, and from when on it changed.
        """
        self._store, self._settings, self._clock = store, settings, clock
        self._changed = changed
        self._again_s: dict[str, int | None] = {}
        self._windows = WindowKeeper()
        self._known: dict[str, Known] = {}
        self._days: dict[str, Days] = {}
        self._yards: dict[str, Together] = {}
        self._apiary: Apiary | None = None

    def run(self, stop: Event, beat: Callable[[], None]) -> None:
        """Look at what changed, and at what time alone may have changed."""
        while not stop.is_set():
            beat()
            self._store.written.clear()
            if not self.look_round(stop, beat):
                self._store.written.wait(PAUSE_S)

    def look_round(self, stop: Event, beat: Callable[[], None]) -> int:
        """Look once at every hive that is due; gives how many were.

        When a look breaks, the others are had all the same; the marks stay, and all of it is tried
        again.
        """
        with self._store.read() as connection:
            marks = [one for one in stale.read(connection) if not one.subject.startswith("mirror:")]
            if self._apiary is None or any(one.subject.startswith("hive:") for one in marks):
                self._apiary = apiary_rows.read(connection)  # what edits it marks a hive
        apiary, changed_ms = self._apiary, {one.subject: one.from_ms for one in marks}
        changed_s = stale.hives(marks, apiary, self._windows.lent_by)
        due = self._due(changed_s.keys(), apiary)
        broke: dict[str, Exception] = {}
        for hive_id in due:
            if stop.is_set():
                return len(due)
            try:
                self._look(apiary, hive_id, changed_ms)
            except Exception as error:  # noqa: BLE001 - one hive must not keep the others waiting
                self._forget(hive_id)
                broke[hive_id] = error
            beat()
        self._look_at_yards(apiary, set(due), set(broke))
        for fault in broke.values():
            raise fault
        if marks:
            with self._store.write(must_last=False) as connection:  # else it is looked at again
                stale.clear(connection, marks)
            for hive_id, from_s in changed_s.items():
                self._changed(hive_id, from_s)
        return len(due)

    def _due(self, changed: AbstractSet[str], apiary: Apiary) -> list[str]:
        """Name the hives to look at: those that changed, and some for which only time passed.

        At the start all are due; the first look at years of a thousand hives takes minutes, and
        what comes meanwhile must not wait for it.
        """
        due = changed & apiary.hive.keys()
        now_s = self._clock.now_s()
        waiting = sorted(
            one.id
            for one in apiary.hives
            if one.id not in due
            and (again_s := self._again_s.get(one.id, now_s)) is not None
            and again_s <= now_s
        )
        return sorted(due) + waiting[:WAITING_MOST]

    def _look(self, apiary: Apiary, hive_id: str, changed_ms: Mapping[str, int]) -> None:
        """Look at one hive."""
        started_s = self._clock.monotonic_s()
        now_s = self._clock.now_s()
        alerts = self._settings.alerts
        if f"hive:{hive_id}" in changed_ms:
            self._forget(hive_id)
        devices = {
            subject.removeprefix("device:"): from_ms
            for subject, from_ms in changed_ms.items()
            if subject.startswith("device:")
        }
        with self._store.read() as connection:
            window = self._windows.read(connection, apiary, hive_id, now_s, devices)
            known = self._known.get(hive_id) or Known.read(connection, hive_id)
            seen = look(connection, window, alerts, now_s, known=known)
            numbers = self._windows.numbers(connection, apiary)
            dated_s = next_dated_s(connection, apiary, hive_id, now_s, numbers)
        moments = [moment for moment in (seen.again_s, dated_s) if moment is not None]
        self._again_s[hive_id] = min(moments, default=None)
        self._days[hive_id] = as_weighed(days_of(window), self._days.get(hive_id))
        self._write(seen, now_s)
        self._known[hive_id] = Known(seen.settled, known.noted, seen.found, seen.left)
        carried = run.carry(window)
        if carried is not window.carried:
            self._windows.carry(hive_id, carried, asked_from_s(carried))
        metrics.EVALUATION.observe(self._clock.monotonic_s() - started_s)

    def _forget(self, hive_id: str) -> None:
        """Read everything of a hive anew next time."""
        self._windows.forget(hive_id)
        self._known.pop(hive_id, None)

    def _look_at_yards(self, apiary: Apiary, due: set[str], broke: set[str]) -> None:
        """Look at the yards whose hives were looked at, but not while one of them is unknown."""
        now_s = self._clock.now_s()
        for name in sorted({apiary.hive[one].yard for one in due}):
            yard, hives = apiary.yard[name], set(apiary.hives_of[name])
            if hives & broke or not hives <= self._days.keys() & self._known.keys():
                continue
            known = {hive: self._known[hive] for hive in sorted(hives)}
            days = {hive: self._days[hive] for hive in known}
            noted = {hive: one.noted for hive, one in known.items()}
            left = {hive: one.left for hive, one in known.items()}
            last = self._yards.pop(name, None)
            with self._store.read() as connection:
                now = look_together(connection, yard, days, noted, left, now_s, last)
            if now is not last:
                self._write(now.look, now_s)
            self._yards[name] = now

    def _write(self, seen: Look, now_s: int) -> None:
        """Write what changed and what a phone must hear, in one transaction."""
        if not seen.changed:
            return
        with self._store.write() as connection:
            for hive, some in groupby(sorted(seen.changed, key=hive_of), key=hive_of):
                findings.write(connection, some, hive or seen.hive, seen.yard.id, now_s)
            outbox.enqueue(
                connection,
                seen.before,
                seen.settled,
                yard=seen.yard,
                limits=self._settings.alerts,
                now_s=now_s,
                hive=seen.hive,
            )
        self._say(seen.changed, {one.id for one in seen.before})

    def _say(self, changed: Iterable[Finding], told: set[str]) -> None:
        """Log what is new or over, one line each."""
        for one in changed:
            if one.id not in told:
                metrics.FINDINGS.labels(one.kind).inc()
                LOG.info("finding_told", kind=one.kind, subject=one.subject, status=one.status)
            elif one.status != "open":
                LOG.info("finding_settled", kind=one.kind, subject=one.subject, status=one.status)
