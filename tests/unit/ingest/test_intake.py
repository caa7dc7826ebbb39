"""What the intake writes in one transaction: readings, marks, devices heard, quarantine."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from hivewatch.ingest.intake import Intake, Message
from hivewatch.store import apiary, quarantine, stale
from hivewatch.store.open import Store

NOW_S = 1_777_593_600  # 2026-05-01T00:00:00Z


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path / "hivewatch.db")
    yield opened
    opened.close()


def pack(*records: dict[str, object]) -> bytes:
    return json.dumps(list(records)).encode()


def weight(kg: float, t: float = -60) -> dict[str, object]:
    return {"n": "weight", "u": "kg", "v": kg, "t": t}


def message(payload: bytes, device: str = "scale-1", received_s: int = NOW_S) -> Message:
    return Message(f"hivewatch/{device}/senml", device, payload, None, received_s)


def marks(store: Store) -> dict[str, int]:
    with store.read() as connection:
        return {one.subject: one.from_ms for one in stale.read(connection)}


def held(store: Store) -> list[quarantine.Held]:
    with store.read() as connection:
        return quarantine.read(connection)


def test_a_batch_marks_each_device_from_its_earliest_reading(store):
    done = Intake(store).commit(
        [
            message(pack(weight(40, -60), weight(41, -3600))),
            message(pack(weight(40, -120)), "scale-2"),
            message(pack(weight(42, -7200))),
        ]
    )
    assert done == (4, 0, 0, NOW_S - 60)
    assert marks(store) == {
        "device:scale-1": (NOW_S - 7200) * 1000,
        "device:scale-2": (NOW_S - 120) * 1000,
    }


def test_repeats_alone_mark_nothing_and_are_counted(store):
    intake = Intake(store)
    intake.commit([message(pack(weight(40)))])
    with store.write() as connection:
        stale.clear(connection, stale.read(connection))
    assert intake.commit([message(pack(weight(40)))] * 3)[:3] == (0, 3, 0)
    assert marks(store) == {}
    assert held(store) == []


def test_a_store_that_is_mirrored_is_marked_for_the_mirror_too(store):
    Intake(store, mirrored=True).commit([message(pack(weight(40)))])
    assert marks(store).keys() == {"device:scale-1", "mirror:scale-1"}


def test_a_device_is_heard_when_its_message_came_not_when_it_measured(store):
    Intake(store).commit([message(pack(weight(40, -86_400)), received_s=NOW_S + 5)])
    with store.read() as connection:
        assert apiary.devices(connection)[0].heard_s == NOW_S + 5


def test_bad_records_and_conflicts_of_one_pack_stand_in_one_row(store):
    intake = Intake(store)
    intake.commit([message(pack(weight(40)))])
    spoilt = pack(weight(400, -30), weight(50), {"n": "nest", "u": "Cel", "v": 34, "t": -60})
    done = intake.commit([message(spoilt), message(pack(weight(41, -10)))])
    assert done[:3] == (2, 0, 2)
    (one,) = held(store)
    assert one.raw == spoilt
    assert [(index, reason) for index, reason, _ in one.faults] == [
        (0, "out of range"),
        (None, "conflict"),
    ]
    assert "the first one stays" in one.faults[1][2]


def test_two_values_for_one_moment_within_a_batch_are_a_conflict_too(store):
    done = Intake(store).commit([message(pack(weight(40))), message(pack(weight(50)))])
    assert done[:3] == (1, 0, 1)
    assert held(store)[0].raw == pack(weight(50))


def test_a_batch_that_breaks_midway_stores_nothing_at_all(store, monkeypatch):
    intake = Intake(store)
    monkeypatch.setattr("hivewatch.ingest.intake.stale.mark", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        intake.commit([message(pack(weight(40)))])
    monkeypatch.undo()
    assert held(store) == []
    with store.read() as connection:
        assert apiary.devices(connection) == []
    assert intake.commit([message(pack(weight(40)))]).stored == 1


def test_a_wrong_clock_marks_its_device_though_nothing_is_stored(store):
    Intake(store).commit([message(pack(weight(40, NOW_S + 90_000)))])
    assert held(store)[0].reason == "clock"
    assert marks(store) == {"device:scale-1": NOW_S * 1000}


def test_only_what_is_asked_for_is_tried_again(store):
    intake = Intake(store)
    intake.commit([message(pack(weight(400))), message(pack(weight(500)), "scale-2")])
    first, second = held(store)
    assert [one.id for one, _ in intake.readmit(NOW_S, [second.id])] == [second.id]
    assert {one.id for one, _ in intake.readmit(NOW_S)} == {first.id, second.id}
    assert [one.admitted_s for one in held(store)] == [None, None]


def test_what_can_be_admitted_of_a_pack_is_and_the_rest_keeps_its_reason(store, monkeypatch):
    intake = Intake(store)
    with monkeypatch.context() as patch:
        patch.setattr("hivewatch.ingest.intake.senml.decode", _refuse_all)
        intake.commit([message(pack(weight(40), weight(400, -30)))])
    assert held(store)[0].reason == "malformed"
    ((_, done),) = intake.readmit(NOW_S + 60)
    assert done.stored == 1
    assert (held(store)[0].reason, held(store)[0].admitted_s) == ("out of range", None)
    assert marks(store) == {"device:scale-1": (NOW_S - 60) * 1000}


@pytest.mark.parametrize("ahead_s", [3 * 86_400, 400 * 86_400])
def test_what_a_wrong_clock_dated_is_admitted_with_its_times_moved(store, ahead_s):
    intake = Intake(store)
    intake.commit([message(pack(weight(40, NOW_S + ahead_s - 60), weight(41, -120)))])
    (one,) = held(store)
    assert (one.reason, one.admitted_s) == ("clock", None)
    ((_, plain),) = intake.readmit(NOW_S + 90 * 60, [one.id])
    assert plain.stored == 0
    for far_s in (-ahead_s - 20 * 366 * 86_400, 86_400):  # before 2010, and still further ahead
        ((_, moved),) = intake.readmit(NOW_S + 90 * 60, [one.id], shift_s=far_s)
        assert (moved.stored, moved.quarantined) == (0, 1)
    ((_, done),) = intake.readmit(NOW_S + 90 * 60, [one.id], shift_s=-ahead_s)
    assert (done.stored, done.quarantined) == (1, 0)
    assert held(store)[0].admitted_s == NOW_S + 90 * 60
    with store.read() as connection:
        rows = connection.exec_driver_sql(
            "SELECT time_ms, value, received_s FROM reading ORDER BY time_ms"
        ).all()
    assert [tuple(row) for row in rows] == [
        ((NOW_S - 120) * 1000, 41.0, NOW_S),  # stood right, and stays where it was
        ((NOW_S - 60) * 1000, 40.0, NOW_S),
    ]


def test_moving_times_touches_nothing_but_what_a_clock_dated(store):
    intake = Intake(store)
    intake.commit([message(pack(weight(400)))])
    assert intake.readmit(NOW_S, shift_s=-3600) == []


def _refuse_all(_payload, _content_type, _now_s):
    from hivewatch.wire.senml import Fault, Pack  # noqa: PLC0415 - for this test alone

    return Pack([], [Fault(None, "malformed", "a bug of ours")])
