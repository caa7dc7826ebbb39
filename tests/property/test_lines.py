"""A table is cut into lines and cells as Python's csv module cuts it."""

from __future__ import annotations

import csv
import io

from hypothesis import given
from hypothesis import strategies as st

from hivewatch.ingest.lines import Table

HEADING = "time,device,quantity,value\n"
PIECES = st.sampled_from(
    ("a", "1", ",", '"', '""', "\n", "\r", "\r\n", " ", "\0", "\x85", "\u2028")
)


@given(st.lists(PIECES, max_size=30).map("".join))
def test_lines_are_cut_as_csv_cuts_them(body):
    text = HEADING + body
    found = [
        line for lines in Table(io.StringIO(text, newline=""), "a.csv").chunks() for line in lines
    ]
    try:
        rows = [row for row in csv.reader(io.StringIO(text, newline="")) if row][1:]
    except csv.Error:
        assert any(line.fault for line in found)
        return
    assert [line.cells for line in found] == rows
    assert all(line.text in text for line in found)
