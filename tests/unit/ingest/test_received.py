"""Readings with the time when each came, out and in again by CSV and by Parquet."""

from __future__ import annotations

import io
import sys
from datetime import UTC, datetime
from pathlib import Path

import pyarrow  # noqa: ICN001
import pyarrow.parquet
import pytest

from hivewatch.errors import UsageError
from hivewatch.export import Choice, export_kind
from hivewatch.ingest.folder import import_file
from hivewatch.store import quarantine
from hivewatch.store.open import Store

NOW_S = 1_780_000_000
LONG = """\
time,device,quantity,value,received
2026-05-01T00:00:00Z,scale-1,weight,40.1,2026-05-03T00:00:00Z
2026-05-01T00:05:00.250Z,scale-1,weight,0.1,2026-05-01T00:05:01Z
2026-05-01T00:10:00Z,scale-1,nest,34.5,
"""
WIDE = """\
time,device,received,weight,nest
2026-05-01T00:00:00Z,scale-1,2026-05-03T00:00:00Z,40.1,34.9
2026-05-01T00:10:00Z,scale-1,,,34.5
"""


def taken(store: Store, text: str, *, late: bool = False) -> list[tuple[int, float, str]]:
    """Import a text; gives (time_ms, value, when it came) of what is stored."""
    import_file(store, None, io.BytesIO(text.encode()), NOW_S, late=late)
    return rows(store)


def rows(store: Store) -> list[tuple[int, float, str]]:
    query = "SELECT time_ms, value, received_s FROM reading ORDER BY time_ms, quantity"
    with store.read() as connection:
        found = connection.exec_driver_sql(query).all()
    return [
        (time_ms % 86_400_000, value, f"{datetime.fromtimestamp(came_s, UTC):%dT%H:%M:%S}")
        for time_ms, value, came_s in found
    ]


def test_each_reading_came_when_its_line_says_so(tmp_path: Path) -> None:
    assert taken(Store(tmp_path / "a.db"), LONG) == [
        (0, 40.1, "03T00:00:00"),
        (300_250, 0.1, "01T00:05:01"),
        (600_000, 34.5, "01T00:10:00"),  # it says nothing: when it was measured
    ]
    assert taken(Store(tmp_path / "b.db"), WIDE) == [
        (0, 40.1, "03T00:00:00"),
        (0, 34.9, "03T00:00:00"),
        (600_000, 34.5, "01T00:10:00"),
    ]
    assert taken(Store(tmp_path / "c.db"), WIDE, late=True)[0] == (0, 40.1, "03T00:00:00")


@pytest.mark.parametrize("said", ["yesterday", "2026-05-03T00:00:00", "2027-01-01T00:00:00Z"])
def test_what_came_at_no_time_that_has_been_is_held(tmp_path: Path, said: str) -> None:
    store = Store(tmp_path / "a.db")
    assert taken(store, LONG.replace("2026-05-03T00:00:00Z", said))[0][1] == 0.1
    with store.read() as connection:
        (held,) = quarantine.read(connection)
    assert [reason for _, reason, _ in held.faults] == ["time"]
    assert held.faults[0][2].startswith(f"received = '{said}': ")


@pytest.mark.parametrize(
    "name", ["all.csv", "all.csv.gz", "all.json", "all.json.gz", "all.parquet"]
)
def test_the_store_is_the_same_after_each_form(tmp_path: Path, name: str) -> None:
    first, second = Store(tmp_path / "a.db"), Store(tmp_path / "b.db")
    taken(first, LONG)
    assert export_kind(first, "readings", tmp_path / name, Choice()) == 3
    done = import_file(second, tmp_path / name, sys.stdin.buffer, NOW_S)
    assert (done.lines, done.stored, done.reasons) == (3, 3, {})
    assert rows(second) == rows(first)
    again = import_file(second, tmp_path / name, sys.stdin.buffer, NOW_S)
    assert (again.stored, again.repeats) == (0, 3)


def test_a_bad_row_of_parquet_is_held_as_the_line_it_would_be(tmp_path: Path) -> None:
    times = pyarrow.array([1_777_600_000_000] * 3, pyarrow.timestamp("ms", tz="UTC"))
    table = {"time": times, "device": ["a", 'b,"c', "d"], "weight": [400.0, 40.0, None]}
    pyarrow.parquet.write_table(pyarrow.table(table), tmp_path / "wide.parquet")
    store = Store(tmp_path / "a.db")
    done = import_file(store, tmp_path / "wide.parquet", sys.stdin.buffer, NOW_S)
    assert (done.lines, done.stored) == (3, 0)
    assert done.reasons == {"out of range": 1, "device name": 1}
    with store.read() as connection:
        held = quarantine.read(connection)
    assert held[0].raw == b"time,device,weight\n2026-05-01T01:46:40Z,a,400.0\n"
    assert held[1].raw.splitlines()[1] == b'2026-05-01T01:46:40Z,"b,""c",40.0'


def test_what_is_no_parquet_of_readings_is_told_in_a_line(tmp_path: Path) -> None:
    (tmp_path / "a.parquet").write_bytes(b"PAR1 and then nothing")
    naive = {"time": pyarrow.array([0], pyarrow.timestamp("ms")), "device": ["a"], "nest": [1.0]}
    pyarrow.parquet.write_table(pyarrow.table(naive), tmp_path / "b.parquet")
    pyarrow.parquet.write_table(pyarrow.table({"x": [1]}), tmp_path / "c.parquet")
    for name, wrong in {
        "a.parquet": "cannot be read as Parquet",
        "b.parquet": "time: not a column of times with a time zone",
        "c.parquet": "no column 'time'",
    }.items():
        with pytest.raises(UsageError, match=wrong):
            import_file(Store(tmp_path / "s.db"), tmp_path / name, sys.stdin.buffer, NOW_S)
