"""Write the message: what, where, when in the yard's own time, how sure, what to do and to take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Protocol

from hivewatch.alerts.phrases import phrase
from hivewatch.alerts.quiet import zone
from hivewatch.detect.finding import Finding

LISTED_MAX = 20  # own choice: more lines than a phone shows help nobody
EVIDENCE_MAX = 3  # own choice: the rest is on the page
TITLE_CHARS_MAX = 120  # own choice: what a lock screen and a mail's subject show


class Place(Protocol):
    """A yard: its id, its name and its time zone."""

    @property
    def id(self) -> str:
        """The yard's id."""

    @property
    def name(self) -> str:
        """What people call it."""

    @property
    def timezone(self) -> str:
        """IANA name."""


@dataclass(frozen=True, slots=True)
class Case:
    """A finding with the hive it concerns, as far as known, and whether it is told late."""

    finding: Finding
    hive: str | None = None
    is_late: bool = False


@dataclass(frozen=True, slots=True)
class Text:
    """A message: one line, and some."""

    title: str
    body: str


def write(cases: Sequence[Case], yard: Place | None, count: int | None = None) -> Text:
    """Write one message for one finding, or for several of a kind at one yard.

    Parameters
    ----------
    cases : Sequence[Case]
        One at least, all of one kind.
    yard : Place or None
        Where; None for a device that stands nowhere yet.
    count : int or None
        How many there are, when `cases` holds only the first of them.

    Returns
    -------
    Text
        Title and body, without line breaks in the title.
    """
    words = phrase(cases[0].finding.kind)
    count = len(cases) if count is None else count
    place = zone(yard.timezone if yard else None)
    if count == 1:
        who = _name(cases[0], yard)
        title = f"{who[0].upper()}{who[1:]}: {words.head}"
        lines = _one(cases[0], words.what.format(who=who), place)
    else:
        title = f"{count} {words.many}" + (f" at {yard.name}" if yard else "")
        lines = [f"{title}:", *_several(cases, count, place)]
    if all(case.is_late for case in cases):
        title = f"Late news: {title}"
        lines.insert(0, "The data came in late: this is not fresh news.")
    lines += [
        f"{name}: {text}"
        for name, text in (("Do", words.do), ("Take", words.take), ("Mind", words.mind))
        if text
    ]
    one_line = " ".join(title.split())
    if len(one_line) > TITLE_CHARS_MAX:
        one_line = one_line[: TITLE_CHARS_MAX - 1] + "…"
    return Text(one_line, "\n".join(lines))


def _one(case: Case, what: str, place: tzinfo) -> list[str]:
    """Write the facts of one finding."""
    lines = [
        f"{what[0].upper()}{what[1:]}",
        f"{_when(case.finding, place)}. {_how_sure(case.finding)}",
    ]
    seen = case.finding.evidence[:EVIDENCE_MAX]
    return lines + ([f"Seen: {'; '.join(seen)}."] if seen else [])


def _several(cases: Sequence[Case], count: int, place: tzinfo) -> list[str]:
    """List several findings, a line each."""
    lines = []
    in_order = sorted(cases, key=lambda case: (case.finding.start_s, case.finding.subject))
    for case in in_order[:LISTED_MAX]:
        when = _when(case.finding, place)
        lines.append(f"- {_name(case, None)}, {when[0].lower()}{when[1:]}")
    left = count - len(lines)
    return lines + ([f"- and {left} more"] if left > 0 else [])


def _name(case: Case, yard: Place | None) -> str:
    """Name the hive, device or yard, and where it is."""
    kind, _, name = case.finding.subject.partition(":")
    if kind == "yard":
        return yard.name if yard else name
    hive = f" (hive {case.hive})" if kind == "device" and case.hive else ""
    return f"{kind} {name}{hive}" + (f" at {yard.name}" if yard else "")


def _when(finding: Finding, place: tzinfo) -> str:
    """Say when, in the yard's own time."""
    start = f"{datetime.fromtimestamp(finding.start_s, place):%a %d %b %Y, %H:%M %Z}"
    if finding.end_s is None:
        return f"Since {start}"
    end = datetime.fromtimestamp(finding.end_s, place)
    begun = datetime.fromtimestamp(finding.start_s, place)
    form = "%H:%M %Z" if begun.date() == end.date() else "%a %d %b %Y, %H:%M %Z"
    return f"From {start}, to {end:{form}}"


def _how_sure(finding: Finding) -> str:
    """Say how sure, in a word and in per cent."""
    word = next(
        word
        for least, word in ((0.95, "Almost certain"), (0.8, "Likely"), (0.0, "Perhaps"))
        if finding.confidence >= least or least == 0.0
    )
    return f"{word} ({finding.confidence:.0%})."
