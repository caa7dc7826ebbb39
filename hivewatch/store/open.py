"""Open the store: one engine, one schema, one writer at a time."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from threading import Event
from typing import Any, cast

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.exc import DatabaseError, DBAPIError, OperationalError

from hivewatch.errors import StoreError

MIGRATIONS = Path(__file__).parent / "migrations"
SCHEMA = 6  # the newest migration in migrations/versions, `0001_…` and so on
BUSY_WAIT_S = 10.0  # own choice: longer than any one transaction of ours


class Store:
    """The store on disk; `read` gives a snapshot, `write` the one write transaction."""

    def __init__(self, path: Path) -> None:
        """Open or make the store and bring it to the present schema.

        Raises
        ------
        StoreError
            If the file is no store, cannot be opened, or was written by a newer hivewatch.
        """
        self.path = path
        self.written = Event()
        """Set after each commit of this process, for whoever waits for something new."""
        self.engine = _engine(path)
        try:
            with self.write() as connection:
                _migrate(connection, path)
        except StoreError:
            self.close()
            raise
        except OperationalError as error:
            self.close()
            raise explain(str(path), error) from error
        except DatabaseError as error:
            self.close()
            raise StoreError(
                str(path), "", f"is no hivewatch store ({error.orig})", "check [store] path"
            ) from error

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """Give a connection that sees one moment of the store."""
        with self.engine.connect() as connection:  # which ends it, when it is given back
            rows(connection, "BEGIN")
            yield connection

    @contextmanager
    def write(self, *, must_last: bool = True) -> Iterator[Connection]:
        """Give a connection that holds the write lock; commit at the end, undo on an error.

        What need not last is not waited for: a failure of the power may undo it, until the next
        commit that must last.
        """
        with self.engine.connect() as connection:
            if not must_last:
                rows(connection, "PRAGMA synchronous=NORMAL")
            try:
                connection.exec_driver_sql("BEGIN IMMEDIATE")
                try:
                    yield connection
                except BaseException:
                    connection.rollback()
                    raise
                connection.commit()
            finally:
                if not must_last:
                    rows(connection, "PRAGMA synchronous=FULL")
        self.written.set()

    def fault(self) -> str | None:
        """Give None when it can be read; what it raises else says why not."""
        with self.read() as connection:
            connection.exec_driver_sql("SELECT 1 FROM device LIMIT 1")
        return None

    def close(self) -> None:
        """Give all connections back."""
        self.engine.dispose()


def rows(connection: Connection, query: str, args: Sequence[object] = ()) -> list[tuple[Any, ...]]:
    """Read a few rows of a query that is asked at every reading, by the driver alone.

    What SQLAlchemy does around it takes five times as long as SQLite needs.
    """
    try:
        found = cast("sqlite3.Connection", connection.connection.driver_connection)
        return found.execute(query, args).fetchall()
    except sqlite3.Error as error:
        raise DBAPIError.instance(query, args, error, sqlite3.Error) from error


def explain(where: str, error: OperationalError) -> StoreError:
    """Say what keeps SQLite from its work (its result codes, https://sqlite.org/rescode.html)."""
    said = str(error.orig)
    for word, wrong, remedy in (
        ("locked", f"another program has held it for {BUSY_WAIT_S:.0f} s", "try again"),
        ("disk is full", "the disk is full", "make room; nothing that was stored is lost"),
        ("readonly", "cannot be written", "run the command as the user who owns the store"),
        (
            "unable to open",
            "cannot be opened",
            "check that its folder exists and lets you write; see [store] path",
        ),
        ("disk I/O", "the disk does not answer as it should", "check the disk"),
    ):
        if word in said:
            return StoreError(where, "", wrong, remedy)
    return StoreError(where, "", f"cannot be used ({said})", "check [store] path")


def _engine(path: Path) -> Engine:
    """Make the engine: WAL, every commit on disk before it counts."""
    engine = create_engine(
        f"sqlite:///{path}",
        connect_args={"timeout": BUSY_WAIT_S, "check_same_thread": False, "isolation_level": None},
        pool_use_lifo=True,  # the connection used last has the most of the store at hand
        pool_size=8,
        max_overflow=16,
    )

    @event.listens_for(engine, "connect")
    def _prepare(dbapi_connection: DBAPIConnection, _record: object) -> None:
        cursor = dbapi_connection.cursor()
        for pragma in (
            "journal_mode=WAL",
            "synchronous=FULL",
            "foreign_keys=ON",
            "cache_size=-64000",  # [kB] last readings of a thousand hives lie in 32 MB
        ):
            cursor.execute(f"PRAGMA {pragma}")

    return engine


def _migrate(connection: Connection, path: Path) -> None:
    """Bring the schema to the newest version, inside the caller's transaction."""
    found = _schema_of(connection, path)
    if found == SCHEMA:
        return
    if found > SCHEMA:
        raise StoreError(
            str(path),
            "",
            f"written by a newer hivewatch (schema {found}, this one knows {SCHEMA})",
            "update, or restore a backup",
        )
    from alembic import command  # noqa: PLC0415 - slow to load, and needed once
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _schema_of(connection: Connection, path: Path) -> int:
    """Read the store's schema number: 0 for an empty file."""
    tables = inspect(connection).get_table_names()
    if "alembic_version" not in tables:
        if tables:
            raise StoreError(str(path), "", "is no hivewatch store", "check [store] path")
        return 0
    version = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return int(version or 0)
