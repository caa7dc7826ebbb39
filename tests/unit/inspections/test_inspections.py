"""Inspections: what they say, what is wrong in them, and the counts that shares of a side give."""

from __future__ import annotations

import contextlib
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from hivewatch.errors import SeveralErrors
from hivewatch.frames import FRAMES
from hivewatch.inspections import (
    Inspection,
    adult_count,
    brood_counts,
    read_inspections,
    read_told,
    stores_kg,
    to_json,
)

BAD = sorted((Path(__file__).parents[2] / "data" / "inspections-bad").glob("*.json"))
DEEP = FRAMES["langstroth-deep"]

EXAMPLE = """
{"hive": "millrace-1", "at": "2026-05-02T14:10:00+01:00", "by": "keeper",
 "brood": {"eggs": 3900, "open": 7600, "capped": 15100},
 "adults": 31000, "stores_kg": 9.5,
 "frames": [{"frame": 3, "side": "a", "eggs": 0.1, "open": 0.2, "capped": 0.5, "honey": 0.1,
             "pollen": 0.05, "bees": 0.9}],
 "queen": "seen", "queen_cells": {"count": 0, "stage": null},
 "actions": [{"what": "super added", "kg": 6.2}], "note": ""}
"""


def one(**told: Any) -> Inspection:
    entry = {"hive": "millrace-1", "at": "2026-05-02T13:10:00Z", **told}
    (inspection,) = read_inspections(json.dumps([entry]), "may.json")
    return inspection


def example(**changed: Any) -> Inspection:
    entry = {**json.loads(EXAMPLE), **changed}
    return one(**{key: value for key, value in entry.items() if value is not ...})


@pytest.mark.parametrize(
    ("at", "utc"),
    [
        ("2026-05-02T14:10:00", "2026-05-02T13:10:00Z"),
        ("2026-12-02 14:10", "2026-12-02T14:10:00Z"),
        ("2026-05-02T14:10:00+02:00", "2026-05-02T12:10:00Z"),
        ("2026-10-25T01:30:00", "2026-10-25T00:30:00Z"),  # told twice that night: the first
    ],
)
def test_a_time_without_an_offset_is_local_time_at_the_hive(at: str, utc: str) -> None:
    entry = json.dumps([{"hive": "millrace-1", "at": at}])
    zones = {"millrace-1": ZoneInfo("Europe/London")}
    (told,) = read_told(entry, "may.json", zones)
    assert told.inspection.at == datetime.fromisoformat(utc)
    if "+" not in at:  # of a hive that nobody knows, nobody knows the local time
        with pytest.raises(SeveralErrors, match="without an offset"):
            read_told(entry, "may.json", {"gorse-1": ZoneInfo("Europe/London")})


def test_the_example_is_read() -> None:
    inspection = example()
    assert inspection.at == datetime(2026, 5, 2, 13, 10, tzinfo=UTC)
    assert inspection.at_s == 1777727400  # date -u -d 2026-05-02T13:10:00 +%s
    assert inspection.queen_cells is not None
    assert inspection.queen_cells.count == 0
    assert [(action.what, action.kg) for action in inspection.actions] == [("super added", 6.2)]
    assert inspection.frames[0].capped == 0.5


def test_only_hive_and_time_are_required() -> None:
    bare = one()
    assert brood_counts(bare, DEEP) == (None, None, None)
    assert adult_count(bare, DEEP) is None
    assert stores_kg(bare, DEEP) is None
    assert to_json(bare) == '{"at":"2026-05-02T13:10:00Z","hive":"millrace-1"}'


def test_an_inspection_cannot_be_changed() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        one().adults = 5  # type: ignore[misc]


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_a_mistake_is_told_in_full(path: Path) -> None:
    """JSON has no comments, so what is said of a file stands beside it."""
    expected = path.with_suffix(".said").read_text().splitlines()
    assert expected
    with pytest.raises(SeveralErrors) as caught:
        read_inspections(path.read_text(), "may.json")
    assert [str(error) for error in caught.value.errors] == expected


def test_counts_go_before_shares() -> None:
    assert brood_counts(example(), DEEP) == (3900, 7600, 15100)
    assert adult_count(example(), DEEP) == 31000
    assert stores_kg(example(), DEEP) == 9.5


def test_shares_become_counts_by_the_frame_table() -> None:
    # German standard frame, imkerei.mueggelland.de: a full side is 3,200 cells, 1,000 bees and 1 kg
    # of honey; an eighth 400 cells, 125 bees and 125 g.
    frame = FRAMES["german-normal"]
    judged = one(
        frames=[
            {"frame": 1, "side": "a", "honey": 1, "bees": 0.5},
            {"frame": 1, "side": "b", "capped": 0.5, "open": 0.125, "honey": 0.125, "bees": 1},
            {"frame": 2, "side": "a", "capped": 1, "open": 0},
        ]
    )
    assert brood_counts(judged, frame) == (None, 400, 4800)
    assert adult_count(judged, frame) == 1500
    assert stores_kg(judged, frame) == 1.12


def test_one_stage_counted_and_another_judged() -> None:
    mixed = one(brood={"eggs": 5}, frames=[{"frame": 1, "side": "a", "eggs": 0.5, "capped": 0.5}])
    assert brood_counts(mixed, FRAMES["german-normal"]) == (5, None, 1600)


