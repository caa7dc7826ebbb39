"""Send what is due, each channel at its own pace, and record what became of it after the send.

A channel has a thread of its own: Apprise blocks, and a service that hangs must not hold up the
others. No transaction is open during a send.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from queue import Empty, SimpleQueue
from random import Random

import structlog
from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from hivewatch.alerts import ledger
from hivewatch.alerts.channels import Channel
from hivewatch.alerts.ledger import Letter, Outcome
from hivewatch.alerts.phones import KIND as PHONE
from hivewatch.alerts.phones import note
from hivewatch.clock import Clock
from hivewatch.metrics import DELIVERIES, at_zero
from hivewatch.store.open import Store

LOG = structlog.get_logger()
LOOK_EVERY_S = 1.0  # [s] own choice: how long an emergency may wait to be seen
REST_MAX_S = 300  # [s] own choice: how long a channel that fails is left alone at most
RAISED_MAX = 3  # own choice: a message that makes the sender raise so often is set aside
HANGS_AFTER_S = 120.0  # [s] own choice: four times the longest time-out of one send
HANGS_AGAIN_S = 3600.0  # [s] a repeating fault is logged hourly
STATES = ("sent", "waiting", "failed")


class _Courier:
    """One channel and the thread that serves it."""

    def __init__(self, channel: Channel, done: SimpleQueue[tuple[Letter, Outcome]]) -> None:
        self.channel = channel
        self.busy: Letter | None = None
        self.since_s = 0.0  # when it was handed the letter
        self.warn_s = HANGS_AFTER_S  # after how long in hand the log is told
        self.faults = 0
        self.rests_until_s = 0
        self._done = done
        self._letters: SimpleQueue[Letter | None] = SimpleQueue()
        self._thread: threading.Thread | None = None

    def carry(self, letter: Letter, since_s: float, *, inline: bool) -> None:
        """Send a letter, in the channel's own thread unless `inline`."""
        self.busy, self.since_s, self.warn_s = letter, since_s, HANGS_AFTER_S
        if inline:
            self._done.put((letter, _send(self.channel, letter)))
            return
        if self._thread is None:
            self._thread = threading.Thread(
                target=self._serve, name=f"channel {self.channel.name}", daemon=True
            )
            self._thread.start()
        self._letters.put(letter)

    def _serve(self) -> None:
        while (letter := self._letters.get()) is not None:
            self._done.put((letter, _send(self.channel, letter)))

    def stop(self) -> None:
        """End the thread after what it has in hand."""
        if self._thread is not None:
            self._letters.put(None)
            self._thread = None


def _send(channel: Channel, letter: Letter) -> Outcome:
    """Send, and turn a fault of ours into an outcome: this row, not the loop, has to bear it."""
    try:
        return channel.send(letter)
    except Exception as error:  # noqa: BLE001 - whatever a service's code raises
        line = f"the sender broke ({type(error).__name__})"
        LOG.warning("sender_broke", channel=channel.name, alert=letter.alert, error=line)
        if letter.attempts + 1 >= RAISED_MAX:
            return Outcome("failed", "set aside", line)
        return Outcome("waiting", "passing fault", line)


