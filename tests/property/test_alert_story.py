"""Whatever happens, no alert is lost, and none rings twice but for a death in the window."""

from __future__ import annotations

import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from alert_story import NIGHT, Day
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hivewatch.alerts.phrases import PHRASES
from hivewatch.alerts.rules import RULES

KINDS = ("silent", "low_battery", "toppled", "swarm", "handling")  # gathered, at once, never
NAMES = tuple(f"{word}-1" for word in ("alder", "birch", "cedar"))
CHANGES = ("end", "withdraw", "explain", "open", "sure", "unsure")

kinds, names = st.sampled_from(KINDS), st.sampled_from(NAMES)
number = st.integers(0, 8)
# Away for two days in all at most: after three an alert is given up, by rule.
AWAY_MAX_S = 48 * 3600
steps = st.one_of(
    st.tuples(st.just("find"), kinds, names),
    st.tuples(st.just("find_all"), kinds, st.integers(2, 3)),
    st.tuples(st.just("doubt"), kinds, st.sampled_from(("withdraw", "end", "unsure"))),
    st.tuples(st.just("doubt"), kinds, st.sampled_from(("withdraw", "explain", "open"))),
    st.tuples(st.just("change"), number, st.sampled_from(CHANGES)),
    st.tuples(st.just("change"), number, st.sampled_from(("withdraw", "open"))),
    st.tuples(st.just("meanwhile"), number, st.sampled_from((*CHANGES, "acknowledge", "snooze"))),
    st.tuples(st.just("acknowledge"), number, st.none()),
    st.tuples(st.just("snooze"), number, st.integers(60, 6 * 3600)),
    st.tuples(st.just("wait"), st.integers(1, 900), st.none()),
    st.tuples(st.just("wait"), st.integers(900, 12 * 3600), st.none()),
    st.tuples(st.just("away"), st.integers(60, 12 * 3600), st.none()),
    st.tuples(st.just("die"), st.sampled_from(["before", "after"]), st.none()),
    st.tuples(st.just("restart"), st.none(), st.none()),
    st.tuples(st.just("replay"), st.none(), st.none()),
)


