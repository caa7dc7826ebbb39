"""Import files one by one, and print what became of each."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import typer
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from hivewatch.errors import UsageError
from hivewatch.ingest.folder import Taken, files_of, import_file
from hivewatch.ingest.tables import Imported
from hivewatch.moments import written_s
from hivewatch.store.open import Store


def import_all(
    store_path: Path,
    files: Sequence[Path],
    now_s: int,
    say: Callable[[str], None],
    *,
    late: bool,
    decimal_comma: bool,
    mirrored: bool,
) -> list[dict[str, Any]]:
    """Import files one by one, with a bar on a terminal; bad lines are named on standard error.

    `say` is given a summary line for each file.

    Raises
    ------
    UsageError
        If a file is not there, cannot be read, or is no table that we know.
    """
    for file in files:
        if str(file) != "-" and not file.exists():
            raise UsageError(str(file), "", "no such file", "check the name; nothing was imported")
    store = Store(store_path)
    results = []
    for file in [one for given in files for one in _spread(given)]:
        path = None if str(file) == "-" else file
        name = file.name if path else "standard input"
        with _bar(name) as tell:
            done = import_file(
                store,
                path,
                sys.stdin.buffer,
                now_s,
                late=late,
                decimal_comma=decimal_comma,
                mirrored=mirrored,
                progress=tell,
            )
        if isinstance(done, Taken):
            bad, said, told = done.refused, _taken_in(name, done), taken_json(name, done)
        else:
            bad, said, told = done.bad, _summary(name, done), imported_json(name, done)
        for line in _faults(done.shown, bad):
            typer.echo(line, err=True)
        say(said)
        results.append(told)
    return results


def _spread(file: Path) -> list[Path]:
    """Give the files of a folder, or the file."""
    if not file.is_dir():
        return [file]
    files, others = files_of(file)
    for one in others:
        typer.echo(f"{one.name}: left out: no file of an export", err=True)
    return files


def _taken_in(name: str, done: Taken) -> str:
    """Say what became of a file of records."""
    became = done.became
    counts = [f"{became['new'] + became['closed']} new", f"{became['known']} known already"]
    if became["kept"]:
        counts.append(f"{became['kept']} left as the store has them now")
    if done.refused:
        counts.append(f"{done.refused} not taken in")
    if became["closed"]:
        counts.append(f"of them {became['closed']} not sent before: nobody is called for those")
    return f"{name}: {_many(done.records, 'record')}, {', '.join(counts)}"


def taken_json(name: str, done: Taken) -> dict[str, Any]:
    """Give what became of a file of records."""
    became = {how: done.became[how] for how in ("new", "closed", "known", "kept")}
    return {"file": name, "records": done.records} | became | {"refused": done.refused}


@contextmanager
def _bar(name: str) -> Iterator[Callable[[int, int], None]]:
    """Show how far a file is, where standard error is a terminal."""
    screen = Console(stderr=True)
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
        console=screen,
        disable=not screen.is_terminal,
        transient=True,
        redirect_stdout=False,
    ) as bars:
        bar = bars.add_task(escape(name), total=None)
        yield lambda done, total: bars.update(bar, completed=done, total=total or None)


def imported_json(name: str, done: Imported) -> dict[str, Any]:
    """Give what became of a file."""
    return {
        "file": name,
        "lines": done.lines,
        "stored": done.stored,
        "repeats": done.repeats,
        "quarantined": dict(done.reasons),
        "newest": written_s(done.newest_s) if done.newest_s else None,
    }


def _faults(shown: list[str], count: int) -> list[str]:
    """Name the first bad lines, and say how many more there are."""
    hidden = count - len(shown)
    return shown + ([f"… and {hidden} more"] if hidden > 0 else [])


def _summary(name: str, done: Imported) -> str:
    """Say what became of a file; every bad line is counted."""
    bad = done.bad
    why = ", ".join(f"{count} {reason}" for reason, count in done.reasons.most_common())
    held = f", {bad} in quarantine ({why}): hivewatch quarantine list" if bad else ""
    return (
        f"{name}: {_many(done.lines, 'line')}, {_many(done.stored, 'reading')} stored,"
        f" {done.repeats} known already{held}"
    )


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
