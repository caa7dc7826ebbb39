"""The mirror's loop.

Our store is the truth and keeps how far the mirror has come; a point sent again overwrites itself,
so after any fault we send from the last certain place on. A mirror that is away for weeks catches
up, and nothing else waits for it.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from threading import Event

from hivewatch import metrics
from hivewatch.clock import Clock
from hivewatch.mirror.endpoint import AwayError, Endpoint, RefusedError
from hivewatch.mirror.lines import finding_line, reading_lines
from hivewatch.mirror.told import Told
from hivewatch.settings import Mirror as MirrorSettings
from hivewatch.store import apiary as apiary_rows
from hivewatch.store import findings, mirrored
from hivewatch.store.open import Store
from hivewatch.store.pages import read_page

PAUSE_S = 1.0  # own choice: a reading is in the mirror within about two seconds of being stored
POINTS = 5000  # points at once: InfluxDB v2 manual, "Optimize writes"
AWAY_S = (1.0, 300.0)  # own choice: first and longest wait for a server that is away
FOR_GOOD_S = 900.0  # own choice: for one that refuses us, until a person has acted
BEAT_S = 5.0  # own choice: how often a loop that waits says that it lives
LOOK_S = 10.0  # own choice: how soon a device is sent again that was placed elsewhere
LATE_S = 600  # own choice: a finding is committed at most so long after the time it bears
REFUSED_MAX = 8  # own choice: refused points of one batch that are looked for one by one
STATES = ("written", "refused")
metrics.at_zero(metrics.MIRROR_POINTS, STATES)


class Mirror:
    """Sends to the endpoint what the store has and it has not."""

    def __init__(self, store: Store, settings: MirrorSettings, clock: Clock) -> None:
        """Make the client; nothing is sent before `run`."""
        self._store, self._clock = store, clock
        self._endpoint = Endpoint(settings)
        self._target = f"{settings.url}\n{settings.org}\n{settings.bucket}"
        self._outage, self._refusal = Told("mirror_away"), Told("mirror_refused_points")
        self._look_s = 0.0  # when to see again whether a device stands elsewhere
        self._sent: dict[str, tuple[int, str]] = {}  # finding -> when it changed, its line

    def run(self, stop: Event, beat: Callable[[], None]) -> None:
        """Send until told to stop."""
        tries = 0
        while not stop.is_set():
            beat()
            try:
                wait_s = 0.0 if self.step(stop, beat) else PAUSE_S
            except AwayError as error:
                tries += 1
                self._note(error)
                wait_s = _wait_s(error, tries)
            else:
                tries = 0
            while wait_s > 0 and not stop.wait(min(wait_s, BEAT_S)):
                beat()
                wait_s -= BEAT_S
        self._endpoint.close()

    def step(self, stop: Event, beat: Callable[[], None]) -> bool:
        """Send the next page of each device, and the findings; whether there is more.

        Raises
        ------
        AwayError
            If the server takes nothing; what was not sent stays due.
        """
        with self._store.read() as connection:
            is_any = bool(mirrored.marks(connection))
            if self._clock.monotonic_s() >= self._look_s:
                self._look_s = self._clock.monotonic_s() + LOOK_S
                is_any = is_any or bool(mirrored.moved(connection, self._target))
        if is_any:
            with self._store.write() as connection:
                mirrored.take_over(connection, self._target)
        self._send_findings(beat)
        return self._send_readings(stop, beat)

    def _send_readings(self, stop: Event, beat: Callable[[], None]) -> bool:
        """Send one page of each device that has something, several small ones at once."""
        with self._store.read() as connection:
            waiting = mirrored.waiting(connection)
            stood = mirrored.places(apiary_rows.read(connection)) if waiting else {}
        metrics.MIRROR_WAITING.set(len(waiting))
        lines: list[str] = []
        moved: dict[int, int | None] = {}
        for place, one in enumerate(waiting, start=1):
            with self._store.read() as connection:
                page, rest_ms = read_page(connection, one.number, one.from_ms, POINTS)
            lines += reading_lines(one.device, stood.get(one.device, ()), page)
            moved[one.number] = rest_ms
            if len(lines) >= POINTS or place == len(waiting):
                self._send(lines, beat)
                with self._store.write() as connection:
                    mirrored.advance(connection, moved)
                if stop.is_set():
                    return False
                lines, moved = [], {}
        return bool(waiting)

    def _send_findings(self, beat: Callable[[], None]) -> None:
        """Send the findings that have changed.

        A finding bears the time at which the look began and is committed later, so those of the
        last minutes are read again and again, and sent when they are not what was sent.
        """
        with self._store.read() as connection:
            until_s = mirrored.findings_s(connection)
        from_s = min(until_s, self._clock.now_s()) - LATE_S
        self._sent = {name: sent for name, sent in self._sent.items() if sent[0] >= from_s}
        after: tuple[int, str] | None = (from_s, "")
        while after is not None:
            with self._store.read() as connection:
                page = findings.changed(connection, after, POINTS)
            new = {
                one.id: (changed_s, line)
                for one, changed_s in page
                if (line := finding_line(one, changed_s)) != self._sent.get(one.id, (0, ""))[1]
            }
            if new:
                self._send([line for _, line in new.values()], beat)
                self._sent |= new
                with self._store.write() as connection:
                    mirrored.put(connection, mirrored.FINDINGS, page[-1][1])
            after = (page[-1][1], page[-1][0].id) if len(page) == POINTS else None

    def _send(self, lines: Sequence[str], beat: Callable[[], None]) -> None:
        """Send points; those that the server refuses are sought out, counted and left behind."""
        parts, singles = [lines] if lines else [], 0
        while parts:
            part = parts.pop()
            refused = 0
            beat()
            try:
                self._endpoint.write(part)
            except RefusedError as error:
                smaller = _smaller(part) if error.dropped is None else []
                if smaller and (error.is_size or singles < REFUSED_MAX):
                    parts += smaller
                    continue
                singles += len(part) == 1
                refused = len(part) if error.dropped is None else min(error.dropped, len(part))
                now_s = self._clock.monotonic_s()
                self._refusal.again(now_s, str(error), is_grave=True, times=refused)
            metrics.MIRROR_POINTS.labels("refused").inc(refused)
            metrics.MIRROR_POINTS.labels("written").inc(len(part) - refused)
            self._outage.over(self._clock.monotonic_s())

    def _note(self, error: AwayError) -> None:
        """Tell of an outage once, and then every hour."""
        self._outage.again(self._clock.monotonic_s(), str(error), is_grave=error.permanent)


def _smaller(lines: Sequence[str]) -> list[Sequence[str]]:
    """Part points: each measurement by itself (it may be of another type there), or halves."""
    by_name: dict[str, list[str]] = {}
    for line in lines:
        by_name.setdefault(line.partition(",")[0], []).append(line)
    if len(by_name) > 1:
        return list(by_name.values())
    half = len(lines) // 2
    return [lines[half:], lines[:half]] if half else []


def _wait_s(error: AwayError, tries: int) -> float:
    """Say when to try again."""
    if error.again_after_s is not None:
        return max(1.0, error.again_after_s)
    first_s, longest_s = AWAY_S
    wait_s = FOR_GOOD_S if error.permanent else min(longest_s, first_s * 2.0 ** min(tries - 1, 20))
    return wait_s * random.uniform(0.5, 1.0)  # noqa: S311 - jitter, no secret
