"""All detectors over one hive: what there is to say of it at one moment."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import reduce

from hivewatch.apiary import Yard
from hivewatch.detect import (
    carrying,
    dead_out,
    deserted,
    device,
    drift,
    flow,
    forager_loss,
    handling,
    nest,
    off_scale,
    opened,
    orientation,
    queen,
    robbing,
    silent_robbing,
    stores,
    stuck,
    swarm,
    swarm_risk,
    unreturned,
    unvisited,
)
from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import Carried, unless_same
from hivewatch.signals.days import Days
from hivewatch.signals.window import HiveWindow

DETECTORS = (
    swarm,
    swarm_risk,
    handling,
    opened,
    off_scale,
    device,
    stuck,
    drift,
    robbing,
    orientation,
    forager_loss,
    stores,
    nest,
    dead_out,
    queen,
)
YARD_DETECTORS = (deserted, flow, silent_robbing, unreturned, unvisited)
BESIDE_THE_YARD = ("kg_behind_yard", "yard_bees_out", "hives_still")
"""Measures of what is told of one hive by its neighbours."""

PRECEDENCE = ("taken", "toppled", "swarm", "handling")
"""Kinds that can claim the same move of one hive's weight, the first one first.

Where two of them overlap in time, only the one that stands earlier here is told: a hive that fell
or went is not also a step of minus thirty kilograms. One thing is told beside it: the handling in
which a fall ends, somebody setting the hive on its scale again. Parts that a keeper has lifted off
are no fall, but that `off_scale` decides by itself, for it is a matter of how long they are off and
not of who comes first. A swarm's place is before `handling`. A colony that left whole is a swarm in
the air, and an empty hive behind it: both are told.
"""

FALLS = ("taken", "toppled")

GIVES_WAY = {
    "robbing": ("taken", "toppled"),
    "forager_loss": ("robbing", "taken", "toppled", "swarm"),
    "orientation_flight": ("swarm",),
}
"""Kinds that are not told while one of these overlaps them, though they leave it its place.

A hive that lies on the ground loses no honey through its entrance; bees that rob, or that leave as
a swarm, are not lost foragers; and a swarm in the air is not the young bees' first flight.
"""

COMES_OF = {
    "brood_onset": FALLS,
    "brood_end": (*FALLS, "dead_out"),
    "chilled_brood": (*FALLS, "dead_out"),
    "queen_trouble": (*FALLS, "dead_out"),
    "dead_out": FALLS,
    "low_stores": (*FALLS, "dead_out"),
}
"""Kinds that are not told when they begin while one of these lasts, or within `COMES_OF_S` of it.

A hive that lies on the ground, or is gone, lets its nest cool; so does one without bees. That is
one thing to tell, not three. A hive that is set up again and stays without bees is dead as well,
and one that then lacks food lacks it (`OUTLASTS`). One that nobody set up, and that lived on for a
week beside its scale, may die there.
"""
OUTLASTS = ("dead_out", "low_stores")
# [s] own choice: the nest's days are dated by midnights, and it warms slowly
COMES_OF_S = 3 * 86_400
LIVED_ON_S = 7 * 86_400  # [s] own choice: what dies later than this did not die of the fall alone

ONE_S = robbing.OVER_DAYS * 86_400
"""Of one hive, what is told of a robbing within this after another one's end goes on with it. [s]

Its neighbours tell a robbing that begins small, its own weight tells one that takes a kilogram a
day; the first may grow into the second, and the other way round. It stays the one that was told
first, with its start, and lasts as long as either of them.
"""


def detect(
    window: HiveWindow, inspections: Sequence[Inspection], limits: Limits, as_of_s: int
) -> list[Finding]:
    """Say all there is to say of a hive and its devices at one moment.

    Parameters
    ----------
    window : HiveWindow
        The hive's whole history; what is later than `as_of_s` is not looked at.
    inspections : Sequence[Inspection]
        What people saw and did at the hive, recorded by `as_of_s`; one that says that nobody opened
        it is no visit, and tells the detectors nothing.
    limits : Limits
        The `[alerts]` settings.
    as_of_s : int
        The moment. [s]

    Returns
    -------
    list[Finding]
        By start, kind and subject, without ids: `finding.settle` gives them.
    """
    then = window if window.as_of_s == as_of_s else window.at(as_of_s)
    visits = [one for one in inspections if one.opened]
    for signal in carrying.FIRST:  # of the whole window, before a detector sees a part of it
        signal(then)
    found = [
        one for detector in DETECTORS for one in carrying.found_by(detector, then, visits, limits)
    ]
    return unless_same(then, "claims", found, lambda: sorted(settle_claims(found), key=_by_start))


def _by_start(one: Finding) -> tuple[int, str, str]:
    return one.start_s, one.kind, one.subject


def carry(window: HiveWindow) -> Carried:
    """Give what the next window may rest on, once `detect` was asked of this one."""
    return carrying.carry(window, DETECTORS)


def detect_yard(yard: Yard, days_of_hives: Mapping[str, Days]) -> list[Finding]:
    """Say all there is to say of a yard, from the days of its hives.

    Parameters
    ----------
    days_of_hives : Mapping
        Hive -> its days.

    Returns
    -------
    list[Finding]
        By start and kind, without ids.
    """
    found = [one for detector in YARD_DETECTORS for one in detector.find(yard, days_of_hives)]
    return sorted(found, key=lambda one: (one.start_s, one.kind))


def is_of_yard(one: Finding) -> bool:
    """Say whether a finding is told by a look at the yard, of which one hive may be the subject.

    A swarm, a robbing, an empty hive or a loss of foragers that only the neighbours show
    is settled with the yard's findings, not with those of the hive's own readings; its measures say
    which. A robbing always is, since both may tell it: `told_once`.
    """
    return is_left_to_yard(one) or rests_on_yard(one)


def is_left_to_yard(one: Finding) -> bool:
    """Say whether what a hive's own readings tell is settled with what its neighbours tell."""
    return one.kind == "robbing"


