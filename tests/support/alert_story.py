"""A day on a fake clock: findings come, the daemon dies, a phone rings."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from sqlalchemy import func, select

from hivewatch.alerts import answers, outbox
from hivewatch.alerts.deliver import Delivery
from hivewatch.alerts.ledger import Letter, Outcome
from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding, identity
from hivewatch.settings import Quiet
from hivewatch.store import findings
from hivewatch.store.open import Store
from hivewatch.store.schema import alert as alert_table
from hivewatch.store.schema import delivery as delivery_table
from hivewatch.store.schema import yard as yard_table

NIGHT = Quiet(time(22), time(6, 30))


class Killed(BaseException):
    """The process is gone."""


class Manners:
    """The one setting that alerts look at."""

    def __init__(self, quiet: Quiet | None) -> None:
        self.quiet = quiet


class Phone:
    """A channel that keeps what it is handed, and can be away."""

    kind = "phone"

    def __init__(self, day: Day, name: str = "phone") -> None:
        self.name, self._day = name, day
        self.rang: list[tuple[int, Letter]] = []
        self.answers: list[Outcome | BaseException] = []
        self.is_away = False
        self.dies: str | None = None  # "before" or "after" it rings
        self.died_over: list[Letter] = []
        self.meanwhile: Callable[[], object] | None = None  # happens while a message is under way

    def send(self, letter: Letter) -> Outcome:
        if self.meanwhile is not None:
            happens, self.meanwhile = self.meanwhile, None
            happens()
        if self.dies == "before":
            self.dies = None
            raise Killed
        if self.answers:
            answer = self.answers.pop(0)
            if isinstance(answer, BaseException):
                raise answer
            if answer.state != "sent":
                return answer
        if self.is_away:
            return Outcome("waiting", "passing fault", "no answer")
        self.rang.append((self._day.now_s(), letter))
        if self.dies == "after":
            self.dies = None
            self.died_over.append(letter)
            raise Killed
        return Outcome("sent", "sent", "taken")

    def heard(self, clock: str, *words: str, times: int = 1) -> None:
        """It rang at that minute, so many times, with these words."""
        heard = [one for at_s, one in self.rang if self._day.clock(at_s) == clock]
        assert len(heard) == times, (clock, self.log())
        for letter in heard:
            for word in words:
                assert word in f"{letter.title}\n{letter.body}", (word, letter)

    def heard_nothing_more(self, count: int) -> None:
        assert len(self.rang) == count, self.log()

    def log(self) -> list[tuple[str, str]]:
        return [(self._day.clock(at_s), letter.title) for at_s, letter in self.rang]


class Day:
    """The story's clock, store and daemon."""

    def __init__(self, path: Path, timezone: str, quiet: Quiet | None, day: str) -> None:
        self.place = ZoneInfo(timezone)
        self.yard = Yard("millrace", "Mill race", 52.2, 0.12, timezone)
        self.limits = Manners(quiet)
        self.phone = Phone(self)
        self.channels: list[Phone] = [self.phone]
        self._path = path
        self._now = datetime.fromisoformat(day).replace(tzinfo=self.place)
        self.told: dict[str, Finding] = {}
        self._daemon: Delivery | None = None
        self._looks = False
        self.start()
        with self.store.write() as connection:
            values = {name: getattr(self.yard, name) for name in yard_table.c.keys()}  # noqa: SIM118
            connection.execute(yard_table.insert().values(values))

    def now_s(self) -> int:
        return round(self._now.timestamp())

    def monotonic_s(self) -> float:
        return self._now.timestamp()

    def clock(self, at_s: int) -> str:
        return f"{datetime.fromtimestamp(at_s, self.place):%H:%M}"

    def at(self, clock: str, *, fold: int = 0) -> Day:
        """Let the time pass until then, tomorrow if it is past today."""
        local = datetime.fromtimestamp(self.now_s(), self.place)
        then = datetime.combine(local.date(), time.fromisoformat(clock), self.place).replace(
            fold=fold
        )
        if then.timestamp() < self._now.timestamp():
            then = datetime.combine(
                local.date() + timedelta(days=1), time.fromisoformat(clock), self.place
            ).replace(fold=fold)
        self.wait(round(then.timestamp()) - self.now_s())
        return self

    def set_clock(self, days: int) -> None:
        """Set the machine's clock so many days ahead or back."""
        self._now = datetime.fromtimestamp(self.now_s() + days * 86_400, self.place)
        self.look()

    def wait(self, seconds: int) -> None:
        end_s = self.now_s() + seconds
        while self.now_s() < end_s:
            then_s = min(self._next_s(), self.now_s() + 6 * 3600, end_s)
            self._now = datetime.fromtimestamp(then_s, self.place)
            self.look()

    def _next_s(self) -> int:
        """When something is to be done next; the daemon itself looks each second."""
        with self.store.read() as connection:
            waits = delivery_table.c.state == "waiting", delivery_table.c.next_try_s <= self.now_s()
            if connection.execute(select(delivery_table.c.alert).where(*waits)).first():
                return self.now_s() + 60  # its channel rests
            later = [
                connection.execute(select(func.min(column)).where(column > self.now_s())).scalar()
                for column in (alert_table.c.due_s, delivery_table.c.next_try_s)
            ]
        return min((one for one in later if one is not None), default=sys.maxsize)

    def look(self) -> None:
        if self._looks:
            return  # a message is under way: what happens meanwhile is for later
        self._looks = True
        try:
            while self._daemon is not None and self._daemon.step():
                pass
        except Killed:
            self.kill()
        finally:
            self._looks = False

    @property
    def is_dead(self) -> bool:
        return self._daemon is None

    def kill(self) -> None:
        self._daemon = None
        self.store.close()

    def start(self) -> None:
        self.store = Store(self._path)
        self._daemon = Delivery(self.store, self.channels, self, random=Random(7), inline=True)
        self._daemon.recover()
        self.look()

    def find(
        self,
        kind: str,
        *names: str,
        start: int = 0,
        end: int | None = None,
        settled: int = 0,
        confidence: float = 0.97,
    ) -> list[Finding]:
        """Settle findings that began, ended and were settled in the data so many seconds ago."""
        if not names:
            names = ("millrace-1",)
        device = kind in {"silent", "stuck", "clock", "low_battery", "scale_drift"}
        now_s = self.now_s()
        found = [
            Finding(
                kind=kind,
                subject=f"{'device' if device else 'hive'}:{name}",
                start_s=now_s - start,
                end_s=None if end is None else now_s - end,
                detected_s=now_s - (settled if end is None else end),
                confidence=confidence,
                evidence=("seen by a story",),
                status="open" if end is None else "ended",
            )
            for name in names
        ]
        found = [replace(one, id=identity(one)) for one in found]
        self.settle(found)
        return found

    def becomes(self, one: Finding, **values: object) -> Finding:
        """Settle a finding anew, changed."""
        changed = replace(self.told[one.id], **values)
        self.settle([changed])
        return changed

    def settle_afresh(self, one: Finding) -> None:
        """Settle a finding as if nothing had been told before."""
        self.settle([one], before=[])

    def settle(self, found: Sequence[Finding], before: Sequence[Finding] | None = None) -> None:
        if before is None:
            before = list(self.told.values())
        settled = {**self.told, **{one.id: one for one in found}}
        for one in found:
            hive = one.subject.partition(":")[2]
            with self.store.write() as connection:
                findings.write(connection, [one], hive, self.yard.id, self.now_s())
                outbox.enqueue(
                    connection,
                    before,
                    [*before, one],
                    yard=self.yard,
                    hive=hive,
                    limits=self.limits,
                    now_s=self.now_s(),
                )
        self.told = settled
        self.look()

    def story(self, one: Finding) -> answers.Story:
        with self.store.read() as connection:
            (alert,) = answers.read(connection, finding=one.id, for_the_phone=False)
            story = answers.story(connection, alert.id)
        assert story is not None
        return story

    def acknowledge(self, one: Finding) -> None:
        with self.store.write() as connection:
            number = self.story(one).alert.id
            assert answers.acknowledge(connection, number, "keeper", self.now_s())

    def snooze(self, one: Finding, seconds: int) -> None:
        with self.store.write() as connection:
            number, until_s = self.story(one).alert.id, self.now_s() + seconds
            assert answers.snooze(connection, number, until_s, "keeper", self.now_s())

    def is_(self, one: Finding, state: str, reason: str) -> None:
        """The finding's alert stands so."""
        alert = self.story(one).alert
        assert (alert.state, alert.reason) == (state, reason), self.story(one)
