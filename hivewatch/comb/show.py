"""One comb reading as JSON and for a terminal."""

from __future__ import annotations

import math
import textwrap

from hivewatch.comb.count import DRONES, NAMES
from hivewatch.comb.reading import CombReading, Days
from hivewatch.comb.words import describe, look_again_days

WIDTH = 80
_CHART_ROWS = 8
_KEYS = ("last_3_days", "days_4_to_9", "days_10_to_21")


def to_dict(reading: CombReading) -> dict[str, object]:
    """Give the JSON form of the contract; all numbers null when the count was asked about."""
    laying = {
        key: {
            name: None if span is None else round(getattr(span, name), 1)
            for name in ("low", "median", "high")
        }
        for key, span in zip(_KEYS, reading.laying, strict=True)
    }
    return {
        "laying": laying,
        "trend": reading.trend,
        "stopped_between": _pair(reading.stopped_between),
        "started_between": _pair(reading.started_between),
        "emerging": [round(float(bees), 1) for bees in reading.emerging],
        "queen": reading.queen,
        "question": reading.question,
        "counted": _counted(reading),
        "look_again_in_days": look_again_days(reading),
        "reading": describe(reading),
    }


def _counted(reading: CombReading) -> dict[str, object]:
    """Give the cells that were read, and by which frame they follow from sides."""
    count, frame = reading.count, reading.count.frame
    cells = {name: getattr(count, name) for name in (*NAMES, *DRONES)}
    told: dict[str, object] = {
        name: None if number is None else round(number) for name, number in cells.items()
    }
    if frame is not None:
        told["frame"] = frame.name
        told["side_cells"] = frame.side_cells
        told["source"] = frame.words
    return told


def _pair(days: Days | None) -> list[int | None] | None:
    return None if days is None else list(days)


def draw_bars(reading: CombReading) -> str:
    """Draw eggs a day over the last three weeks, oldest left, one column a day, plain text."""
    curve = [float(eggs) for eggs in reading.curve[::-1]]
    top = max(curve, default=0.0)
    if top < 1:
        return ""
    unit = 10.0 ** math.floor(math.log10(top)) / 2
    top = math.ceil(top / unit) * unit
    lines = ["eggs a day"]
    for row in range(_CHART_ROWS, 0, -1):
        floor = (row - 0.5) / _CHART_ROWS * top
        label = f"{top * row / _CHART_ROWS:,.0f}" if row % 4 == 0 else ""
        bars = "".join(" ##" if eggs >= floor else "   " for eggs in curve)
        lines.append(f"{label:>6} |{bars}".rstrip())
    days = len(curve)
    lines.append(f"{'0':>6} +{'---' * days}")
    marks = "".join(
        f"{days - i:>3}" if (days - i) % 3 == 0 or i == days - 1 else "   " for i in range(days)
    )
    lines.append(f"{'':>8}{marks} days ago".rstrip())
    return "\n".join(lines)


def to_text(reading: CombReading) -> str:
    """Write the reading for a terminal: what was counted, the chart, the sentences."""
    counted = ", ".join(
        f"{name} {'not counted' if cells is None else format(cells, ',.0f')}"
        for name, cells in zip(NAMES, reading.count.cells, strict=True)
    )
    drones = [
        f"{name.replace('_', ' ')} {cells:,.0f}"
        for name in DRONES
        if (cells := getattr(reading.count, name)) is not None
    ]
    head = [f"Counted: {', '.join([counted, *drones])}."]
    frame = reading.count.frame
    if frame is not None:
        cells = f"{frame.side_cells:,} worker cells to a side of {frame.name}: {frame.words}."
        head += textwrap.wrap(f"From sides, {cells}", WIDTH)
    chart = draw_bars(reading)
    said = [textwrap.fill(sentence, WIDTH) for sentence in describe(reading)]
    return "\n".join([*head, *(["", chart, ""] if chart else [""]), *said])