def rests_on_yard(one: Finding) -> bool:
    """Say whether a finding rests on what the hives of a yard say together."""
    return one.subject.startswith("yard:") or any(it in one.measures for it in BESIDE_THE_YARD)


def told_once(found: Iterable[Finding]) -> list[Finding]:
    """Make one robbing of what a hive's own weight and its neighbours tell of it.

    Parameters
    ----------
    found : Iterable[Finding]
        What the hives of a yard say together, and what each says alone and is left to the yard.

    Returns
    -------
    list[Finding]
        By start and kind: of robbings that touch (`ONE_S`) the one that was told first, which then
        lasts as long as the others and has their measures and evidence, too.
    """
    told: list[Finding] = []
    for one in sorted(found, key=lambda one: (one.detected_s, one.start_s, rests_on_yard(one))):
        same = [other for other in told if _is_same_robbing(other, one)]
        told = [other for other in told if other not in same]
        told.append(reduce(_lasting, (*same, one)))
    return sorted(told, key=lambda one: (one.start_s, one.kind))


def _is_same_robbing(first: Finding, later: Finding) -> bool:
    """Say whether two findings tell of one robbing."""
    return (
        (first.kind, later.kind) == ("robbing", "robbing")
        and first.subject == later.subject
        and (later.end_s is None or first.start_s <= later.end_s + ONE_S)
        and (first.end_s is None or later.start_s <= first.end_s + ONE_S)
    )


def _lasting(first: Finding, later: Finding) -> Finding:
    """Let what was told first go on with what was told later."""
    if first.status == "explained":
        return first
    ends_s = [one.end_s for one in (first, later) if one.end_s is not None]
    measures = {k: v for k, v in later.measures.items() if k not in BESIDE_THE_YARD}
    return replace(
        first,
        end_s=max(ends_s) if len(ends_s) > 1 else None,
        status="ended" if len(ends_s) > 1 else "open",
        confidence=max(first.confidence, later.confidence),
        measures={**measures, **first.measures},
        evidence=(*first.evidence, *later.evidence),
    )


def settle_claims(found: Sequence[Finding]) -> list[Finding]:
    """Of findings of one hive that claim the same evidence, keep the first by `PRECEDENCE`.

    Parameters
    ----------
    found : Sequence[Finding]
        What the detectors said, each by itself.

    Returns
    -------
    list[Finding]
        All of other kinds, and of those in `PRECEDENCE` the ones that no earlier kind claims.
    """
    kept = [one for one in found if one.kind not in PRECEDENCE]
    claims: list[Finding] = []
    for kind in PRECEDENCE:
        mine = [one for one in found if one.kind == kind]
        claims += [one for one in mine if not any(_claims(other, one) for other in claims)]
    told = kept + claims
    by_kind: dict[str, list[Finding]] = defaultdict(list)
    for one in told:
        by_kind[one.kind].append(one)
    return [
        one
        for one in told
        if not any(
            _overlap(one, other) for kind in GIVES_WAY.get(one.kind, ()) for other in by_kind[kind]
        )
        and not any(
            _comes_of(one, other) for kind in COMES_OF.get(one.kind, ()) for other in by_kind[kind]
        )
    ]


def _comes_of(one: Finding, other: Finding) -> bool:
    """Say whether one finding is only what another one, that lasts, brings with it."""
    # what a queen's trouble is told by came weeks after its start
    begun_s = one.detected_s if one.kind == "queen_trouble" else one.start_s
    if one.subject != other.subject or begun_s < other.start_s - COMES_OF_S:
        return False
    if other.end_s is None:
        lived_on = other.kind == "toppled" and begun_s > other.start_s + LIVED_ON_S
        return not (one.kind == "dead_out" and lived_on)
    stays = one.end_s is None or one.end_s > other.end_s + COMES_OF_S
    return begun_s <= other.end_s + COMES_OF_S and not (one.kind in OUTLASTS and stays)


def _claims(other: Finding, one: Finding) -> bool:
    """Say whether a finding that comes first leaves no room for another one."""
    ends_it = (
        other.kind in FALLS
        and other.end_s is not None
        and one.end_s is not None
        and other.start_s <= one.start_s
        and other.end_s <= one.end_s
    )
    return _overlap(one, other) and not ends_it


def _overlap(one: Finding, other: Finding) -> bool:
    """Say whether two findings of one subject share a moment."""
    if one.subject != other.subject:
        return False
    one_end = one.start_s if one.end_s is None and one.status != "open" else one.end_s
    other_end = other.start_s if other.end_s is None and other.status != "open" else other.end_s
    return (other_end is None or one.start_s <= other_end) and (
        one_end is None or other.start_s <= one_end
    )


def look_again_s(window: HiveWindow, limits: Limits) -> int | None:
    """Give the next moment at which time alone would change the findings; None if never [s]."""
    moments = (device.next_silence_s(window, limits), off_scale.next_look_s(window, limits))
    return min((moment for moment in moments if moment is not None), default=None)
