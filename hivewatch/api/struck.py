"""The calendar after corrections: what they moved is told anew, what they took away as cancelled.

A phone takes an appointment anew when its SEQUENCE has risen (RFC 5545 section 3.8.7.4), and one
that merely vanishes may stay on a phone that keeps copies.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

from sqlalchemy import Connection

from hivewatch.apiary import Yard
from hivewatch.rounds import Known
from hivewatch.store import inspections
from hivewatch.store.inspections import Version
from hivewatch.timeline.agenda import Appointment, agenda
from hivewatch.timeline.wants import Facts

Changed = Mapping[str, Mapping[str, Sequence[Version]]]


def changed(connection: Connection, from_s: int) -> Changed:
    """Read the inspections that were changed since a moment: by hive, by id, all versions."""
    found: defaultdict[str, dict[str, Sequence[Version]]] = defaultdict(dict)
    for number in inspections.changed_since(connection, from_s):
        versions = inspections.versions(connection, number)
        for hive in {one.inspection.hive for one in versions}:
            found[hive][number] = versions
    return found


def with_changes(
    yards: Sequence[Yard],
    facts: Mapping[str, Sequence[Facts]],
    corrected: Changed,
    as_of_s: int,
) -> list[Appointment]:
    """Say what stands in the calendar, and what stood there before a correction."""
    found: list[Appointment] = []
    for yard in yards:
        for its in facts.get(yard.id, ()):
            now = agenda([yard], {yard.id: [its]}, as_of_s)
            its_changes = corrected.get(its.hive.id)
            found += now if its_changes is None else _told(yard, its, its_changes, now, as_of_s)
    return sorted(found, key=lambda one: (one.first, one.name))


def _told(
    yard: Yard,
    facts: Facts,
    changes: Mapping[str, Sequence[Version]],
    now: Sequence[Appointment],
    as_of_s: int,
) -> list[Appointment]:
    """Add to the appointments of one hive those that stood before each of its corrections.

    All of them are numbered anew: what stands again as it once stood has changed, too.
    """
    told = {one.name: one for one in now}
    stamp_s = max(versions[-1].recorded_s for versions in changes.values())
    stamp_s += 60 * sum(len(versions) - 1 for versions in changes.values())
    for number, versions in changes.items():
        others = [one for one in facts.inspections if one.id != number]
        for version in versions[:-1]:
            seen = version.inspection
            if version.withdrawn or seen.hive != facts.hive.id:
                continue
            then = replace(facts, inspections=[*others, Known(number, seen)])
            for old in agenda([yard], {yard.id: [then]}, as_of_s):
                told.setdefault(old.name, replace(old, is_cancelled=True))
    return [replace(one, stamp_s=max(one.stamp_s, stamp_s)) for one in told.values()]
