"""What a detector told before is not asked again: what is kept of it from look to look.

See `hivewatch.signals.carried` for the whole of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, cast

from hivewatch.detect import device, drift, off_scale, robbing, stuck
from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals import (
    brood,
    carried,
    cell_warmth,
    dawn,
    days,
    departures,
    dips,
    flown,
    startles,
    steps,
    warmth,
)
from hivewatch.signals.carried import AHEAD_S, LATE_S, Carried
from hivewatch.signals.levels import NOISE_BLOCK
from hivewatch.signals.window import HiveWindow

FIRST = (
    steps.steps_of,
    steps.moves_of,
    days.days_of,
    warmth.warmth_of,
    brood.turns_of,
    dips.dips_of,
    startles.startles_of,
    departures.departures_of,
    flown.flown_of,
    cell_warmth.by_warmth,
    drift.drifts_of,
    off_scale.falls_of,
    robbing.lowest_of,
)
CARRYING = (
    *(steps, days, dawn, warmth, dips, startles, departures, carried, flown, cell_warmth),
    *(drift, off_scale, robbing),
)
"""Signals that keep what they know, and detectors that have such signals of their own."""


class Detector(Protocol):
    """A module that looks for one kind of thing."""

    __name__: str

    def find(
        self, window: HiveWindow, inspections: Sequence[Inspection], limits: Limits, /
    ) -> list[Finding]:
        """Say what there is to say of it."""


@dataclass(frozen=True, slots=True)
class Told:
    """What a detector that goes by readings had told before a moment, all of it over."""

    until_s: int
    findings: Sequence[Finding]
    started_s: Mapping[str, Sequence[int]]


NOTHING_TOLD = Told(0, (), {})


def found_by(
    detector: Detector, window: HiveWindow, inspections: Sequence[Inspection], limits: Limits
) -> list[Finding]:
    """Ask one detector; one that goes by readings of those alone that are not carried."""
    if not hasattr(detector, "BACK_S"):
        return list(detector.find(window, inspections, limits))
    name = _name(detector)
    kept = window.carried.parts.get(name, NOTHING_TOLD)
    if not isinstance(kept, Told) or not kept.until_s:
        found = list(detector.find(window, inspections, limits))
    else:
        part = window.knowing(kept.until_s, kept.started_s)
        found = [
            *kept.findings,
            *(
                one
                for one in detector.find(part, inspections, limits)
                if one.detected_s >= kept.until_s or one.kind in _by_days(detector)
            ),
        ]
    window.memo[name] = found
    return found


def carry(window: HiveWindow, detectors: Iterable[Detector]) -> Carried:
    """Give what the next window may rest on, once the detectors were asked of this one.

    It moves on by a midnight when there is a new one; until then
    what was carried before stands.
    """
    before = window.carried
    start_s = days.days_of(window).start_s
    last = int(start_s.searchsorted(window.last_s - AHEAD_S - LATE_S, side="right")) - 1
    until_s = int(start_s[last]) if last > 0 else 0
    weight = window.of("weight")
    few = weight.skipped + int(weight.time_s.searchsorted(until_s)) < 2 * NOISE_BLOCK
    if until_s <= before.until_s or (len(weight) and few):
        return before
    parts: dict[str, object] = {}
    for module in CARRYING:
        parts |= module.carry(window, until_s)
    for detector in detectors:
        if hasattr(detector, "BACK_S"):
            parts[_name(detector)] = _told(detector, window, until_s)
    return Carried(until_s, parts)


def _told(detector: Detector, window: HiveWindow, until_s: int) -> Told:
    """Give what a detector told before a moment, or before what lasts was told."""
    by_days = _by_days(detector)
    all_found = cast("list[Finding]", window.memo[_name(detector)])
    found = sorted(
        (one for one in all_found if one.kind not in by_days), key=lambda one: one.detected_s
    )
    for one in reversed(found):
        if one.detected_s < until_s and (one.end_s is None or one.end_s > until_s):
            until_s = one.detected_s
    kept = sorted((one for one in found if one.detected_s < until_s), key=lambda one: one.start_s)
    started_s: dict[str, list[int]] = {}
    for one in kept:
        started_s.setdefault(one.kind, []).append(one.start_s)
    return Told(until_s, kept, started_s)


def asked_from_s(known: Carried) -> tuple[int, int]:
    """Give since when readings are still asked: those of the hive, those of its devices. [s]."""
    untils = {name: part.until_s for name, part in known.parts.items() if isinstance(part, Told)}
    of_devices = [untils[_name(one)] for one in (device, stuck) if _name(one) in untils]
    untils.pop(_name(device), None)
    return min([known.until_s, *untils.values()]), min([known.until_s, *of_devices])


def _name(detector: Detector) -> str:
    return detector.__name__


def _by_days(detector: Detector) -> Sequence[str]:
    return cast("Sequence[str]", getattr(detector, "BY_DAYS", ()))
