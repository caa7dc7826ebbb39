"""How the commands print what they find."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import typer
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from hivewatch.apiary import Apiary, stands
from hivewatch.comb.outlook import Outlook
from hivewatch.comb.outlook_words import describe_outlook
from hivewatch.comb.reading import Range
from hivewatch.comb.words import about
from hivewatch.detect.finding import Finding
from hivewatch.errors import UsageError
from hivewatch.ingest.folder import Taken, files_of, import_file
from hivewatch.ingest.tables import Imported
from hivewatch.moments import written_s
from hivewatch.store.open import Store
from hivewatch.store.quarantine import Held

UNITS = {
    "kg": "kg",
    "cel": "°C",
    "k": "K",
    "v": "V",
    "min": "min",
    "hours": "h",
    "days": "days",
    "percent": "%",
}
"""Of measures, by the part of a name that says it."""


def finding_json(one: Finding) -> dict[str, Any]:
    """Give a finding in the form of the contract."""
    return {
        "id": one.id,
        "kind": one.kind,
        "subject": one.subject,
        "start": written_s(one.start_s),
        "end": None if one.end_s is None else written_s(one.end_s),
        "detected_at": written_s(one.detected_s),
        "confidence": one.confidence,
        "status": one.status,
        "measures": dict(one.measures),
        "evidence": list(one.evidence),
        "explained_by": one.explained_by,
    }


def zone_of(one: Finding, apiary: Apiary) -> ZoneInfo:
    """Give the zone of the yard that a finding is of."""
    what, _, name = one.subject.partition(":")
    if what == "device":
        what, name = "hive", stands(apiary.placements, name, one.start_s) or ""
    home = name if what == "yard" else getattr(apiary.hive.get(name), "yard", "")
    return ZoneInfo(getattr(apiary.yard.get(home), "timezone", "UTC"))


def finding_text(one: Finding, zone: ZoneInfo) -> str:
    """Give a finding as a few words on a line, its evidence below; times are those of the yard."""
    begun = datetime.fromtimestamp(one.start_s, zone)
    until = ""
    if one.end_s is not None and one.end_s != one.start_s:
        end = datetime.fromtimestamp(one.end_s, zone)
        until = f" to {end:%H:%M}" if end.date() == begun.date() else f" to {end:%Y-%m-%d %H:%M}"
    who = one.subject.removeprefix("hive:").replace(":", " ")
    status = {"ended": "over"}.get(one.status, one.status)
    head = f"{begun:%Y-%m-%d %H:%M}{until}  {who}: {one.kind}, {status}, {one.confidence:.0%} sure"
    measures = [measure(name, value) for name, value in one.measures.items() if value is not None]
    lines = [head, *([", ".join(measures)] if measures else []), *one.evidence]
    return "\n    ".join(lines)


def measure(name: str, value: float | str) -> str:
    """Say a measure, whose unit stands in its name: "kg_lost" is "2.01 kg lost"."""
    shown = value if isinstance(value, str) else f"{value:,.10g}"
    parts = name.split("_")
    at = next((i for i, part in enumerate(parts) if part in UNITS), None)
    if at is None:  # counts of something are named first, too: "bees_left"
        return f"{' '.join(parts)} {shown}" if isinstance(value, str) else _first(shown, parts)
    unit = UNITS[parts[at]]
    if at == 0:
        return _first(f"{shown} {unit}", parts[1:])
    return f"{' '.join(parts[:at] + parts[at + 1 :])} {shown} {unit}"


def _first(amount: str, rest: list[str]) -> str:
    if rest[-1:] == ["error"]:
        return " ".join(["give or take", amount, *rest[:-1]])
    return " ".join([amount, *rest])


def outlook_text(seen: Outlook) -> str:
    """Give an outlook in sentences, with a small table of the weeks back and ahead."""
    rows = ["", "days from now   eggs laid      adults (8 in 10 times)   foragers   emerging a day"]
    for day in range(-21, 22, 7):
        known = [seen.figures[name].get(day) for name in ("adults", "foragers", "emerging")]
        adults, foragers, young = ("-" if one is None else about(one.median) for one in known)
        span = "" if known[0] is None else _span(known[0])
        laid = about(seen.laying[day].median)
        rows.append(f"{day:>13} {laid:>11} {adults:>11} {span:<20} {foragers:>9} {young:>12}")
    return "\n".join([*describe_outlook(seen), *rows])


def _span(of: Range) -> str:
    return f"({about(of.low)} to {about(of.high)})"


def held_json(one: Held) -> dict[str, Any]:
    """Give a pack or line in quarantine, without its bytes."""
    return {
        "id": one.id,
        "received_at": written_s(one.received_s),
        "source": one.source,
        "device": one.device,
        "times": one.times,
        "bytes": len(one.raw),
        "faults": [
            {"index": index, "reason": reason, "detail": detail}
            for index, reason, detail in one.faults
        ],
    }


def held_text(one: Held) -> str:
    """Give a pack or line in quarantine on one line."""
    index, reason, detail = one.faults[0]
    place = "" if index is None else f"record {index + 1}: "
    more = f", and {len(one.faults) - 1} more" if len(one.faults) > 1 else ""
    times = f" ({one.times} times)" if one.times > 1 else ""
    return (
        f"{one.id:>5}  {written_s(one.received_s)}  {one.source}{times}:"
        f" {place}{reason}: {detail}{more}"
    )


def import_all(
    store: Store,
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
