"""One hive's readings by steps of time, whichever devices reported them."""

from __future__ import annotations

from itertools import pairwise

from sqlalchemy import Connection, select

from hivewatch.apiary import Apiary, Placement
from hivewatch.store.readings import Step, read_steps
from hivewatch.store.schema import device, placement
from hivewatch.store.stays import Span, spans_of
from hivewatch.store.windows import speaking_spans
from hivewatch.wire.quantities import TOTAL_OF, Quantity


def read(
    connection: Connection,
    hive_id: str,
    quantity: Quantity,
    from_s: int,
    to_s: int,
    step_s: int,
) -> list[Step]:
    """Sum up one quantity of a hive by steps of time, totals turned into counts.

    Parameters
    ----------
    from_s, to_s : int
        Unix time, UTC: from included, to excluded. [s]
    step_s : int
        Length of a step, counted from the Unix epoch. [s]

    Returns
    -------
    list[Step]
        By time; a step without a reading is absent.
    """
    stood, numbers = _those_who_stood_at(connection, hive_id)
    spans = spans_of(connection, stood, hive_id, to_s, numbers)
    steps = _joined(_read(connection, spans, quantity, from_s, to_s, step_s))
    if quantity.name in TOTAL_OF:
        total = TOTAL_OF[quantity.name]
        risen = _risen(_read(connection, spans, total, from_s - step_s, to_s, step_s))
        steps = {step.time_s: step for step in risen if step.time_s + step_s > from_s} | steps
    return [steps[time_s] for time_s in sorted(steps)]


def _those_who_stood_at(connection: Connection, hive_id: str) -> tuple[Apiary, dict[str, int]]:
    """Read the placements of the devices that ever stood at a hive, and their numbers."""
    stood = select(placement.c.device).where(placement.c.hive == hive_id)
    rows = connection.execute(
        select(device.c.id, placement.c.hive, placement.c.since_s, device.c.number)
        .join_from(placement, device)
        .where(placement.c.device.in_(stood))
        .order_by(device.c.id, placement.c.since_s)
    ).all()
    numbers = {row.id: row.number for row in rows}
    return Apiary(placements=tuple(Placement(*row[:3]) for row in rows)), numbers


def _read(
    connection: Connection,
    spans: list[Span],
    quantity: Quantity,
    from_s: int,
    to_s: int,
    step_s: int,
) -> list[Step]:
    """Read the steps of each device while it speaks for the hive."""
    wanted = [
        (device, max(low_ms, from_s * 1000), min(high_ms, to_s * 1000))
        for device, low_ms, high_ms in speaking_spans(connection, spans, quantity)
    ]
    return read_steps(connection, [one for one in wanted if one[1] < one[2]], quantity, step_s)


def _joined(steps: list[Step]) -> dict[int, Step]:
    """Put together what two devices reported within one step, when one took over."""
    joined: dict[int, Step] = {}
    for step in steps:
        other = joined.get(step.time_s)
        if other is not None:
            readings = other.readings + step.readings
            total = other.total + step.total
            step = Step(  # noqa: PLW2901 - the same step, now of both
                step.time_s,
                total / readings,
                min(other.low, step.low),
                max(other.high, step.high),
                total,
                readings,
            )
        joined[step.time_s] = step
    return joined


def _risen(totals: list[Step]) -> list[Step]:
    """Turn a running total into what came in each step; a fall is a counter started anew."""
    risen = []
    for before, step in pairwise(totals):
        rise = step.high - before.high if step.high >= before.high else step.high
        mean = rise / step.readings
        risen.append(Step(step.time_s, mean, mean, mean, rise, step.readings))
    return risen
