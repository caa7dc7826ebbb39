"""Look at one hive: read its window, ask the detectors, settle it with what was told before.

The daemon, a replay and the pages all come through here, so all say the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from hivewatch.apiary import Apiary, Hive
from hivewatch.detect import run
from hivewatch.detect.finding import Finding, settle
from hivewatch.settings import Alerts
from hivewatch.store import findings, inspections, windows


@dataclass(frozen=True, slots=True)
class Look:
    """What a look at one hive gave.

    Parameters
    ----------
    hive : Hive
        Which hive.
    before, settled : sequence of Finding
        What had been told, and what is to be told now; both with their ids.
    again_s : int or None
        When time alone would change the findings. [s]
    """

    hive: Hive
    before: Sequence[Finding]
    settled: Sequence[Finding]
    again_s: int | None

    @property
    def changed(self) -> list[Finding]:
        """Give the findings that are new or not as they were told."""
        told = {one.id: one for one in self.before}
        return [one for one in self.settled if told.get(one.id) != one]


def look(
    connection: Connection,
    apiary: Apiary,
    hive: Hive,
    settings: Alerts,
    as_of_s: int,
    *,
    received_by_s: int | None = None,
) -> Look:
    """Say what the detectors find of one hive at a moment.

    Parameters
    ----------
    as_of_s : int
        The moment; nothing measured later counts. [s]
    received_by_s : int or None
        For a replay: nothing received or written down later counts either. None: all there is. [s]
    """
    window = windows.read_window(connection, apiary, hive.id, as_of_s, received_by_s)
    seen = [
        stored.inspection
        for stored in inspections.read(connection, hive=hive.id, recorded_by_s=received_by_s)
        if stored.at_s <= as_of_s
    ]
    found = run.detect(window, seen, settings, as_of_s)
    before = findings.read(connection, hive=hive.id)
    return Look(hive, before, settle(before, found), run.look_again_s(window, settings))


def replay(
    connection: Connection, apiary: Apiary, hives: Sequence[Hive], settings: Alerts, as_of_s: int
) -> list[Finding]:
    """Say what stood at a moment, from what had been received by then.

    Returns
    -------
    list[Finding]
        By start; nothing withdrawn. Findings that were told carry the id they were told by.
    """
    standing = []
    for hive in hives:
        seen = look(connection, apiary, hive, settings, as_of_s, received_by_s=as_of_s)
        standing += [one for one in seen.settled if one.status != "withdrawn"]
    return sorted(standing, key=lambda one: (one.start_s, one.kind, one.subject))
