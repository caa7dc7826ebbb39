"""What the mirror sends: everything once, what changed again, nothing twice without need."""

from __future__ import annotations

from dataclasses import replace
from threading import Event

import pytest
from mirror_story import FALLEN, T0, TOKEN, place, publish, run_out, said, tell

from hivewatch.mirror import loop
from hivewatch.mirror.endpoint import AwayError
from hivewatch.mirror.lines import finding_line, reading_lines
from hivewatch.store import mirrored, stale
from hivewatch.store.mirrored import Place


def test_a_reading_is_a_point_under_the_hive_where_its_device_stood() -> None:
    stood = [Place(T0, "millrace-1", "millrace"), Place(T0 + 100, None, None)]
    page = [((T0 - 1) * 1000, 1, 20.0), (T0 * 1000, 1, 20.25), ((T0 + 100) * 1000 + 5, 4, 1e-7)]
    assert reading_lines("scale-1", stood, page) == [
        f"weight,device=scale-1 value=20.0 {T0 - 1}000000000",
        f"weight,device=scale-1,hive=millrace-1,yard=millrace value=20.25 {T0}000000000",
        f"nest-humidity,device=scale-1 value=1e-07 {T0 + 100}005000000",
    ]


def test_a_finding_is_a_point_at_its_start_with_its_numbers() -> None:
    assert finding_line(FALLEN, T0 + 901) == (
        "finding,kind=toppled,status=open,subject=hive:millrace-1"
        " kg_lost=20.5,still_on_kg=0.0,confidence=0.97,"
        f"start={T0 + 600}.0,changed={T0 + 901}.0 {T0 + 600}000000000"
    )


def test_all_that_was_stored_before_is_sent_once(store, server, make) -> None:
    place(store)
    publish(store, "scale-1", (0, 20.0), (300, 20.5))
    with store.write() as connection:  # as if it had been stored when there was no mirror
        mirrored.forget(connection)
    run_out(make())
    assert sorted(server.take_lines()) == [
        f"weight,device=scale-1,hive=millrace-1,yard=millrace value=20.0 {T0}000000000",
        f"weight,device=scale-1,hive=millrace-1,yard=millrace value=20.5 {T0 + 300}000000000",
    ]
    run_out(make())
    assert server.take_lines() == []
    request = server.requests[0]
    assert request.args.to_dict() == {"org": "bees", "bucket": "hivewatch", "precision": "ns"}
    assert request.headers["Authorization"] == f"Token {TOKEN}"


def test_only_what_is_new_is_sent_and_late_readings_are_among_it(store, server, make) -> None:
    place(store)
    publish(store, "scale-1", (0, 20.0), (600, 21.0))
    mirror = make()
    run_out(mirror)
    server.take_lines()
    publish(store, "scale-1", (900, 22.0))
    run_out(mirror)
    assert [line.split("value=")[1] for line in server.take_lines()] == [
        f"22.0 {T0 + 900}000000000"
    ]
    publish(store, "scale-1", (300, 20.5))
    run_out(mirror)
    assert f"{T0 + 300}000000000" in server.take_lines()[0]
    assert len(server.points) == 4


def test_a_long_history_goes_page_by_page_and_goes_on_after_a_fault(
    store, server, make, monkeypatch
) -> None:
    monkeypatch.setattr(loop, "POINTS", 50)
    place(store)
    publish(store, "scale-1", *((60 * i, 20 + i / 100) for i in range(240)))
    publish(store, "scale-1", *((60 * i, 34.0) for i in range(240)), name="nest")
    mirror = make()
    for _ in range(4):
        mirror.step(Event(), lambda: None)
    before = len(server.take_lines())
    server.answers = [said(503, "busy")]
    with pytest.raises(AwayError):
        run_out(mirror)
    run_out(make())  # the program was started again
    assert before > 150
    assert before + len(server.take_lines()) == 480
    assert len(server.points) == 480


def test_what_is_stored_while_a_page_is_on_its_way_is_not_taken_for_sent(
    store, server, make
) -> None:
    place(store)
    publish(store, "scale-1", (0, 20.0), (600, 21.0))
    late = iter([(300, 20.5)])

    def store_more(_lines: list[str]) -> None:
        for reading in late:
            publish(store, "scale-1", reading)

    server.judge = store_more
    run_out(make())
    assert len(server.points) == 3


def test_a_device_that_sends_much_does_not_hold_up_the_others(
    store, server, make, monkeypatch
) -> None:
    monkeypatch.setattr(loop, "POINTS", 50)
    publish(store, "a-much", *((60 * i, 20 + i / 100) for i in range(240)))
    publish(store, "b-little", (0, 20.0))
    make().step(Event(), lambda: None)
    assert any("device=b-little" in line for line in server.lines)


def test_a_device_placed_later_is_sent_again_under_its_hive(store, server, make, clock) -> None:
    publish(store, "scale-1", (0, 20.0))
    mirror = make()
    run_out(mirror)
    assert server.take_lines() == [f"weight,device=scale-1 value=20.0 {T0}000000000"]
    place(store)
    clock.time_s += 10
    run_out(mirror)
    assert server.take_lines() == [
        f"weight,device=scale-1,hive=millrace-1,yard=millrace value=20.0 {T0}000000000"
    ]


def test_another_bucket_is_sent_everything(store, server, make) -> None:
    place(store)
    publish(store, "scale-1", (0, 20.0))
    tell(store, FALLEN, T0 + 900)
    run_out(make())
    assert len(server.take_lines()) == 2
    run_out(make(bucket="another"))
    assert len(server.take_lines()) == 2
    run_out(make(bucket="another"))
    assert [line for line in server.take_lines() if not line.startswith("finding")] == []


def test_a_finding_is_sent_again_when_it_changes_even_within_a_second(store, server, make) -> None:
    mirror = make()
    tell(store, FALLEN, T0 + 900)
    run_out(mirror)
    run_out(mirror)
    assert len(server.take_lines()) == 1
    over = replace(FALLEN, status="ended", end_s=T0 + 900)
    tell(store, over, T0 + 900)
    run_out(mirror)
    assert f"end={T0 + 900}.0" in server.take_lines()[0]


def test_a_finding_that_is_committed_late_or_by_a_clock_set_back_is_sent(
    store, server, make, clock
) -> None:
    mirror = make()
    tell(store, FALLEN, T0 + 5000)
    run_out(mirror)
    other = replace(FALLEN, id="2", start_s=T0 + 601)
    tell(store, other, T0 + 5000 - 300)  # its look took five minutes
    run_out(mirror)
    assert len(server.points) == 2
    clock.time_s = T0 + 1000
    third = replace(FALLEN, id="3", start_s=T0 + 602)
    tell(store, third, T0 + 1000)
    run_out(mirror)
    assert len(server.points) == 3


def test_without_a_mirror_nothing_is_kept_for_it(store) -> None:
    publish(store, "scale-1", (0, 20.0))
    with store.write() as connection:
        mirrored.take_over(connection, "somewhere")
        mirrored.forget(connection)
        assert [one.subject for one in stale.read(connection)] == ["device:scale-1"]
        assert mirrored.waiting(connection) == []
