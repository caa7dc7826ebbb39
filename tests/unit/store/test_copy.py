"""A copy of the store: one moment of it, taken while it is written, and brought back."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from hivewatch.errors import StoreError, UsageError
from hivewatch.store import apiary
from hivewatch.store.copy import copy_in, copy_out
from hivewatch.store.open import Store
from hivewatch.store.readings import insert

T0_MS = 1_777_593_600_000


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path / "hivewatch.db")
    yield opened
    opened.close()


def fill(store: Store, first: int, count: int) -> None:
    """Store readings whose value is their place in the row."""
    with store.write() as connection:
        number = apiary.number_of(connection, "scale-1")
        rows = [(number, 1, T0_MS + 1000 * n, float(n), 1) for n in range(first, first + count)]
        insert(connection, rows)


def values(path: Path) -> list[float]:
    with closing(sqlite3.connect(path)) as connection:
        return [row[0] for row in connection.execute("SELECT value FROM reading ORDER BY time_ms")]


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_copy_is_whole_and_checked_and_nothing_else_is_left(store: Store, tmp_path) -> None:
    fill(store, 0, 1000)
    size = copy_out(store, tmp_path / "copy.db")
    assert size == (tmp_path / "copy.db").stat().st_size > 10_000
    assert values(tmp_path / "copy.db") == [float(n) for n in range(1000)]
    store.close()
    assert names(tmp_path) == ["copy.db", "hivewatch.db"]


def test_a_copy_of_a_store_that_is_written_all_the_time_ends_and_is_one_moment(
    store: Store, tmp_path
) -> None:
    fill(store, 0, 200_000)
    stop, written = threading.Event(), [200_000]

    def keep_writing() -> None:
        while not stop.is_set():
            fill(store, written[0], 10)
            written[0] += 10

    writer = threading.Thread(target=keep_writing)
    writer.start()
    try:
        for copy in range(3):
            before = written[0]
            copy_out(store, tmp_path / f"copy-{copy}.db")
            got = values(tmp_path / f"copy-{copy}.db")
            assert got == [float(n) for n in range(len(got))]
            assert before <= len(got) <= written[0] + 10
            assert len(got) % 10 == 0  # no half of a transaction
    finally:
        stop.set()
        writer.join()
    assert written[0] > 200_000


def test_a_copy_takes_no_name_that_is_taken(store: Store, tmp_path) -> None:
    (tmp_path / "copy.db").write_text("mine")
    with pytest.raises(UsageError, match=r"copy\.db: exists already; name a new file"):
        copy_out(store, tmp_path / "copy.db")
    assert (tmp_path / "copy.db").read_text() == "mine"


def test_a_copy_into_no_folder_is_told(store: Store, tmp_path) -> None:
    with pytest.raises(UsageError, match=r"cannot be written \(.*\); check that its folder exists"):
        copy_out(store, tmp_path / "nowhere" / "copy.db")


def test_what_an_interrupted_copy_left_does_not_matter(store: Store, tmp_path) -> None:
    fill(store, 0, 10)
    (tmp_path / "copy.db.part").write_text("half of a copy")
    copy_out(store, tmp_path / "copy.db")
    (tmp_path / "hivewatch.db.new").write_text("half of a copy")
    store.close()
    copy_in(tmp_path / "copy.db", store.path)
    assert names(tmp_path) == ["copy.db", "hivewatch.db", "hivewatch.db.before-1"]


def test_a_copy_comes_back_and_what_was_there_is_kept(store: Store, tmp_path) -> None:
    fill(store, 0, 10)
    copy_out(store, tmp_path / "a copy #1?.db")
    fill(store, 10, 5)
    store.close()
    kept = copy_in(tmp_path / "a copy #1?.db", store.path)
    assert kept == tmp_path / "hivewatch.db.before-1"
    assert len(values(store.path)) == 10
    assert len(values(kept)) == 15
    again = copy_in(kept, store.path)
    assert again == tmp_path / "hivewatch.db.before-2"
    assert len(values(store.path)) == 15


def test_a_copy_comes_back_to_where_no_store_is(store: Store, tmp_path) -> None:
    fill(store, 0, 10)
    copy_out(store, tmp_path / "copy.db")
    other = tmp_path / "other"
    with pytest.raises(UsageError, match="its folder is not there"):
        copy_in(tmp_path / "copy.db", other / "hivewatch.db")
    other.mkdir()
    assert copy_in(tmp_path / "copy.db", other / "hivewatch.db") is None
    assert len(values(other / "hivewatch.db")) == 10


def test_a_store_that_is_open_is_not_replaced(store: Store, tmp_path) -> None:
    fill(store, 0, 10)
    copy_out(store, tmp_path / "copy.db")
    with pytest.raises(UsageError, match="is in use; stop the daemon first"):
        copy_in(tmp_path / "copy.db", store.path)
    fill(store, 10, 1)
    assert len(values(store.path)) == 11
    assert not list(tmp_path.glob("*.before-*"))


def test_a_store_that_another_process_has_open_and_idle_is_not_replaced(
    store: Store, tmp_path
) -> None:
    copy_out(store, tmp_path / "copy.db")
    store.close()
    program = (
        "import sys; from pathlib import Path; from hivewatch.store.open import Store;"
        f"Store(Path({str(store.path)!r})); print('open', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as other:
        assert other.stdout.readline() == b"open\n"
        with pytest.raises(UsageError, match="is in use"):
            copy_in(tmp_path / "copy.db", store.path)
        other.stdin.close()
    copy_in(tmp_path / "copy.db", store.path)


def test_a_damaged_store_is_kept_and_replaced(store: Store, tmp_path) -> None:
    fill(store, 0, 10)
    copy_out(store, tmp_path / "copy.db")
    store.close()
    store.path.write_bytes(b"no longer a store" * 1000)
    kept = copy_in(tmp_path / "copy.db", store.path)
    assert kept.read_bytes().startswith(b"no longer a store")
    assert len(values(store.path)) == 10


@pytest.mark.parametrize("damage", ["cut", "page", "text", "other", "newer", "missing"])
def test_what_is_no_good_copy_changes_nothing(store: Store, tmp_path, damage: str) -> None:
    fill(store, 0, 5000)
    copy = tmp_path / "copy.db"
    copy_out(store, copy)
    raw = copy.read_bytes()
    if damage == "cut":
        copy.write_bytes(raw[: len(raw) // 2])
    elif damage == "page":
        middle = len(raw) // 2 // 4096 * 4096
        copy.write_bytes(raw[:middle] + os.urandom(4096) + raw[middle + 4096 :])
    elif damage == "text":
        copy.write_text("time,device,quantity,value\n")
    elif damage == "missing":
        copy.unlink()
    else:
        with closing(sqlite3.connect(copy)) as connection:
            change = "DROP TABLE" if damage == "other" else "UPDATE"
            tail = "" if damage == "other" else " SET version_num = '9999'"
            connection.execute(f"{change} alembic_version{tail}")
            connection.commit()
    store.close()
    with pytest.raises((UsageError, StoreError)) as caught:
        copy_in(copy, store.path)
    assert str(caught.value).startswith(f"{copy}: ")
    assert {
        "cut": "is damaged",
        "page": "is damaged",
        "text": "is no copy of a store (file is not a database); name a copy made by",
        "other": "is no copy of a store",
        "newer": "written by a newer hivewatch (schema 9999",
        "missing": "no such file; name a copy made by hivewatch backup",
    }[damage] in str(caught.value)
    assert len(values(store.path)) == 5000
    assert set(names(tmp_path)) <= {"copy.db", "hivewatch.db"}
