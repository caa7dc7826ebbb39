"""SenML packs (RFC 8428) of a device's records, several times and quantities in one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from simulators.plans import Ints
from simulators.sensors import DECIMALS, UNITS, Feed

MOST_RECORDS = 500  # in one pack; what waited for weeks comes in many


@dataclass(frozen=True)
class Pack:
    """One message."""

    device: str
    sent_s: int
    records: list[dict[str, Any]]


def packs(feeds: list[Feed], order: tuple[Ints, Ints, Ints], span_s: int) -> Iterator[Pack]:
    """Gather each device's records over a span and send them at its end, in order of sending."""
    number, place, sent = (part.tolist() for part in order)
    values = [feed.value.tolist() for feed in feeds]
    times = [feed.time_s.tolist() for feed in feeds]
    waiting: dict[str, list[tuple[int, str, float]]] = {}
    until = sent[0] // span_s * span_s + span_s if sent else 0
    for feed_number, j, sent_s in zip(number, place, sent, strict=True):
        while sent_s >= until:
            for device, records in waiting.items():
                yield from _cut(device, until, records)
            waiting = {}
            until += span_s
        feed = feeds[feed_number]
        entry = (times[feed_number][j], feed.quantity, values[feed_number][j])
        waiting.setdefault(feed.device, []).append(entry)
    for device, records in waiting.items():
        yield from _cut(device, until, records)


def _cut(device: str, sent_s: int, records: list[tuple[int, str, float]]) -> Iterator[Pack]:
    for first in range(0, len(records), MOST_RECORDS):
        yield Pack(device, sent_s, _resolve(device, records[first : first + MOST_RECORDS]))


def _resolve(device: str, records: list[tuple[int, str, float]]) -> list[dict[str, Any]]:
    first = records[0][0]
    out: list[dict[str, Any]] = []
    for time_s, quantity, value in records:
        digits = DECIMALS.get(quantity, 2)
        shown = round(value, digits) if digits else int(value)
        record: dict[str, Any] = {"n": quantity, "u": UNITS[quantity], "v": shown}
        if time_s != first:
            record["t"] = time_s - first
        out.append(record)
    out[0] = {"bn": f"{device}/", "bt": first} | out[0]
    return out
