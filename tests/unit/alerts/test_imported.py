"""Alerts that are taken in from another store: they say what they said, and nobody is rung."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from threading import Event

import pytest
from alert_story import Day

from hivewatch.alerts import answers
from hivewatch.alerts.deliver import Delivery
from hivewatch.alerts.ledger import Outcome
from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.export import Choice, export_all
from hivewatch.ingest.folder import files_of, import_file
from hivewatch.ingest.intake import Intake, Message
from hivewatch.settings import Settings
from hivewatch.store import apiary
from hivewatch.store.open import Store
from hivewatch.watch import Watcher

NAMES = ("millrace-1", "millrace-2", "millrace-3")
HIVES = tuple(Hive(name, "millrace", "langstroth-deep", 10, 1, None) for name in NAMES)
REFUSED = Outcome("failed", "refused", "the service says no")


def moved(store: Store, folder: Path, other: Store, now_s: int, form: str = "csv") -> None:
    """Bring all that one store has into another."""
    export_all(store, folder, Choice(), form=form)
    for path in files_of(folder)[0]:
        done = import_file(other, path, io.BytesIO(), now_s)
        assert done.shown == []


@pytest.fixture
def days(a_day: Callable[..., Day]) -> tuple[Day, Day]:
    """Two stores, and the phones of their keepers."""
    old, new = a_day("2026-05-21T21:00"), a_day("2026-05-21T21:00")
    with old.store.write() as connection:
        apiary.load(connection, Apiary((), HIVES, ()))
    return old, new


def move(old: Day, new: Day, folder: Path) -> None:
    """Move to the new machine, and go on there with what was found."""
    new.wait(old.now_s() - new.now_s())
    moved(old.store, folder, new.store, new.now_s())
    new.told = dict(old.told)
    new.look()


def test_what_waits_is_closed_and_says_why(days: tuple[Day, Day], tmp_path: Path) -> None:
    old, new = days
    old.phone.is_away = True
    (tried,) = old.find("swarm")
    (gathered,) = old.find("low_stores", "millrace-2")
    old.at("23:00")
    (quiet,) = old.find("robbing", "millrace-3")
    (folded,) = old.find("robbing", "millrace-1")
    assert old.story(folded).alert.state == "folded"
    move(old, new, tmp_path / "all")
    for one in (tried, gathered, quiet, folded):
        story = new.story(one)
        before = old.story(one)
        assert (story.alert.state, story.alert.reason) == ("dropped", "imported")
        assert story.alert.folded_into is None
        assert story.alert.title == before.alert.title
        assert story.decisions[:-1] == before.decisions
        assert story.decisions[-1].why.startswith("still to be sent when it was exported")
        assert {one.state for one in story.deliveries} <= {"dropped", "sent", "failed"}
    new.kill()
    new.start()
    new.at("12:00")
    for one in (tried, gathered, quiet, folded):
        new.becomes(one, confidence=0.99, detected_s=new.now_s())
    new.at("23:00").at("12:00")
    new.becomes(tried, status="explained")
    new.becomes(tried, status="open", confidence=0.98)
    new.at("18:00")
    new.phone.heard_nothing_more(0)
    (fresh,) = new.find("toppled", "millrace-2")
    new.phone.heard_nothing_more(1)
    assert new.story(fresh).alert.state == "sent"


def test_what_failed_is_not_tried_again_when_the_daemon_starts(
    days: tuple[Day, Day], tmp_path: Path
) -> None:
    old, new = days
    old.phone.answers = [REFUSED]
    (one,) = old.find("toppled")
    assert old.story(one).alert.state == "failed"
    move(old, new, tmp_path / "all")
    new.kill()
    new.start()
    new.at("09:00")
    new.phone.heard_nothing_more(0)
    assert new.story(one).alert.state == "failed"
    assert new.story(one).decisions[-1].reason == "imported"
    old.kill()
    old.start()
    old.phone.heard_nothing_more(1)  # where it was not imported it is


def test_what_people_said_of_an_alert_stands(days: tuple[Day, Day], tmp_path: Path) -> None:
    old, new = days
    (known,) = old.find("swarm")
    old.acknowledge(known)
    (still,) = old.find("robbing", "millrace-2")
    old.snooze(still, 3 * 3600)
    assert (old.story(still).alert.state, old.story(still).alert.reason) == ("held", "asked again")
    move(old, new, tmp_path / "all")
    assert new.story(known) == old.story(known)
    there = new.story(still).alert
    assert (there.state, there.reason) == ("sent", "imported")
    assert there.snoozed_until_s == old.story(still).alert.snoozed_until_s
    new.at("10:00")
    new.phone.heard_nothing_more(0)
    assert len(old.phone.rang) == 2


def test_a_snooze_keeps_the_next_of_its_kind_silent(days: tuple[Day, Day], tmp_path: Path) -> None:
    old, new = days
    (still,) = old.find("toppled", "millrace-2")
    old.snooze(still, 3 * 3600)
    move(old, new, tmp_path / "all")
    (again,) = new.find("toppled", "millrace-2", start=60)
    assert new.story(again).alert.reason == "snoozed"
    new.phone.heard_nothing_more(0)


def test_an_alert_whose_number_is_taken_gets_another(days: tuple[Day, Day], tmp_path: Path) -> None:
    old, new = days
    with new.store.write() as connection:
        apiary.load(connection, Apiary((), HIVES, ()))
    new.find("toppled", "millrace-3")
    (first,) = old.find("swarm")
    (second,) = old.find("swarm", "millrace-2")
    told_within = old.story(second).alert.folded_into
    move(old, new, tmp_path / "all")
    assert told_within is None or new.story(second).alert.folded_into == new.story(first).alert.id
    assert new.story(first).alert.id != old.story(first).alert.id
    assert new.story(first).alert.title == old.story(first).alert.title


def test_a_part_has_the_alert_that_another_was_told_within(
    days: tuple[Day, Day], tmp_path: Path
) -> None:
    old, new = days
    old.at("23:00")
    (leader,) = old.find("robbing")
    (folded,) = old.find("robbing", "millrace-2")
    old.at("12:00")
    assert old.story(folded).alert.folded_into == old.story(leader).alert.id
    export_all(old.store, tmp_path / "part", Choice(hives=["millrace-2"]), form="json")
    for path in files_of(tmp_path / "part")[0]:
        assert import_file(new.store, path, io.BytesIO(), old.now_s()).shown == []
    assert new.story(folded).alert.folded_into == new.story(leader).alert.id
    with new.store.read() as connection:
        assert {one.id for one in apiary.read(connection).hives} == {"millrace-1", "millrace-2"}


def test_an_alert_without_its_finding_is_refused(days: tuple[Day, Day], tmp_path: Path) -> None:
    old, new = days
    (one,) = old.find("swarm")
    export_all(old.store, tmp_path / "all", Choice(), form="json")
    for what in ("yards", "hives"):
        import_file(new.store, tmp_path / "all" / f"{what}.json", io.BytesIO(), new.now_s())
    done = import_file(new.store, tmp_path / "all" / "alerts.json", io.BytesIO(), new.now_s())
    assert done.shown == [
        f"alerts.json: line 2: {one.id}: no such finding; import the findings first"
    ]


class HandClock:
    def __init__(self, at_s: int) -> None:
        self.at_s = at_s

    def now_s(self) -> int:
        return self.at_s

    def monotonic_s(self) -> float:
        return float(self.at_s)


class Phone:
    kind, name = "phone", "phone"

    def __init__(self) -> None:
        self.rang: list[str] = []

    def send(self, letter: object) -> Outcome:
        self.rang.append(letter.title)  # type: ignore[attr-defined]
        return Outcome("sent", "sent", "taken")


def live(store: Store, clock: HandClock, phone: Phone | None) -> None:
    """Start a daemon's watch and delivery anew, and let them do what is due."""
    Watcher(store, Settings(), clock).look_round(Event(), lambda: None)
    delivery = Delivery(store, [phone] if phone else [], clock, inline=True)
    delivery.recover()
    while delivery.step():
        pass


