"""Readings and findings in the line protocol of InfluxDB.

A reading: measurement = the quantity; tags device, hive, yard; field value.

A finding: measurement `finding`, at its start; tags kind, status, subject; fields confidence,
start, end and changed (Unix s), and its measures. As the status is a tag, a finding leaves one
point for each status it has had; the one changed last holds.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from math import isfinite

from hivewatch.detect.finding import Finding
from hivewatch.store.mirrored import Place
from hivewatch.wire.quantities import BY_NUMBER

# Line protocol reference, "Special characters": escaped in tags and keys.
_ESCAPED = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ "})


def reading_lines(
    device: str, stood: Sequence[Place], readings: Iterable[tuple[int, int, float]]
) -> list[str]:
    """Write readings of one device, each under the hive where the device stood then."""
    since_ms = [place.since_s * 1000 for place in stood]
    heads: dict[tuple[int, int], str] = {}
    lines = []
    for time_ms, quantity, value in readings:
        key = (quantity, bisect_right(since_ms, time_ms))
        head = heads.get(key)
        if head is None:
            head = heads[key] = _head(device, quantity, stood[key[1] - 1] if key[1] else None)
        lines.append(f"{head}{value!r} {time_ms}000000")
    return lines


def _head(device: str, quantity: int, place: Place | None) -> str:
    """Write what stands before the value."""
    head = f"{BY_NUMBER[quantity].name},device={device}"
    if place is not None and place.hive is not None:
        head += f",hive={place.hive},yard={place.yard}"
    return f"{head} value="


def finding_line(one: Finding, changed_s: int) -> str:
    """Write a finding as it stands; measures that are no number stay out."""
    fields = {
        name: float(value)
        for name, value in one.measures.items()
        if isinstance(value, int | float) and isfinite(value)
    }
    fields |= {
        "confidence": float(one.confidence),
        "start": float(one.start_s),
        "changed": float(changed_s),
    }
    if one.end_s is not None:
        fields["end"] = float(one.end_s)
    tags = {"kind": one.kind, "status": one.status, "subject": one.subject}
    tags_text = ",".join(f"{name}={value.translate(_ESCAPED)}" for name, value in tags.items())
    pairs = [f"{name.translate(_ESCAPED)}={value!r}" for name, value in fields.items()]
    return f"finding,{tags_text} {','.join(pairs)} {one.start_s}000000000"
