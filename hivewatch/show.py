"""How the commands print what they find."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from hivewatch.detect.finding import Finding
from hivewatch.ingest.tables import Imported, import_csv
from hivewatch.store.open import Store
from hivewatch.store.quarantine import Held


def rfc3339(time_s: int | None) -> str | None:
    """Write a time as the contract has it."""
    if time_s is None:
        return None
    return datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def finding_json(one: Finding) -> dict[str, Any]:
    """Give a finding in the form of the contract."""
    return {
        "id": one.id,
        "kind": one.kind,
        "subject": one.subject,
        "start": rfc3339(one.start_s),
        "end": rfc3339(one.end_s),
        "detected_at": rfc3339(one.detected_s),
        "confidence": one.confidence,
        "status": one.status,
        "measures": dict(one.measures),
        "evidence": list(one.evidence),
        "explained_by": one.explained_by,
    }


def finding_text(one: Finding) -> str:
    """Give a finding as a few words on a line, its evidence below."""
    end = rfc3339(one.end_s) or "still so"
    measures = ", ".join(f"{name} {value}" for name, value in one.measures.items())
    head = (
        f"{rfc3339(one.start_s)}  {one.subject}  {one.kind}, {one.status}"
        f" ({one.confidence:.0%} sure), until {end}"
    )
    lines = [head + (f": {measures}" if measures else "")]
    return "\n".join(lines + [f"    {sentence}" for sentence in one.evidence])


def held_json(one: Held) -> dict[str, Any]:
    """Give a pack or line in quarantine, without its bytes."""
    return {
        "id": one.id,
        "received_at": rfc3339(one.received_s),
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
    place = "" if index is None else f"record {index}: "
    more = f", and {len(one.faults) - 1} more" if len(one.faults) > 1 else ""
    times = f" ({one.times} times)" if one.times > 1 else ""
    return (
        f"{one.id:>5}  {rfc3339(one.received_s)}  {one.source}{times}:"
        f" {place}{reason}: {detail}{more}"
    )


def import_all(
    store: Store,
    files: Sequence[Path],
    now_s: int,
    *,
    late: bool,
    decimal_comma: bool,
    mirrored: bool,
) -> list[dict[str, Any]]:
    """Import files one by one, with a bar on a terminal and a summary line for each."""
    results = []
    screen = Console(stderr=True)
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
        console=screen,
        disable=not screen.is_terminal,
        transient=True,
    ) as bars:
        for file in files:
            path = None if str(file) == "-" else file
            bar = bars.add_task(file.name, total=None)

            def tell(done: int, total: int, bar: Any = bar) -> None:  # noqa: ANN401 - rich's id
                bars.update(bar, completed=done, total=total or None)

            done = import_csv(
                store,
                path,
                sys.stdin.buffer,
                now_s,
                late=late,
                decimal_comma=decimal_comma,
                mirrored=mirrored,
                progress=tell,
            )
            bars.remove_task(bar)
            _say_imported(screen.print, file.name if path else "standard input", done)
            results.append(imported_json(file.name, done))
    return results


def imported_json(name: str, done: Imported) -> dict[str, Any]:
    """Give what became of a file."""
    return {
        "file": name,
        "lines": done.lines,
        "stored": done.stored,
        "repeats": done.repeats,
        "quarantined": dict(done.reasons),
        "newest": rfc3339(done.newest_s) if done.newest_s else None,
    }


def _say_imported(say: Callable[..., None], name: str, done: Imported) -> None:
    """Tell a person what became of a file; every bad line is counted, the first ones named."""
    for line in done.shown:
        say(line, markup=False, highlight=False, soft_wrap=True)
    bad = sum(done.reasons.values())
    hidden = bad - len(done.shown)
    if hidden > 0:
        say(f"… and {hidden} more", markup=False, highlight=False)
    why = ", ".join(f"{count} {reason}" for reason, count in done.reasons.most_common())
    say(
        f"{name}: {done.lines} lines, {done.stored} readings stored, {done.repeats} known already"
        + (f", {bad} in quarantine ({why}): hivewatch quarantine list" if bad else ""),
        markup=False,
        highlight=False,
        soft_wrap=True,
    )
