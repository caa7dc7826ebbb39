"""A table is written and read a part at a time: what is in memory does not grow with the store."""

from __future__ import annotations

import io
import weakref
from collections.abc import Iterator
from pathlib import Path

import pytest

from hivewatch.export.forms import WRITE
from hivewatch.ingest import lines, parquet
from hivewatch.ingest.opened import open_sheet
from hivewatch.store.columns import PLACEMENTS, QUARANTINE

PAGES, ROWS = 20, 50


class Page(list):
    """Rows that can be watched."""


@pytest.mark.parametrize("form", WRITE)
def test_no_page_is_kept_once_it_is_written(form: str) -> None:
    seen: list[weakref.ref[Page]] = []
    alive: list[int] = []

    def pages() -> Iterator[Page]:
        for page in range(PAGES):
            rows = Page((f"d-{page}-{row}", row, None) for row in range(ROWS))
            seen.append(weakref.ref(rows))
            yield rows
            del rows
            alive.append(sum(one() is not None for one in seen))

    out = io.BytesIO()
    assert WRITE[form](out, PLACEMENTS.columns, pages()) == PAGES * ROWS
    assert max(alive) <= 1  # the one that was written last, at most


@pytest.mark.parametrize("form", WRITE)
def test_a_table_is_read_in_parts_and_long_lines_in_smaller_ones(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for room in (lines, parquet):
        monkeypatch.setattr(room, "LINES", 30)
        monkeypatch.setattr(room, "CHARS", 10_000)
    raws = [b"x" if number < 100 else b"x" * 2000 for number in range(150)]
    rows = [(f"{n}", "a", None, None, raw, [], 0, 1, None) for n, raw in enumerate(raws)]
    path = tmp_path / f"quarantine.{form}"
    with path.open("wb") as out:
        WRITE[form](out, QUARANTINE.columns, [rows[:100], rows[100:]])
    with open_sheet(path, io.BytesIO()) as (sheet, _):
        chunks = list(sheet.chunks())
    numbers = [line.cells[0] for chunk in chunks for line in chunk]
    assert numbers == [str(n) for n in range(150)]
    assert max(map(len, chunks)) <= 30
    assert max(sum(len(line.text) for line in chunk) for chunk in chunks) < 10_000 + 4_000
