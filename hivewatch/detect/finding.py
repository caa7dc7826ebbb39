"""A finding: what the watch says of a hive, a yard or a device, and how it keeps its identity."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from itertools import count, groupby
from operator import attrgetter
from typing import Literal

Status = Literal["open", "ended", "explained", "withdrawn"]
Measure = float | int | str | None

KINDS = (
    "nectar_flow",
    "dearth",
    "brood_onset",
    "brood_end",
    "swarm",
    "swarm_risk",
    "robbing",
    "queen_trouble",
    "low_stores",
    "dead_out",
    "toppled",
    "taken",
    "handling",
    "orientation_flight",
    "forager_loss",
    "chilled_brood",
    "overheating",
    "silent",
    "stuck",
    "clock",
    "low_battery",
    "scale_drift",
)
"""Every kind there can be, as the contract with the outside lists them."""

MATCH_SLACK_S = 1800  # own choice: late data move the start of a step by a few readings


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding.

    Parameters
    ----------
    kind : str
        A kind of the contract, such as ``toppled``.
    subject : str
        ``hive:ID``, ``yard:ID`` or ``device:ID``.
    start_s, end_s : int, int or None
        Unix time, UTC; the end is None while it lasts. [s]
    detected_s : int
        Time of the reading that settled it. [s]
    confidence : float
        0 to 1.
    measures : Mapping
        Numbers with their unit in the name.
    evidence : tuple of str
        Sentences: what was seen.
    status : str
        ``open``, ``ended``, ``explained`` or ``withdrawn``.
    explained_by : str or None
        The id of the inspection that accounts for it.
    id : str
        Given by `settle`; empty before.
    """

    kind: str
    subject: str
    start_s: int
    end_s: int | None
    detected_s: int
    confidence: float
    measures: Mapping[str, Measure] = field(default_factory=dict)
    evidence: tuple[str, ...] = ()
    status: Status = "open"
    explained_by: str | None = None
    id: str = ""


_by_start = attrgetter("start_s", "kind", "subject", "id")
_said = attrgetter(*(one.name for one in fields(Finding) if one.name != "id"))


def settle(previous: Iterable[Finding], found: Iterable[Finding]) -> list[Finding]:
    """Give every finding its identity, and withdraw what no longer stands.

    Within a kind and subject, findings are matched one to one with those told before: first by the
    same start, then by overlap, the nearest starts first. A match keeps the id that was told; a new
    finding gets one from its kind, subject and start; what was told and is found no more is
    withdrawn, and comes back under its own id when it is found again.

    Parameters
    ----------
    previous : Iterable[Finding]
        All that was told before of these subjects, the withdrawn included.
    found : Iterable[Finding]
        What the detectors say now.

    Returns
    -------
    list[Finding]
        By start, then kind and subject; every one has an id.
    """
    told = sorted(previous, key=_order)
    new = sorted(found, key=_order)
    if len(told) == len(new) and all(map(_is_as_told, told, new)):
        return sorted(told, key=_by_start)  # as at most looks
    told_by = {key: list(items) for key, items in groupby(told, key=_group)}
    new_by = {key: list(items) for key, items in groupby(new, key=_group)}
    settled: list[Finding] = []
    for key in told_by.keys() | new_by.keys():
        settled += _settle_one_kind(told_by.get(key, []), new_by.get(key, []))
    return sorted(settled, key=_by_start)


def _group(finding: Finding) -> tuple[str, str]:
    return finding.kind, finding.subject


def _order(finding: Finding) -> tuple[str, str, int, str]:
    """Order findings so that nothing depends on the order in which they were given."""
    return finding.kind, finding.subject, finding.start_s, finding.id


def _settle_one_kind(told: Sequence[Finding], found: Sequence[Finding]) -> list[Finding]:
    """Match the findings of one kind and subject."""
    old_of = _same_starts(told, found)
    taken = set(old_of.values())
    pairs = sorted(
        (abs(told[i].start_s - new.start_s), i, j)
        for j, new in enumerate(found)
        if j not in old_of
        for i in range(len(told))
        if i not in taken and _overlap(told[i], new)
    )
    for _, i, j in pairs:
        if i not in taken and j not in old_of:
            old_of[j] = i
            taken.add(i)
    used = {old.id for old in told}
    settled = []
    for j, new in enumerate(found):
        old = told[old_of[j]] if j in old_of else None
        settled.append(_named(new, identity(new, used)) if old is None else _same(old, new))
        used.add(settled[-1].id)
    gone = [
        old if old.status == "withdrawn" else replace(old, status="withdrawn")
        for i, old in enumerate(told)
        if i not in taken
    ]
    return settled + gone


def _same_starts(told: Sequence[Finding], found: Sequence[Finding]) -> dict[int, int]:
    """Match those that start at the same moment, in their order: found -> told."""
    old_of: dict[int, int] = {}
    i = 0
    for j, new in enumerate(found):
        while i < len(told) and told[i].start_s < new.start_s:
            i += 1
        if i < len(told) and told[i].start_s == new.start_s:
            old_of[j] = i
            i += 1
    return old_of


def _named(finding: Finding, name: str) -> Finding:
    """Give a finding its id."""
    return replace(finding, id=name)


def _same(old: Finding, new: Finding) -> Finding:
    """Give a finding the id that was told; the one that was told itself where nothing changed."""
    return old if _is_as_told(old, new) else _named(new, old.id)


def _is_as_told(old: Finding, new: Finding) -> bool:
    """Say whether nothing of a finding has changed since it was told."""
    return bool(_said(old) == _said(new))


def _overlap(old: Finding, new: Finding) -> bool:
    """Say whether two findings of one kind and subject can be the same event."""
    if old.start_s == new.start_s:
        return True
    new_end = new.end_s if new.end_s is not None else max(old.start_s, new.start_s)
    if old.end_s is not None:
        old_end = old.end_s
    elif old.status == "withdrawn":  # it did not last: a later event is another one
        old_end = max(old.start_s, old.detected_s)
    else:
        old_end = max(old.start_s, new.start_s)
    return old.start_s <= new_end + MATCH_SLACK_S and new.start_s <= old_end + MATCH_SLACK_S


def identity(finding: Finding, used: Collection[str] = ()) -> str:
    """Make the id of a finding that is told for the first time: 16 hex digits, none of `used`.

    An id may be in use although nothing was told of that start: its finding has been moved since.
    """
    key = f"{finding.kind}|{finding.subject}|{finding.start_s}"
    for again in count():
        digest = hashlib.sha256((f"{key}|{again}" if again else key).encode()).hexdigest()[:16]
        if digest not in used:
            break
    return digest
