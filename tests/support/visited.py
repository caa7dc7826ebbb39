"""Findings and inspections of one hive, made up for the tests of the timeline."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import NamedTuple

from hivewatch.detect.finding import Finding
from hivewatch.inspections import Action, Inspection

AT_S = 1_778_591_400  # 2026-05-12T13:10:00Z, a Tuesday
HOUR_S, DAY_S = 3600, 86_400


class Visit(NamedTuple):
    id: str
    inspection: Inspection


def visit(at_s=AT_S, *done, name="v1", hive="hazel-1", **seen):
    """`done` are actions, alone or with their kg."""
    actions = tuple(
        Action(what=one) if isinstance(one, str) else Action(what=one[0], kg=one[1]) for one in done
    )
    at = datetime.fromtimestamp(at_s, UTC)
    return Visit(name, Inspection(hive=hive, at=at, actions=actions, **seen))


def found(kind="handling", start_s=AT_S, end_s=None, *, kg=None, lasts_s=900, **more):
    """A finding that is over; `lasts_s=None` for one that lasts."""
    if end_s is None and lasts_s is not None:
        end_s = start_s + lasts_s
    measures = {} if kg is None else {"kg_lost" if kind == "swarm" else "kg": kg}
    values = {
        "subject": "hive:hazel-1",
        "detected_s": start_s + 900,
        "confidence": 0.95,
        "measures": measures,
        "status": "open" if end_s is None else "ended",
        "id": f"{kind}-{start_s}",
    }
    return Finding(kind=kind, start_s=start_s, end_s=end_s, **values | more)