@pytest.mark.parametrize("form", ["csv", "json", "parquet"])
def test_the_daemon_on_the_new_machine_finds_the_same_and_rings_nobody(
    tmp_path: Path, form: str
) -> None:
    start_s = 1_777_593_600  # 2026-05-01T00:00:00Z
    clock = HandClock(start_s + 12 * 3600)
    old, new = Store(tmp_path / "a.db"), Store(tmp_path / "b.db")
    yard = Yard("millrace", "Mill race", 52.2, 0.12, "Europe/London")
    places = tuple(Placement(f"scale-{name[-1]}", name, start_s) for name in NAMES)
    with old.write() as connection:
        apiary.load(connection, Apiary((yard,), HIVES, places))
    packs = [
        Message(
            "hivewatch/x/senml",
            place.device,
            json.dumps([{"n": "weight", "u": "kg", "v": 40.0, "t": at_s}]).encode(),
            None,
            at_s,
        )
        for place in places
        for at_s in range(start_s, start_s + 6 * 3600, 600)
    ]
    Intake(old).commit(packs)
    live(old, clock, None)  # all are silent since six hours, and there is no phone yet
    moved(old, tmp_path / "all", new, clock.at_s, form)
    phone = Phone()
    for hours in (0, 1, 12, 24):
        clock.at_s += hours * 3600
        live(new, clock, phone)
    assert phone.rang == []
    for store, state in ((new, ("dropped", "imported")), (old, ("held", "gathered"))):
        with store.read() as connection:
            told = answers.read(connection)
        assert [(one.kind, one.state, one.reason) for one in told if one.state != "folded"] == [
            ("silent", *state)
        ] * (3 if store is new else 1)
    live(old, clock, phone)
    assert len(phone.rang) == 1  # where it was not imported, it rings for all three
    old.close()
    new.close()
