"""Decode what stands in quarantine once more, its times moved where a clock was wrong."""

from __future__ import annotations

from dataclasses import replace

from hivewatch.ingest.intake import Batch, Message, decode
from hivewatch.ingest.tables import decode_line
from hivewatch.store.quarantine import Held
from hivewatch.wire.senml import EARLIEST_S


def decode_again(held: Held, numbers: dict[str, int], shift_s: int = 0) -> Batch:
    """Decode a pack or line once more; with a shift, only what was refused, its times moved.

    Parameters
    ----------
    numbers : dict[str, int]
        The number of its device.
    shift_s : int
        What to add to the device's times. [s]
    """
    batch = _again(held, numbers)
    return _shifted(held, numbers, batch, shift_s) if shift_s else batch


def _again(held: Held, numbers: dict[str, int]) -> Batch:
    """Decode what is held once more, with its own moment as the present."""
    if (held.content_type or "").startswith("text/csv"):
        return decode_line(held, numbers)
    return decode([_message(held)], numbers)


def _shifted(held: Held, numbers: dict[str, int], before: Batch, shift_s: int) -> Batch:
    """Decode with the present of the device's wrong clock, and move its times.

    A time that the pack gave relative to the present comes out as it was; so does what is good
    without the shift, which is stored already. Nobody measured before 2010.
    """
    known = {row[:3] for row in before.rows}
    refused = {index for one in before.held for index, _, _ in one.faults}
    batch = _again(replace(held, received_s=held.received_s - shift_s), numbers)
    kept = [place for place, row in enumerate(batch.rows) if row[:3] not in known]
    if any(batch.rows[place][2] + shift_s * 1000 < EARLIEST_S * 1000 for place in kept):
        return before  # moved too far: refused as it was
    batch.sources = [batch.sources[place] for place in kept]
    batch.rows = [
        (device, quantity, time_ms + shift_s * 1000, value, held.received_s)
        for device, quantity, time_ms, value, _ in (batch.rows[place] for place in kept)
    ]
    batch.held = [
        replace(one, faults=tuple(fault for fault in one.faults if fault[0] in refused))
        for one in batch.held
    ]
    return batch


def _message(held: Held) -> Message:
    return Message(held.source, held.device or "", held.raw, held.content_type, held.received_s)
