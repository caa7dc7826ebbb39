"""A store of anything that can stand in one, out and in again in every form: the same store.

But for what was still to be sent: nobody is rung for an imported alert.
"""

from __future__ import annotations

import gzip
import io
import json
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_store import END_S, HIVES, NOW_S, fill, moments, new_store

from hivewatch.export import Choice, export_all
from hivewatch.ingest.folder import files_of, import_file
from hivewatch.store.open import Store

EVERYTHING = Choice()
FORMS = ("csv", "json", "parquet")
EXAMPLES = settings(
    max_examples=8,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def taken_in(folder: Path, store: Store) -> None:
    """Import a folder; nothing may be refused or held."""
    files, others = files_of(folder)
    assert others == []
    for path in files:
        done = import_file(store, path, io.BytesIO(), NOW_S)
        assert done.shown == []


def told(
    store: Store, folder: Path, choice: Choice = EVERYTHING
) -> dict[str, list[dict[str, Any]]]:
    """Give all records of a store."""
    export_all(store, folder, choice, form="json")
    found = {}
    for path in folder.iterdir():
        raw = path.read_bytes()
        found[path.name.partition(".")[0]] = json.loads(
            gzip.decompress(raw) if path.suffix == ".gz" else raw
        )
    return found


def as_imported(alert: dict[str, Any]) -> dict[str, Any]:
    """Say what becomes of an alert: what is still to be sent is closed, with the reason."""
    waits = alert["state"] in {"held", "waiting"} or (
        alert["state"] == "folded" and alert["sent"] is None
    )
    was_told = alert["sent"] is not None
    if waits or alert["state"] == "failed":
        alert = alert | {"reason": "imported", "due": None}
    if waits:
        alert |= {"state": "sent"} if was_told else {"state": "dropped", "folded_into": None}
    under_way = [one for one in alert["deliveries"] if one["state"] in {"waiting", "sending"}]
    if alert["reason"] == "imported" or under_way:
        noted = {"what": "dropped", "reason": "imported", "channel": None}
        at = datetime.fromtimestamp(NOW_S, UTC).isoformat()
        alert = alert | {"decisions": [*alert["decisions"], noted | {"at": at}]}
    ended = [
        one | ({"state": "dropped"} if one in under_way else {}) for one in alert["deliveries"]
    ]
    return alert | {"deliveries": ended}


def compared(records: dict[str, list[dict[str, Any]]]) -> dict[str, list[dict[str, Any]]]:
    """Leave out of the decisions of an import in which words and in which zone they are told."""
    for one in records["alerts"]:
        for said in one["decisions"]:
            if said["reason"] == "imported":
                said["at"] = datetime.fromisoformat(said["at"]).timestamp()
                said.pop("why", None)
    return records


@pytest.mark.parametrize("form", FORMS)
@EXAMPLES
@given(data=st.data())
def test_a_store_taken_in_is_the_same_store(form: str, data: Any) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first, second = new_store(folder / "a.db"), new_store(folder / "b.db")
        try:
            fill(data.draw, first)
            export_all(first, folder / "one", EVERYTHING, form=form)
            taken_in(folder / "one", second)
            before, after = told(first, folder / "j1"), told(second, folder / "j2")
            order = [one["finding"] for one in before["alerts"]]
            before["alerts"] = [as_imported(one) for one in before["alerts"]]
            after["alerts"].sort(key=lambda one: order.index(one["finding"]))
            assert compared(after) == compared(before)

            taken_in(folder / "one", second)  # once more: nothing changes
            export_all(second, folder / "two", EVERYTHING, form=form)
            third = new_store(folder / "c.db")
            taken_in(folder / "two", third)
            export_all(third, folder / "three", EVERYTHING, form=form)
            third.close()
            for path in (folder / "two").iterdir():
                assert path.read_bytes() == (folder / "three" / path.name).read_bytes()
            again = told(second, folder / "j3")
            again["alerts"].sort(key=lambda one: order.index(one["finding"]))
            assert compared(again) == after
        finally:
            first.close()
            second.close()


def at_s(text: str | None) -> float:
    return float("inf") if text is None else datetime.fromisoformat(text).timestamp()


def hives_of(every: dict[str, list[dict[str, Any]]], choice: Choice) -> set[str]:
    return {
        one["id"]
        for one in every["hives"]
        if not (choice.hives or choice.yards)
        or one["id"] in choice.hives
        or one["yard"] in choice.yards
    }


def wanted_readings(every: Any, choice: Choice, hives: set[str]) -> list[dict[str, Any]]:
    """Choose by where each device stood, reading by reading."""
    some = []
    for one in every["readings"]:
        moment = at_s(one["time"])
        stood = [
            place["hive"]
            for place in every["placements"]
            if place["device"] == one["device"] and at_s(place["since"]) <= moment
        ]
        is_there = (stood and stood[-1] in hives) or not (choice.hives or choice.yards)
        if is_there and choice.since_s <= moment < choice.until_s:
            some.append(one)
    return some


@EXAMPLES
@given(
    data=st.data(),
    form=st.sampled_from(FORMS),
    hives=st.sets(st.sampled_from(HIVES), max_size=2),
    yards=st.sets(st.sampled_from(("croft", "mill")), max_size=1),
    since_s=st.just(0) | moments,
    until_s=st.just(END_S + 1) | moments,
)
def test_a_part_holds_what_was_asked_for_and_what_that_rests_on(
    data: Any, form: str, hives: set[str], yards: set[str], since_s: int, until_s: int
) -> None:
    choice = Choice(tuple(hives), tuple(yards), (), since_s, until_s)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first, second = new_store(folder / "a.db"), new_store(folder / "b.db")
        try:
            fill(data.draw, first)
            every, part = told(first, folder / "j1"), told(first, folder / "j2", choice)
            mine = hives_of(every, choice)
            is_all = not (hives or yards)

            def about(one: dict[str, Any]) -> bool:
                return (
                    is_all or one["hive"] in mine or (one["hive"] is None and one["yard"] in yards)
                )

            assert part["readings"] == wanted_readings(every, choice, mine)
            last = {one["id"]: at_s(one["at"]) // 1 for one in every["inspections"]}
            of_mine = {one["id"] for one in every["inspections"] if one["hive"] in mine}
            assert part["inspections"] == [
                one
                for one in every["inspections"]
                if one["id"] in of_mine and since_s <= last[one["id"]] < until_s
            ]
            rung = [
                one
                for one in every["alerts"]
                if about(one) and since_s <= at_s(one["created"]) < until_s
            ]
            within = {one["folded_into"] for one in rung}
            assert part["alerts"] == [
                one for one in every["alerts"] if one in rung or one["finding"] in within
            ]
            told_of = {one["finding"] for one in part["alerts"]}
            assert part["findings"] == [
                one
                for one in every["findings"]
                if one["id"] in told_of
                or (about(one) and at_s(one["start"]) < until_s and at_s(one["end"]) >= since_s)
            ]
            assert mine <= {one["id"] for one in part["hives"]}

            export_all(first, folder / "one", choice, form=form)
            taken_in(folder / "one", second)
            export_all(second, folder / "two", choice, form=form)
            third = new_store(folder / "c.db")
            taken_in(folder / "two", third)
            export_all(third, folder / "three", choice, form=form)
            third.close()
            for path in (folder / "one").iterdir():
                there = (folder / "two" / path.name).read_bytes()
                assert there == (folder / "three" / path.name).read_bytes()
                if path.name.partition(".")[0] != "alerts":  # those are closed
                    assert there == path.read_bytes()
        finally:
            first.close()
            second.close()
