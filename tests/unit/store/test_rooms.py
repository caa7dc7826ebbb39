"""Opening the store, marks, quarantine, the apiary and inspections as rows."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.errors import StoreError, UsageError
from hivewatch.inspections import read_inspections
from hivewatch.store import apiary, inspections, quarantine, stale
from hivewatch.store.open import SCHEMA, Store
from hivewatch.store.quarantine import Held
from hivewatch.store.schema import METADATA

T0_S = 1_777_593_600  # 2026-05-01T00:00:00Z
YARD = Yard("millrace", "Mill race", 52.2, 0.12, "Europe/London")
HIVE = Hive("millrace-1", "millrace", "langstroth-deep", 10, 1, 21.5)
APIARY = Apiary((YARD,), (HIVE,), (Placement("scale-1", "millrace-1", T0_S),))
PACK = Held("hivewatch/a/senml", "a", None, b"[]", ((None, "malformed", "empty"),), T0_S)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path / "hivewatch.db")
    yield opened
    opened.close()


# Opening


def test_the_migrations_give_the_tables_of_the_schema(store):
    with store.read() as connection:
        assert compare_metadata(MigrationContext.configure(connection), METADATA) == []


def test_every_commit_is_on_the_disk_before_it_counts(store):
    with store.read() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar_one() == 2  # FULL
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1


def test_a_store_opens_again_as_it_was(store):
    with store.write() as connection:
        apiary.load(connection, APIARY)
    again = Store(store.path)
    with again.read() as connection:
        assert apiary.read(connection) == APIARY
    again.close()


def test_a_store_of_a_newer_program_is_left_alone(store):
    with store.write() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0099'")
    with pytest.raises(StoreError) as error:
        Store(store.path)
    assert str(error.value) == (
        f"{store.path}: written by a newer hivewatch (schema 99, this one knows {SCHEMA});"
        " update, or restore a backup"
    )


def test_a_file_that_is_no_store_is_left_alone(tmp_path):
    other = tmp_path / "other.db"
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE honey (kg)")
    text = tmp_path / "notes.txt"
    text.write_text("no store, but long enough to look like one, at least for its header" * 20)
    for file in (other, text):
        with pytest.raises(StoreError, match="is no hivewatch store"):
            Store(file)
    with closing(sqlite3.connect(other)) as connection:
        assert connection.execute("SELECT name FROM sqlite_master").fetchall() == [("honey",)]


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(StoreError, match=r"nowhere/hivewatch.db: cannot be opened"):
        Store(tmp_path / "nowhere" / "hivewatch.db")


def test_a_write_that_breaks_leaves_nothing(store):
    def break_midway():
        with store.write() as connection:
            apiary.load(connection, APIARY)
            raise RuntimeError("midway")

    with pytest.raises(RuntimeError, match="midway"):
        break_midway()
    with store.read() as connection:
        assert apiary.read(connection) == Apiary((), (), ())


def test_a_read_sees_one_moment(store):
    with store.read() as reader:
        assert apiary.read(reader).hives == ()
        with store.write() as writer:
            apiary.load(writer, APIARY)
        assert apiary.read(reader).hives == ()
    with store.read() as reader:
        assert apiary.read(reader).hives == (HIVE,)


# Marks


def test_a_mark_that_was_renewed_meanwhile_stays(store):
    with store.write() as connection:
        stale.mark(connection, [("device:a", 5000), ("device:b", 7000)])
        marks = stale.read(connection)
        stale.mark(connection, [("device:a", 3000), ("device:a", 9000)])
        stale.clear(connection, marks)
        (left,) = stale.read(connection)
    assert (left.subject, left.from_ms) == ("device:a", 3000)
    with store.write() as connection:
        stale.clear(connection, [left])
        assert stale.read(connection) == []
        stale.mark(connection, [])
        assert stale.read(connection) == []


# Quarantine


def test_the_same_bytes_for_the_same_reason_only_count_up(store):
    other_type = replace(PACK, content_type="application/senml+cbor")
    other_reason = replace(PACK, faults=((0, "conflict", "another value"),))
    with store.write() as connection:
        for one in (PACK, replace(PACK, received_s=T0_S + 60), other_type, other_reason):
            quarantine.add(connection, [one])
        quarantine.add(connection, [])
        held = quarantine.read(connection)
    assert [(one.times, one.reason, one.received_s) for one in held] == [
        (2, "malformed", T0_S),
        (1, "malformed", T0_S),
        (1, "conflict", T0_S),
    ]
    assert held[0].faults == [(None, "malformed", "empty")]


def test_what_was_admitted_no_longer_waits(store):
    with store.write() as connection:
        quarantine.add(connection, [PACK, replace(PACK, raw=b"{}")])
        first, second = quarantine.read(connection, waiting=True)
        quarantine.admitted(connection, first.id, [], T0_S + 99)
        quarantine.admitted(connection, second.id, [(2, "unit", "no unit")], T0_S + 99)
        (left,) = quarantine.read(connection, waiting=True)
        assert left.reason == "unit"
        assert quarantine.read(connection)[0].admitted_s == T0_S + 99
        assert quarantine.read(connection, reason="malformed")[0].id == first.id
        assert [one.id for one in quarantine.read(connection, after=first.id)] == [second.id]


def test_a_wrong_clock_is_found_among_other_faults(store):
    faults = ((0, "unit", "no unit"), (1, "clock", "2030"))
    with store.write() as connection:
        quarantine.add(connection, [replace(PACK, faults=faults), PACK])
        assert quarantine.clock_faults_s(connection, "a", T0_S) == [T0_S]
        assert quarantine.clock_faults_s(connection, "a", T0_S - 1) == []
        assert quarantine.clock_faults_s(connection, "b", T0_S) == []


# The apiary


def marks(connection):
    return {one.subject for one in stale.read(connection)}


def test_the_same_apiary_twice_changes_nothing(store):
    with store.write() as connection:
        assert apiary.load(connection, APIARY) == [
            "yard millrace: new",
            "hive millrace-1: new",
            "device scale-1: placed at millrace-1",
        ]
        stale.clear(connection, stale.read(connection))
        assert apiary.load(connection, APIARY) == []
        assert marks(connection) == set()


def test_what_a_file_does_not_name_stays(store):
    second = Hive("millrace-2", "millrace", "langstroth-deep", 8, 2, None)
    with store.write() as connection:
        apiary.load(connection, APIARY)
        apiary.load(connection, Apiary((), (second,), ()))
        assert apiary.read(connection).hives == (HIVE, second)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (replace(APIARY, yards=(replace(YARD, longitude=20.0),)), "yard millrace: changed"),
        (replace(APIARY, hives=(replace(HIVE, empty_kg=20.0),)), "hive millrace-1: changed"),
        (
            replace(APIARY, placements=(Placement("scale-1", "millrace-1", T0_S + 60),)),
            "device scale-1: placed at millrace-1",
        ),
        (
            replace(APIARY, placements=(Placement("scale-1", None, T0_S),)),
            "device scale-1: placed at no hive",
        ),
    ],
)
def test_a_hive_is_looked_at_again_when_what_bears_on_it_changed(store, changed, said):
    with store.write() as connection:
        apiary.load(connection, APIARY)
        stale.clear(connection, stale.read(connection))
        assert apiary.load(connection, changed) == [said]
        assert marks(connection) == {"hive:millrace-1"}


def test_a_device_is_heard_at_its_latest(store):
    with store.write() as connection:
        number = apiary.number_of(connection, "scale-1")
        assert apiary.number_of(connection, "scale-1") == number
        for at_s in (T0_S, T0_S + 50, T0_S + 20):
            apiary.heard(connection, {number: at_s})
        apiary.note_status(connection, "scale-1", "online", T0_S)
        apiary.note_status(connection, "scale-1", "offline", T0_S + 9)
        (row,) = apiary.devices(connection)
        assert (row.heard_s, row.status, row.status_s) == (T0_S + 50, "offline", T0_S + 9)
        assert [one.id for one in apiary.devices(connection, unplaced=True)] == ["scale-1"]


# Inspections


def visit(**fields):
    said = {"hive": "millrace-1", "at": "2026-05-02T14:10:00+01:00", **fields}
    return read_inspections(json.dumps([said]), "visits.json")[0]


def test_the_same_visit_twice_is_one_and_marks_its_hive(store):
    with store.write() as connection:
        apiary.load(connection, APIARY)
        stale.clear(connection, stale.read(connection))
        now_s = T0_S + 10 * 86_400
        first, is_new = inspections.add(connection, visit(note="calm"), now_s)
        assert is_new
        assert inspections.add(connection, visit(note="calm"), now_s + 60) == (first, False)
        assert marks(connection) == {"hive:millrace-1"}
        (stored,) = inspections.read(connection, hive="millrace-1")
        assert stored.recorded_s == now_s
        assert stored.inspection.note == "calm"
        assert inspections.read(connection, recorded_by_s=now_s - 1) == []


@pytest.mark.parametrize(
    ("second", "now_s", "said"),
    [
        (visit(key="k", note="other"), T0_S + 10 * 86_400, "the key names another inspection"),
        (visit(hive="millrace-9"), T0_S + 10 * 86_400, "no such hive"),
        (visit(), T0_S, "is still to come"),
    ],
)
def test_a_visit_that_cannot_be_is_refused(store, second, now_s, said):
    with store.write() as connection:
        apiary.load(connection, APIARY)
        inspections.add(connection, visit(key="k"), T0_S + 10 * 86_400)
        with pytest.raises(UsageError, match=said):
            inspections.add(connection, second, now_s)


def test_what_is_read_around_a_hive_is_its_part_of_the_whole(store):
    other = replace(YARD, id="weir"), replace(HIVE, id="weir-1", yard="weir")
    moved = (
        Placement("scale-1", "millrace-1", T0_S),
        Placement("scale-1", "weir-1", T0_S + 100),
        Placement("scale-2", "weir-1", T0_S),
        Placement("scale-3", "millrace-1", T0_S + 50),
        Placement("scale-3", None, T0_S + 70),
    )
    with store.write() as connection:
        apiary.load(connection, Apiary((YARD, other[0]), (HIVE, other[1]), moved))
    with store.read() as connection:
        whole = apiary.read(connection)
        for hive in ("millrace-1", "weir-1"):
            part = apiary.read_around(connection, hive)
            assert part.spans(hive) == whole.spans(hive)
            assert part.hives == (whole.hive[hive],)
            assert part.yards == (whole.yard[whole.hive[hive].yard],)