def test_the_same_visit_told_twice_has_the_same_key_and_another_has_not() -> None:
    assert example().known_by == example(at="2026-05-02T13:10:00Z").known_by
    assert example().known_by == example(queen_cells={"count": 0}).known_by
    others = [
        example(hive="millrace-2"),
        example(at="2026-05-02T13:10:01Z"),
        example(by="helper"),
        example(adults=31001),
        example(note="calm"),
    ]
    assert len({example().known_by, *(other.known_by for other in others)}) == 6
    assert all(len(other.known_by) <= 64 for other in [*others, one(hive="h" * 64)])


def test_a_key_that_was_given_is_kept() -> None:
    assert one(key="phone-1:77").known_by == "phone-1:77"
    assert len(read_inspections(json.dumps([json.loads(EXAMPLE)] * 2), "may.json")) == 2


def test_a_byte_order_mark_is_let_pass() -> None:
    assert read_inspections("\ufeff[]", "may.json") == []


def test_deep_nesting_and_long_numbers_are_told() -> None:
    for text, wrong in (
        ("[" * 100_000, "nested too deeply"),
        ("[" + "9" * 5000 + "]", "not JSON ("),
        ('[{"hive": "a", "at": "2026-05-02T13:10:00Z", "adults": ' + "9" * 4000 + "}]", "adults"),
    ):
        with pytest.raises(SeveralErrors, match=r"^may\.json: ") as caught:
            read_inspections(text, "may.json")
        assert wrong in str(caught.value)
        assert len(str(caught.value)) < 300


shares = st.none() | st.floats(0, 0.2)
sides = st.builds(
    lambda n, side, told: {"frame": n, "side": side, **told},
    st.integers(1, 200),
    st.sampled_from("ab"),
    st.fixed_dictionaries(
        {}, optional=dict.fromkeys(("eggs", "open", "capped", "honey", "pollen", "bees"), shares)
    ),
)
words = st.text(st.characters(codec="utf-8", categories=["L", "N", "P", "S"]), min_size=1).map(
    lambda text: text[:100]
)
kg = st.floats(0, 300)
inspections = st.fixed_dictionaries(
    {
        "hive": st.from_regex(r"[a-z0-9-]{1,64}", fullmatch=True),
        "at": st.datetimes(
            min_value=datetime(1970, 1, 2),  # noqa: DTZ001 (hypothesis adds the zone)
            max_value=datetime(2199, 12, 30),  # noqa: DTZ001 (the same)
            timezones=st.timezones(),
        ).map(lambda at: at.isoformat()),
    },
    optional={
        "by": words,
        "brood": st.fixed_dictionaries({}, optional={"eggs": st.integers(0, 20_000)}),
        "adults": st.integers(0, 150_000),
        "stores_kg": kg,
        "frames": st.lists(sides, max_size=4, unique_by=lambda s: (s["frame"], s["side"])),
        "queen": st.sampled_from(["seen", "eggs seen", "not seen", "absent", "virgin", "new"]),
        "queen_cells": st.just({"count": 2, "stage": "capped"}) | st.just({"count": 0}),
        "actions": st.lists(st.fixed_dictionaries({"what": st.just("fed"), "kg": kg}), max_size=3),
        "note": words,
        "key": st.from_regex(r"[!-~]{1,64}", fullmatch=True),
    },
)


@given(inspections)
def test_the_stored_form_reads_back_the_same(entry: dict[str, Any]) -> None:
    (inspection,) = read_inspections(json.dumps([entry]), "may.json")
    (again,) = read_inspections(f"[{to_json(inspection)}]", "may.json")
    assert again == inspection
    assert again.known_by == inspection.known_by
    assert to_json(again) == to_json(inspection)


keys = st.sampled_from(sorted(Inspection.model_fields)) | st.text(max_size=6)
anything = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=10),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            keys | st.sampled_from(["frame", "side", "count", "what"]), inner, max_size=4
        )
    ),
    max_leaves=8,
)


@given(st.lists(st.dictionaries(keys, anything, max_size=6) | anything, max_size=3))
def test_any_json_gives_inspections_or_one_readable_line_a_mistake(content: list[Any]) -> None:
    try:
        read_inspections(json.dumps(content), "may.json")
    except SeveralErrors as several:
        for error in several.errors:
            assert str(error).isprintable()
            assert str(error).startswith("may.json: no. ")


@given(st.text())
def test_any_text_gives_inspections_or_mistakes(text: str) -> None:
    with contextlib.suppress(SeveralErrors):
        assert isinstance(read_inspections(text, "may.json"), list)


def test_of_a_hive_that_nobody_opened_there_is_nothing_to_tell() -> None:
    closed = one(opened=False, by="Ada", note="we were away")
    assert not closed.opened
    assert '"opened":false' in to_json(closed)
    assert "opened" not in to_json(one(opened=True))
    for more in ({"queen": "seen"}, {"actions": [{"what": "fed"}]}, {"adults": 9000}):
        with pytest.raises(SeveralErrors, match="of a hive that nobody opened"):
            one(opened=False, **more)