class Life:
    """One random story, and what it owes the phone."""

    def __init__(self, day: Day) -> None:
        self.day = day
        self.touched: set[str] = set()  # findings that changed
        self.known: set[str] = set()  # findings that somebody has acknowledged
        self.snoozed: Counter[str] = Counter()
        self.away_s = 0

    def live(self, what: str, first: Any, second: Any) -> None:
        getattr(self, what)(first, second)
        if self.day.is_dead:
            self.day.wait(90)
            self.day.start()

    def find(self, kind: str, name: str) -> None:
        """Find what lasts; a kind and subject that is told already is another story."""
        device = kind in {"silent", "low_battery"}
        subject = f"{'device' if device else 'hive'}:{name}"
        if any((one.kind, one.subject) == (kind, subject) for one in self.day.told.values()):
            return
        over = 0 if kind == "swarm" else None
        self.day.find(kind, name, end=over, start=1)

    def find_all(self, kind: str, count: int) -> None:
        """Find the same at several hives of the yard."""
        for name in NAMES[:count]:
            self.find(kind, name)

    def doubt(self, kind: str, how: str) -> None:
        """Find the same at all hives, and have second thoughts on the first of them."""
        self.find_all(kind, len(NAMES))
        kinds_told = sorted(self.day.told.values(), key=lambda one: one.id)
        for which, one in enumerate(kinds_told):
            if one.kind == kind and one.subject.endswith(NAMES[0]):
                self.change(which, how)

    def pick(self, which: int) -> Any:
        told = sorted(self.day.told.values(), key=lambda one: one.id)
        return told[which % len(told)] if told else None

    def change(self, which: int, how: str) -> None:
        one = self.pick(which)
        if one is None:
            return
        now_s = self.day.now_s()
        if how not in {"sure", "open"}:
            self.touched.add(one.id)
        self.day.becomes(
            one,
            **{
                "end": {"end_s": now_s, "status": "ended"},
                "withdraw": {"status": "withdrawn"},
                "explain": {"status": "explained", "explained_by": "i1"},
                "open": {"status": "open", "end_s": now_s if one.kind == "swarm" else None},
                "sure": {"confidence": 0.99},
                "unsure": {"confidence": 0.3},
            }[how],
        )

    def wait(self, seconds: int, _: None) -> None:
        self.day.wait(seconds)

    def restart(self, _: None, __: None) -> None:
        self.day.kill()

    def die(self, when: str, _: None) -> None:
        self.day.phone.dies = when

    def away(self, seconds: int, _: None) -> None:
        seconds = min(seconds, AWAY_MAX_S - self.away_s)
        self.away_s += seconds
        self.day.phone.is_away = True
        self.day.wait(seconds)
        self.day.phone.is_away = False

    def acknowledge(self, which: int, _: None) -> None:
        if one := self.pick(which):
            self.day.acknowledge(one)
            self.known.update(self.told_with(one.id))

    def snooze(self, which: int, seconds: int) -> None:
        if one := self.pick(which):
            self.day.snooze(one, seconds)
            self.snoozed.update(self.told_with(one.id))

    def told_with(self, finding: str) -> list[str]:
        """Name the findings told within a finding's message, itself among them."""
        mine = self.day.story(self.day.told[finding]).alert
        return [
            one.id
            for one in self.day.told.values()
            if one.id == finding or self.day.story(one).alert.folded_into == mine.id
        ]

    def meanwhile(self, which: int, how: str) -> None:
        """Let something happen while the next message is under way."""
        more = {
            "acknowledge": lambda: self.acknowledge(which, None),
            "snooze": lambda: self.snooze(which, 3600),
        }
        self.day.phone.meanwhile = more.get(how, lambda: self.change(which, how))

    def replay(self, _: None, __: None) -> None:
        """Settle everything again, as a start from nothing before would."""
        for one in list(self.day.told.values()):
            self.day.settle_afresh(one)

    def heard(self, finding: Any) -> int:
        """Count how often the phone was told of a finding."""
        name, head = finding.subject.partition(":")[2], _words(finding.kind)
        return sum(
            any(word in letter.title for word in head) and name in f"{letter.title}\n{letter.body}"
            for _, letter in self.day.phone.rang
        )

    def deaths(self, finding: Any) -> int:
        """Count the deaths right after a message that told of a finding."""
        name, head = finding.subject.partition(":")[2], _words(finding.kind)
        return sum(
            any(word in letter.title for word in head) and name in f"{letter.title}\n{letter.body}"
            for letter in self.day.phone.died_over
        )

    def end(self) -> None:
        """Let five days pass in peace, then look at what the phone has heard."""
        self.day.phone.dies = self.day.phone.meanwhile = None
        if self.day.is_dead:
            self.day.start()
        self.day.wait(5 * 86400)
        for one in self.day.told.values():
            story = self.day.story(one)
            times = self.heard(one)
            stands = one.status == "open" and one.confidence > 0.5
            owed = RULES[one.kind].urgency != "not for the phone" and one.id not in self.known
            owed = owed and (stands or one.id not in self.touched)
            assert times >= owed, ("lost", one, story)
            most = 1 + self.deaths(one) + self.snoozed[one.id]
            assert times <= most, ("too often", one, story, self.day.phone.log())
            assert story.decisions, ("no reason kept", one)
            done = story.alert.sent_s is not None or story.alert.state in {"dropped", "failed"}
            assert done, ("never settled", one, story)
            assert story.alert.state != "failed", ("failed", one, story)


def _words(kind: str) -> tuple[str, ...]:
    return PHRASES[kind].head, PHRASES[kind].many


@pytest.mark.slow
@pytest.mark.timeout(600)
@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(st.lists(steps, min_size=5, max_size=25), st.sampled_from([None, NIGHT]))
def test_no_alert_is_lost_and_none_rings_twice_without_a_death(story, quiet):
    memory = "/dev/shm" if Path("/dev/shm").is_dir() else None  # deaths here are no power cuts
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        day = Day(Path(folder) / "story.db", "America/Toronto", quiet, "2026-03-07T15:00")
        try:
            life = Life(day)
            for step in story:
                life.live(*step)
            life.end()
        finally:
            day.store.close()
