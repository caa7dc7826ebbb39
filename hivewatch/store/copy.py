"""A consistent copy of the store while it runs, and back."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from hivewatch.errors import StoreError, UsageError
from hivewatch.store.open import Store

PAGES_A_STEP = 1000  # own choice: writers get their turn every four megabytes


def copy_out(store: Store, file: Path) -> int:
    """Copy the store into a new file, check the copy, and only then give it its name.

    Returns
    -------
    int
        Size of the copy in bytes.

    Raises
    ------
    UsageError
        If the file exists or cannot be written.
    StoreError
        If the copy is not whole.
    """
    if file.exists():
        raise UsageError(str(file), "", "exists already", "name a new file")
    part = file.with_name(file.name + ".part")
    try:
        with closing(sqlite3.connect(store.path)) as source, closing(sqlite3.connect(part)) as copy:
            source.backup(copy, pages=PAGES_A_STEP)
            copy.execute("PRAGMA journal_mode=DELETE")
            _check(copy, part)
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        part.rename(file)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        wrong = f"cannot be written ({getattr(error, 'strerror', None) or error})"
        remedy = "is the folder there, is there room, and may we?"
        raise UsageError(str(file), "", wrong, remedy) from error
    return file.stat().st_size


def copy_in(file: Path, path: Path) -> Path | None:
    """Bring a copy back to where the store stands; what is there is kept beside it.

    Returns
    -------
    Path or None
        Where the store that was there is now.

    Raises
    ------
    UsageError
        If the file is no copy of a store, or the store is in use.
    """
    if not file.is_file():
        raise UsageError(str(file), "", "no such file", "name a copy made by hivewatch backup")
    new = path.with_name(path.name + ".new")
    try:
        with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as copy:
            _check(copy, file)
            with closing(sqlite3.connect(new)) as target:
                copy.backup(target)
    except sqlite3.Error as error:
        new.unlink(missing_ok=True)
        wrong = f"is no copy of a store ({error})"
        raise UsageError(str(file), "", wrong, "name a copy made by hivewatch backup") from error
    kept = _put_aside(path) if path.exists() else None
    new.rename(path)
    Store(path).close()
    return kept


def _put_aside(path: Path) -> Path:
    """Move the present store away, unless somebody has it open."""
    try:
        with closing(sqlite3.connect(path, timeout=0.5)) as present:
            # Only when nobody else reads does SQLite fold its log back into the file.
            present.execute("PRAGMA locking_mode=EXCLUSIVE")
            present.execute("BEGIN EXCLUSIVE")
            present.execute("COMMIT")
            present.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except sqlite3.OperationalError as error:
        raise UsageError(str(path), "", "is in use", "stop the daemon first") from error
    number = 1
    while (kept := path.with_name(f"{path.name}.before-{number}")).exists():
        number += 1
    path.rename(kept)
    for leftover in ("-wal", "-shm"):
        path.with_name(path.name + leftover).unlink(missing_ok=True)
    return kept


def _check(copy: sqlite3.Connection, where: Path) -> None:
    """See that every page of a copy is whole, and that it is one of ours."""
    found = copy.execute("PRAGMA quick_check").fetchone()[0]
    if found != "ok":
        raise StoreError(str(where), "", f"is damaged ({found})", "use another copy")
    copy.execute("SELECT version_num FROM alembic_version").fetchone()
