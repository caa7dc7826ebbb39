"""The files of an export: each has its name only when it is whole."""

from __future__ import annotations

import gzip
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import BinaryIO, cast

from sqlalchemy import Connection

from hivewatch.errors import UsageError
from hivewatch.export.choice import Choice, Chosen, look_up, readings
from hivewatch.export.forms import WRITE, pyarrow
from hivewatch.store import whole
from hivewatch.store.columns import KINDS
from hivewatch.store.open import Store

ENDINGS = {".csv": "csv", ".csv.gz": "csv", ".json": "json", ".json.gz": "json"} | {
    ".parquet": "parquet"
}


def export_kind(
    store: Store,
    what: str,
    file: Path | None,
    choice: Choice,
    *,
    form: str | None = None,
    stdout: BinaryIO | None = None,
) -> int:
    """Write all records of a kind that are chosen; gives how many.

    Parameters
    ----------
    what : str
        One of `KINDS`.
    file : Path or None
        A new file; None writes to `stdout`.
    form : str or None
        csv, json or parquet; None goes by the file's name, and is CSV on `stdout`.

    Raises
    ------
    UsageError
        If there is no such hive, yard or quantity, or the file cannot be written.
    """
    form = _form(file, form)
    with store.read() as connection:
        chosen = look_up(connection, choice)
    with nullcontext() if what == "readings" else store.read() as connection:
        if file is None:
            out = stdout or sys.stdout.buffer
            count = _write(store, connection, chosen, what, out, form)
            out.flush()
            return count
        with _new(file) as out:
            return _write(store, connection, chosen, what, out, form)


def export_all(store: Store, folder: Path, choice: Choice, *, form: str = "csv") -> dict[str, int]:
    """Write everything into a new folder, a file a kind; gives how many records of each.

    All but readings is as it was at one moment; of these there may be newer ones.

    Raises
    ------
    UsageError
        If there is no such hive or yard, or the folder cannot be written.
    """
    if folder.exists():
        raise UsageError(str(folder), "", "exists already", "name a new folder")
    if form == "parquet":
        pyarrow()
    part = folder.with_name(folder.name + ".part")
    try:
        part.mkdir()
        try:
            with store.read() as connection:
                chosen = look_up(connection, choice)
                done = {}
                for what in KINDS:
                    if what != "readings":
                        with _new(part / f"{what}.{form}") as out:
                            done[what] = _write(store, connection, chosen, what, out, form)
            packed = "" if form == "parquet" else ".gz"
            with _new(part / f"readings.{form}{packed}") as out:
                done["readings"] = _write(store, None, chosen, "readings", out, form)
            part.rename(folder)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    except OSError as error:
        wrong = f"cannot be written ({error.strerror or error})"
        remedy = "check that the folder above it exists, has room and lets you write"
        raise UsageError(str(folder), "", wrong, remedy) from error
    return {what: done[what] for what in KINDS}


def _write(
    store: Store,
    connection: Connection | None,
    chosen: Chosen,
    what: str,
    out: BinaryIO,
    form: str,
) -> int:
    """Write one kind; readings need no connection, which would hold up the store for long."""
    kind = KINDS[what]
    if connection is not None:
        return WRITE[form](out, kind.columns, whole.read(connection, kind, chosen.wanted))
    left_out = set() if chosen.received else {"received"}
    columns = {name: one for name, one in kind.columns.items() if name not in left_out}
    return WRITE[form](out, columns, readings(store, chosen))


def _form(file: Path | None, form: str | None) -> str:
    """Say which form a file is to have."""
    if file is not None:
        ending = next((one for one in ENDINGS if file.name.lower().endswith(one)), None)
        if ending is None and form is None:
            remedy = f"end it with {', '.join(ENDINGS)}, or give --format"
            raise UsageError(str(file), "", "not a form we write", remedy)
        if ending is not None and form not in {None, ENDINGS[ending]}:
            wrong = f"ends with {ending}, and --format says {form}"
            raise UsageError(str(file), "", wrong, "leave --format out, or name it otherwise")
        form = form or ENDINGS[str(ending)]
    if form == "parquet":
        pyarrow()
    return form or "csv"


@contextmanager
def _new(file: Path) -> Iterator[BinaryIO]:
    """Open a new file beside its name, and give it its name when it is whole."""
    if file.exists():
        raise UsageError(str(file), "", "exists already", "name a new file")
    part = file.with_name(file.name + ".part")
    try:
        try:
            with part.open("wb") as out:
                if file.name.lower().endswith(".gz"):
                    name = file.name.removesuffix(".gz")
                    with gzip.GzipFile(name, "wb", 6, out, mtime=0) as packed:
                        yield cast("BinaryIO", packed)
                else:
                    yield out
            part.rename(file)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        wrong = f"cannot be written ({error.strerror or error})"
        remedy = "check that its folder exists, has room and lets you write"
        raise UsageError(str(file), "", wrong, remedy) from error
