"""What is told of each kind of record, and its cells."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hivewatch.errors import UsageError
from hivewatch.inspections import Change, Inspection
from hivewatch.mistakes import WrongValueError
from hivewatch.store.columns import (
    ALERTS,
    FINDINGS,
    INSPECTIONS,
    KINDS,
    READINGS,
    TEXT,
    check_columns,
    kind_of,
    value_of,
)
from hivewatch.store.schema import METADATA

# Which table each kind tells, and columns that it tells otherwise, or that follow from others.
TOLD = {
    "yard": ("yards", set()),
    "hive": ("hives", set()),
    "device": ("devices", {"number", "id"}),
    "placement": ("placements", set()),
    "reading": ("readings", set()),
    "inspection_version": ("inspections", {"inspection", "body", "by"}),
    "finding": ("findings", set()),
    "alert": ("alerts", set()),
    "quarantine": ("quarantine", {"id", "reason"}),
}
WITHIN = {"inspection": "its versions", "decision": "alerts", "delivery": "alerts"}
# of one store and its daemon alone; a phone asked this server's key at this server's address
LEFT_OUT = {"stale", "news", "cursor", "appointment", "phone"}


def test_every_table_is_told_or_left_out_by_name() -> None:
    assert {*TOLD, *WITHIN, *LEFT_OUT} == {*METADATA.tables}


@pytest.mark.parametrize("table", TOLD)
def test_every_column_of_a_table_is_told(table: str) -> None:
    kind, otherwise = TOLD[table]
    told = set(KINDS[kind].columns)
    unit = {"status_s": "status_at", "time_ms": "time"}
    for column in METADATA.tables[table].c:
        name = unit.get(column.name, column.name.removesuffix("_s"))
        assert name in told or column.name in otherwise, column.name


def test_an_inspection_tells_all_that_the_model_has() -> None:
    assert {*Inspection.model_fields, *Change.model_fields} < set(INSPECTIONS.columns)


@given(st.text(st.characters(codec="utf-8")))
def test_any_text_comes_back_from_a_line_of_csv(text: str) -> None:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(["first", TEXT.cell(text), "last"])
    (row,) = csv.reader(io.StringIO(out.getvalue(), newline=""))
    assert row[1] != ""
    assert TEXT.read(row[1]) == text


def test_a_table_is_known_by_its_columns() -> None:
    for kind in KINDS.values():
        assert kind_of(list(kind.columns)) is kind
        assert kind_of(list(kind.columns)[1:]) is kind
    assert kind_of(["time", "device", "weight", "nest"]) is READINGS
    assert kind_of(["hello"]) is READINGS
    with pytest.raises(UsageError, match="no such column of findings; did you mean evidence"):
        check_columns(FINDINGS, [*FINDINGS.columns, "evidense"], "x.csv: line 1")


@pytest.mark.parametrize(
    ("name", "cell", "wrong"),
    [
        ("ring", "one", "not a whole number"),
        ("ring", "1.5", "not a whole number"),
        ("ring", "", "missing"),
        ("created", "2026-05-01T12:00:00", "not a time"),
        ("created", "yesterday", "not a time"),
        ("decisions", "[{", "not JSON"),
        ("title", '"torn', "not a text"),
    ],
)
def test_a_cell_that_is_none_of_its_column_is_told(name: str, cell: str, wrong: str) -> None:
    with pytest.raises(WrongValueError, match=wrong):
        value_of(ALERTS, name, cell)


def test_whole_numbers_that_another_program_wrote_as_others_are_read() -> None:
    assert value_of(ALERTS, "ring", "2.0") == 2
    assert value_of(ALERTS, "due", "") is None
