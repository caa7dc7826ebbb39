"""Inspections as the outlook takes them, and a hive with its room."""

from __future__ import annotations

import hashlib
from datetime import tzinfo

from hivewatch.comb.count import CombCount
from hivewatch.comb.outlook import Hive
from hivewatch.comb.start import CHANGES, Visit
from hivewatch.frames import Frame
from hivewatch.inspections import Inspection, adult_count, brood_counts


def visit_of(inspection: Inspection, frame: Frame, zone: tzinfo) -> Visit:
    """Turn an inspection into counts on the local day of its yard."""
    cells = brood_counts(inspection, frame)
    count = None if all(n is None for n in cells) else CombCount(*cells)
    at = inspection.at.astimezone(zone)
    done = tuple(one.what for one in inspection.actions if one.what in CHANGES)
    return Visit(at.date(), count, adult_count(inspection, frame), at.hour + at.minute / 60, done)


def hive_of(hive: str, latitude: float, frame: Frame, combs: int, box_combs: int = 0) -> Hive:
    """Describe a hive of so many combs, of which each makes one seam of two sides of bees.

    Its seed comes from its id, so that every process draws the same members.
    """
    seed = int.from_bytes(hashlib.sha256(hive.encode()).digest()[:6])
    return Hive(
        hive, latitude, float(combs), 2.0 * frame.side_bees, seed, frame, box_combs or combs
    )
