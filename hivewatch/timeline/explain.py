"""Which inspection accounts for which finding, whatever came first.

Only what a visit can have caused, or put right, is accounted for by it. An emergency is not hushed
by a visit alone: a hive that lies beside its scale is accounted for when the keeper wrote that he
moved it, or when it stands again about the time of a visit.

Who writes that the colony was given away accounts for all that is told of the hive from then on,
until somebody writes of a visit again.

Who writes that nobody opened a hive accounts for nothing: the step stays as the scale felt it, with
his word against it, and is less likely than not to have been a handling.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType

from hivewatch.detect.finding import MATCH_SLACK_S, Finding
from hivewatch.inspections import Inspection
from hivewatch.timeline.gone import Absence, absences
from hivewatch.timeline.stated import (
    LEAST_KG,
    MOVES,
    SAME_VISIT_S,
    TAKES,
    Noted,
    agrees,
    error_kg,
    felt_kg,
    in_words,
    stated,
)

SAME_DAY_S = 12 * 3600  # [s] own choice: an evening's entry for the day, when its kg agree
GAP_MOST_S = 12 * 3600  # [s] own choice: a device that was off longer was not just unplugged
DENIED = 0.4  # own choice: less likely than not; of that nobody is asked (`questions.ASK_FROM`)
CHILL_MOST_S = 6 * 3600  # [s] own choice: an opened nest is warm again long before

Rule = Callable[[Finding, Inspection], int | None]


def explain(findings: Iterable[Finding], inspections: Iterable[Noted]) -> list[Finding]:
    """Mark the findings that an inspection accounts for.

    Parameters
    ----------
    findings : Iterable[Finding]
        Of one hive and the devices at it, as the detectors gave them.
    inspections : Iterable[Noted]
        Of that hive, in any order; when they were written down does not matter.

    Returns
    -------
    list[Finding]
        The same, in the same order; `explained_by` names the entry that can account for it: the
        one that says what the scale felt, else the nearest in time. The evidence says what was
        written down, and what others wrote of the same visit.
    """
    dated = sorted(((one.inspection.at_s, one) for one in inspections), key=_when)
    visits, times_s = [one for _, one in dated], [at_s for at_s, _ in dated]
    gone = absences(visits)
    explained = []
    for one in findings:
        low = bisect_left(times_s, one.start_s - SAME_DAY_S)  # no rule looks further
        lasts = one.end_s is None
        high = len(visits) if lasts else bisect_right(times_s, (one.end_s or 0) + SAME_DAY_S)
        one = _explained(one, visits[low:high]) if low < high else one  # noqa: PLW2901
        explained.append(_of_no_colony(one, gone))
    return explained


def _of_no_colony(finding: Finding, gone: Iterable[Absence]) -> Finding:
    """Mark what is told of a hive whose colony was given away."""
    if finding.status in {"explained", "withdrawn"}:
        return finding
    for absence in gone:
        if absence.holds(finding.start_s, finding.end_s):
            by = absence.by
            words = f"written down{_name(by.inspection)}: {in_words(by.inspection)}"
            evidence = (*finding.evidence, words)
            return replace(finding, status="explained", explained_by=by.id, evidence=evidence)
    return finding


def _when(visit: tuple[int, Noted]) -> tuple[int, str]:
    return visit[0], visit[1].id


def _explained(finding: Finding, visits: Iterable[Noted]) -> Finding:
    rule = RULES.get(finding.kind)
    if rule is None or finding.status == "withdrawn":
        return finding
    what, _, name = finding.subject.partition(":")
    entries = [one for one in visits if what != "hive" or one.inspection.hive == name]
    able = [
        ((_misfit(finding, one.inspection), away_s, one.inspection.at_s, one.id), one)
        for one in entries
        if one.inspection.opened and (away_s := rule(finding, one.inspection)) is not None
    ]
    if not able:
        return _denied(finding, entries)
    by, *others = (one for _, one in sorted(able, key=lambda ranked: ranked[0]))
    at_s = by.inspection.at_s
    words = [f"written down{_name(by.inspection)}: {in_words(by.inspection)}"] + [
        f"also written down{_name(one.inspection)}: {in_words(one.inspection)}"
        for one in others
        if _away_s(one.inspection, at_s, at_s) <= SAME_VISIT_S
    ]
    return replace(
        finding, status="explained", explained_by=by.id, evidence=(*finding.evidence, *words)
    )


def _name(visit: Inspection) -> str:
    return f" by {visit.by}" if visit.by else ""


def _misfit(finding: Finding, visit: Inspection) -> int:
    """Rank what was written down by what the scale felt: 0 the same, 1 the same way, 2 neither."""
    felt = felt_kg(finding) or 0.0
    if abs(felt) < LEAST_KG or _same_kg(finding, visit):
        return 0
    said = stated(visit)
    return 1 if said.kg is None and said.way * felt > 0 else 2


def _denied(finding: Finding, entries: Iterable[Noted]) -> Finding:
    """Hold a handling against the word of somebody who knows that nobody opened the hive."""
    if finding.kind != "handling":
        return finding
    end_s = finding.start_s if finding.end_s is None else finding.end_s
    words = [
        (_away_s(one.inspection, finding.start_s, end_s), one.id, one.inspection.by)
        for one in entries
        if not one.inspection.opened
    ]
    near = [one for one in sorted(words, key=lambda said: said[:2]) if one[0] <= MATCH_SLACK_S]
    if not near:
        return finding
    by = near[0][2]
    said = f"nobody opened it, says {by}" if by else "written down: nobody opened it"
    return replace(
        finding, confidence=min(finding.confidence, DENIED), evidence=(*finding.evidence, said)
    )


def _away_s(visit: Inspection, from_s: int, to_s: int) -> int:
    """Give how far a visit lies from a span of time; 0 within it. [s]."""
    return max(from_s - visit.at_s, visit.at_s - to_s, 0)


def _within(away_s: int, most_s: int) -> int | None:
    return away_s if away_s <= most_s else None


def _opened(finding: Finding, visit: Inspection) -> int | None:
    """Judge a handling: a visit opens the hive; one noted hours away needs the same kg."""
    away_s = _away_s(visit, finding.start_s, finding.end_s or finding.start_s)
    if away_s <= SAME_VISIT_S:
        return away_s
    return _within(away_s, SAME_DAY_S) if _same_kg(finding, visit) else None


def _same_kg(finding: Finding, visit: Inspection) -> bool:
    said, felt = stated(visit).kg, felt_kg(finding)
    return bool(said) and felt is not None and agrees(said or 0.0, felt, error_kg(finding))


def _lost(finding: Finding, visit: Inspection) -> int | None:
    """Judge a loss as of a swarm: the visit must have taken something out.

    Where the kg were noted, they must be those that the scale lost.
    """
    if not any(one.what in TAKES or one.what == "moved" for one in visit.actions):
        return None
    if stated(visit).kg is not None and not _same_kg(finding, visit):
        return None
    return _opened(finding, visit)


def _off_scale(finding: Finding, visit: Inspection) -> int | None:
    """Judge a hive off its scale: the keeper took it away, or set it up again."""
    moved = any(one.what in MOVES for one in visit.actions)
    if moved and _away_s(visit, finding.start_s, finding.start_s) <= SAME_VISIT_S:
        return _away_s(visit, finding.start_s, finding.start_s)
    return _put_right(finding, visit)


def _put_right(finding: Finding, visit: Inspection) -> int | None:
    """Judge what was over about the time of a visit."""
    if finding.end_s is None or visit.at_s < finding.start_s:
        return None
    return _within(_away_s(visit, finding.end_s, finding.end_s), SAME_VISIT_S)


def _gap(finding: Finding, visit: Inspection) -> int | None:
    """Judge a device that was off for a visit, or was brought back by one."""
    if finding.end_s is None:
        return None  # a cable that a visit tore is news
    away_s = _away_s(visit, finding.start_s, finding.start_s)
    if away_s <= SAME_VISIT_S and finding.end_s - finding.start_s <= GAP_MOST_S:
        return away_s
    return _put_right(finding, visit)


def _chilled(finding: Finding, visit: Inspection) -> int | None:
    """Judge a nest that cooled: an open hive does, for hours it does not."""
    if finding.end_s is None or finding.end_s - finding.start_s > CHILL_MOST_S:
        return None
    return _within(_away_s(visit, finding.start_s, finding.end_s), SAME_VISIT_S)


RULES: Mapping[str, Rule] = MappingProxyType(
    {
        "handling": _opened,
        "swarm": _lost,
        "toppled": _off_scale,
        "taken": _off_scale,
        "silent": _gap,
        "stuck": _put_right,
        "clock": _put_right,
        "low_battery": _put_right,
        "chilled_brood": _chilled,
        "overheating": _chilled,
    }
)
"""What a visit can account for, by kind of finding; of all other kinds it can cause none."""
