"""A consistent copy of the store while it runs, and back."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from hivewatch.errors import StoreError, UsageError
from hivewatch.store.open import Store

NAME_A_COPY = "name a copy made by hivewatch backup"


def copy_out(store: Store, file: Path) -> int:
    """Copy the store into a new file, check the copy, and only then give it its name.

    The copy is one moment of the store, and nobody waits for it: it is read as a whole, for a copy
    taken in steps starts anew at every commit and never ends while readings come.

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
        part.unlink(missing_ok=True)
        with closing(sqlite3.connect(store.path)) as source, closing(sqlite3.connect(part)) as copy:
            source.backup(copy, pages=-1)
            copy.execute("PRAGMA journal_mode=DELETE")
            _check(copy, part)
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        part.rename(file)
    except (OSError, sqlite3.Error) as error:
        wrong = f"cannot be written ({getattr(error, 'strerror', None) or error})"
        remedy = "check that its folder exists, has room and lets you write"
        raise UsageError(str(file), "", wrong, remedy) from error
    finally:
        part.unlink(missing_ok=True)
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
    StoreError
        If the copy is damaged, or of a newer hivewatch.
    """
    if not file.is_file():
        raise UsageError(str(file), "", "no such file", NAME_A_COPY)
    if not path.parent.is_dir():
        raise UsageError(str(path), "", "its folder is not there", "make it, or see [store] path")
    new = path.with_name(path.name + ".new")
    try:
        new.unlink(missing_ok=True)
        _unpack(file, new)
        if not path.exists():
            new.rename(path)
            return None
        _fold(path)
        kept = _beside(path)
        new.replace(path)
    except OSError as error:
        wrong = f"cannot be written ({error.strerror})"
        raise UsageError(
            str(path), "", wrong, "check that its folder has room and lets you write"
        ) from error
    finally:
        new.unlink(missing_ok=True)
    return kept


def _unpack(file: Path, new: Path) -> None:
    """Copy a copy beside the store, and see that this hivewatch can work with it."""
    try:
        # The folder may be one that we cannot write to, so the file is opened to be read alone.
        source = f"{file.resolve().as_uri()}?mode=ro"
        with closing(sqlite3.connect(source, uri=True)) as copy:
            _check(copy, file)
            with closing(sqlite3.connect(new)) as target:
                copy.backup(target, pages=-1)
    except sqlite3.Error as error:
        if "malformed" in str(error):
            raise StoreError(str(file), "", f"is damaged ({error})", "use another copy") from error
        wrong = f"is no copy of a store ({error})"
        raise UsageError(str(file), "", wrong, NAME_A_COPY) from error
    try:
        Store(new).close()
    except StoreError as error:
        raise StoreError(str(file), "", error.wrong, error.remedy) from error


def _fold(path: Path) -> None:
    """Fold the present store's log back into it, unless somebody has it open."""
    try:
        with closing(sqlite3.connect(path, timeout=0.5)) as present:
            # With an exclusive lock SQLite works in WAL mode only when nobody else is there.
            present.execute("PRAGMA locking_mode=EXCLUSIVE")
            present.execute("BEGIN EXCLUSIVE")
            present.execute("COMMIT")
            present.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except sqlite3.OperationalError as error:
        raise UsageError(str(path), "", "is in use", "stop the daemon first") from error
    except sqlite3.DatabaseError:
        return  # it is damaged, which is why a copy is wanted; it is kept as it is


def _beside(path: Path) -> Path:
    """Give the present store a second name; whatever happens then, one of the two is whole."""
    number = 1
    while (kept := path.with_name(f"{path.name}.before-{number}")).exists():
        number += 1
    try:
        os.link(path, kept)
    except OSError:  # a file system without hard links
        path.rename(kept)
    for leftover in ("-wal", "-shm"):
        log = path.with_name(path.name + leftover)
        if log.exists():
            log.rename(kept.with_name(kept.name + leftover))
    return kept


def _check(copy: sqlite3.Connection, where: Path) -> None:
    """See that every page of a copy is whole, and that it is one of ours."""
    found = copy.execute("PRAGMA quick_check").fetchone()[0]
    if found != "ok":
        raise StoreError(str(where), "", f"is damaged ({found})", "use another copy")
    copy.execute("SELECT version_num FROM alembic_version").fetchone()
