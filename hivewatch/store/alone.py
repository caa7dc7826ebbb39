"""One daemon at a time works with a store: two would take each other's place at the broker."""

from __future__ import annotations

import fcntl
from pathlib import Path
from typing import TextIO

from hivewatch.errors import UsageError


def hold_alone(path: Path) -> TextIO:
    """Hold a store for one daemon, until the file that comes back is closed or the process ends.

    The lock is on a file beside the store, as SQLite's own locks must be left alone; it is the
    kernel's (flock(2)), so that a daemon that was killed leaves none behind.

    Raises
    ------
    UsageError
        If another daemon holds it, or its folder cannot be written to.
    """
    beside = path.with_name(path.name + ".running")
    try:
        held = beside.open("a")
    except OSError as error:
        wrong = f"cannot be written ({error.strerror})"
        raise UsageError(str(beside), "", wrong, "see [store] path") from error
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        held.close()
        wrong, remedy = "another hivewatch run works with it", "stop that one first"
        raise UsageError(str(path), "", wrong, remedy) from error
    return held