class Delivery:
    """The loop that sends alerts."""

    def __init__(
        self,
        store: Store,
        channels: Sequence[Channel],
        clock: Clock,
        *,
        phones: Callable[[], Sequence[Channel]] | None = None,
        random: Random | None = None,
        inline: bool = False,
    ) -> None:
        """Take the channels of the settings, and who gives those of the phones that ring now.

        `inline` sends without threads, for tests.
        """
        self._store = store
        self._clock = clock
        self._random = random or Random()  # noqa: S311 - spreads retries, guards nothing
        self._inline = inline
        self._done: SimpleQueue[tuple[Letter, Outcome]] = SimpleQueue()
        self._unrecorded: deque[tuple[Letter, Outcome]] = deque()
        self._couriers = {one.name: _Courier(one, self._done) for one in channels}
        self._phones, self._ringing = phones, frozenset[str]()
        kinds = {one.kind for one in channels} | ({PHONE} if phones else set())
        at_zero(DELIVERIES, sorted(kinds), STATES)

    def run(self, stop: threading.Event, beat: Callable[[], None]) -> None:
        """Send until told to stop; at most the sends under way are waited for, a little."""
        self.recover()
        try:
            while not stop.is_set():
                beat()
                self.step()
                stop.wait(LOOK_EVERY_S)
        finally:
            self.close()

    def recover(self) -> None:
        """Take up what the last run left; once, before the first step."""
        now_s = self._clock.now_s()
        self._gather(now_s)
        in_hand = {(one.busy.alert, name) for name, one in self._couriers.items() if one.busy}
        with self._store.write() as connection:
            interrupted = ledger.recover(connection, now_s, in_hand)
            ledger.waiting_elsewhere(connection, self._couriers, now_s)
        if interrupted:
            LOG.warning("deliveries_interrupted", count=interrupted)

    def step(self) -> int:
        """Record what has come back, then hand out what is due; give how many were handed out."""
        now_s = self._clock.now_s()
        self._record(now_s)
        self._gather(now_s)
        self._look_for_hangs()
        idle = [name for name, one in self._couriers.items() if one.busy is None]
        with self._store.read() as connection:
            new = ledger.is_any_unaddressed(connection, now_s, has_channels=bool(self._couriers))
            if not new and not self._next(connection, idle, now_s):
                return 0
        with self._store.write() as connection:
            ledger.address(connection, list(self._couriers), now_s)
            taken = ledger.take(connection, self._next(connection, idle, now_s))
        for letter in taken:
            courier = self._couriers[letter.channel]
            courier.carry(letter, self._clock.monotonic_s(), inline=self._inline)
        if self._inline:
            self._record(now_s)
        return len(taken)

    def settle(self, timeout_s: float) -> bool:
        """Wait until nothing is under way, and record it; False when the time is out."""
        tick = threading.Event()
        for _ in range(max(1, round(timeout_s / 0.02))):
            self._record(self._clock.now_s())
            if not self._unrecorded and all(one.busy is None for one in self._couriers.values()):
                return True
            tick.wait(0.02)
        return False

    def close(self, timeout_s: float = 5.0) -> None:
        """End the threads; a send that hangs is left, and taken up at the next start."""
        for one in self._couriers.values():
            one.stop()
        if not self.settle(timeout_s):
            LOG.warning("deliveries_left_under_way")

    def _gather(self, now_s: int) -> None:
        """Take up the phones that ring now; let go of the others once they have nothing in hand."""
        if self._phones is None:
            return
        found = {one.name: one for one in self._phones()}
        for name, channel in found.items():
            if name in self._couriers:
                self._couriers[name].channel = channel
            else:
                self._couriers[name] = _Courier(channel, self._done)
        gone = {
            name
            for name in self._ringing - found.keys()
            if name in self._couriers and self._couriers[name].busy is None
        }
        for name in gone:
            self._couriers.pop(name).stop()
        self._ringing = frozenset((self._ringing - gone) | found.keys())
        if gone:
            with self._store.write() as connection:
                ledger.waiting_elsewhere(connection, self._couriers, now_s)

    def _next(self, connection: Connection, idle: Sequence[str], now_s: int) -> list[Letter]:
        """Read what may be handed out now."""
        letters = ledger.next_letters(connection, idle, now_s)
        return [one for one in letters if self._may_go(one, now_s)]

    def _may_go(self, letter: Letter, now_s: int) -> bool:
        """Leave a failing channel alone for a while, but for an emergency not tried yet."""
        if letter.urgency == "emergency" and letter.attempts == 0:
            return True
        rest_s = self._couriers[letter.channel].rests_until_s - now_s
        return not 0 < rest_s <= REST_MAX_S  # longer: the clock was set back

    def _record(self, now_s: int) -> None:
        """Write down what came back; what cannot be written is kept and not sent again."""
        while True:
            try:
                self._unrecorded.append(self._done.get_nowait())
            except Empty:
                break
        while self._unrecorded:
            letter, outcome = self._unrecorded[0]
            courier = self._couriers[letter.channel]
            wait_s = ledger.wait_s(letter.attempts + 1, self._random.random(), outcome.first_wait_s)
            wait_s = max(wait_s, outcome.least_wait_s)
            try:
                with self._store.write() as connection:
                    ledger.record(connection, letter, outcome, now_s, wait_s)
                    note(connection, letter.channel, outcome, now_s)
            except SQLAlchemyError:
                LOG.exception("delivery_not_recorded", alert=letter.alert)
                return
            self._unrecorded.popleft()
            courier.busy = None
            if courier.warn_s != HANGS_AFTER_S:
                held_s = self._clock.monotonic_s() - courier.since_s
                LOG.info("channel_hangs_over", channel=letter.channel, after_s=int(held_s))
            self._tell(courier, letter, outcome, now_s, wait_s)

    def _look_for_hangs(self) -> None:
        """Say when a service holds a message for long; it is never sent beside a send under way."""
        for name, one in self._couriers.items():
            held_s = self._clock.monotonic_s() - one.since_s
            if one.busy is not None and held_s > one.warn_s:
                one.warn_s = held_s + HANGS_AGAIN_S
                LOG.warning("channel_hangs", channel=name, alert=one.busy.alert, for_s=int(held_s))

    def _tell(
        self, courier: _Courier, letter: Letter, outcome: Outcome, now_s: int, wait_s: int
    ) -> None:
        """Count and log an attempt; a channel that fails rests."""
        DELIVERIES.labels(courier.channel.kind, outcome.state).inc()
        courier.faults = courier.faults + 1 if outcome.state == "waiting" else 0
        rest_s = ledger.wait_s(courier.faults, 0.5) if courier.faults else 0
        courier.rests_until_s = now_s + min(max(rest_s, outcome.least_wait_s), REST_MAX_S)
        log = LOG.info if outcome.state == "sent" else LOG.warning
        log(
            f"delivery_{'put_off' if outcome.state == 'waiting' else outcome.state}",
            alert=letter.alert,
            channel=letter.channel,
            attempt=letter.attempts + 1,
            said=outcome.line,
            **({"again_in_s": wait_s} if outcome.state == "waiting" else {}),
        )
