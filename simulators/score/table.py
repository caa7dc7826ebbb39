"""The board as a table: for a terminal, and as Markdown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from simulators.plans import Floats
from simulators.score.baselines import Scale
from simulators.score.figures import KindFigures, MeasureFigures, median, ninth
from simulators.score.kinds import DAY_S, HOUR_S, MINUTE_S
from simulators.score.outlook import BARS
from simulators.score.outlook import Figures as OutlookFigures
from simulators.score.sampling import wilson

HEAD = (
    "finding", "found", "recall, 95 %", "asked", "false", "a season, 95 %", "asked",
    "start off by", "told after", "measures off by", "within the bar",
)  # fmt: skip
SCALE_HEAD = ("finding", "events", "says nothing: recall, false", "always says: recall", "false")
OUTLOOK_HEAD = (
    "outlook", "median error", "asked", "80 % interval held", "as at the last inspection",
    "brood emerges, nobody dies",
)  # fmt: skip
NONE = "-"

Cells = tuple[str, ...]


def span(time_s: float | None) -> str:
    """Write a time with a unit a person would choose."""
    if time_s is None:
        return NONE
    size, sign = abs(time_s), "-" if time_s < 0 else ""
    if size < 2 * HOUR_S:
        return f"{sign}{size / MINUTE_S:.0f} min"
    if size < 2 * DAY_S:
        return f"{sign}{size / HOUR_S:.1f} h"
    return f"{sign}{size / DAY_S:.1f} d"


def rows(board: Sequence[KindFigures]) -> list[Cells]:
    """Give the cells of each kind that happened, was said, or has a bar."""
    return [_cells(row) for row in board if row.events or row.false or row.kind.bar]


def scale_rows(nothing: Mapping[str, Scale], always: Mapping[str, Scale]) -> list[Cells]:
    """Give the cells of the two watchers that do not look."""
    found: list[Cells] = []
    for name, silent in nothing.items():
        loud = always[name]
        if silent.events:
            recall = f"{loud.found / loud.events:.0%}".replace("%", " %")
            rate = f"{loud.false / loud.seasons:,.0f} a season"
            found.append((name, str(silent.events), "0 %, 0", recall, rate))
    return found


def _cells(row: KindFigures) -> Cells:
    bar = row.kind.bar
    recall = rate = NONE
    if row.events:
        low, high = row.recall_interval
        recall = f"{100 * row.found / row.events:.0f} % ({100 * low:.0f} to {100 * high:.0f})"
    if row.seasons:
        low, high = row.false_interval
        rate = f"{row.false_rate:.2f} ({low:.2f} to {high:.2f})"
    return (
        row.kind.name,
        f"{row.found} of {row.events}",
        recall,
        f"{100 * bar.recall:.0f} %" if bar else "",
        str(row.false) + (f" ({row.withdrawn} taken back)" if row.withdrawn else ""),
        rate,
        f"1 in {bar.false_in:.0f}" if bar else "",
        _typical(np.abs(row.start_errors_s)),
        _typical(row.told_after_s),
        "; ".join(_measure(one) for one in row.measures if one.errors.size) or NONE,
        _bars(row),
    )


def _typical(times_s: Floats) -> str:
    if not times_s.size:
        return NONE
    return f"{span(median(times_s))} (9 in 10: {span(ninth(times_s))})"


def _measure(one: MeasureFigures) -> str:
    middle, most = median(one.errors) or 0.0, ninth(one.errors) or 0.0
    name = one.measure.said.replace("_", " ")
    if one.measure.how == "relative":
        return f"{name} {100 * middle:.0f} % (9 in 10: {100 * most:.0f} %)"
    return f"{name} {middle:.2f} {one.measure.unit} (9 in 10: {most:.2f})"


def _bars(row: KindFigures) -> str:
    """Say how many of those found keep to the bars beside recall and false alarms."""
    shares = [("start", row.start_near), ("told", row.told_near)]
    shares += [(one.measure.unit, one.near) for one in row.measures]
    words = [f"{what} {of.k} of {of.n}" for what, of in shares if of is not None and of.n]
    return ", ".join(words) or NONE


def text(head: Cells, cells: Sequence[Cells]) -> str:
    """Lay a table out in columns."""
    widths = [max(len(row[i]) for row in [head, *cells]) for i in range(len(head))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in [head, *cells]
    ]
    return "\n".join([lines[0], "  ".join("-" * width for width in widths), *lines[1:]])


def markdown(head: Cells, cells: Sequence[Cells]) -> str:
    """Write a table in Markdown."""
    lines = [f"| {' | '.join(row)} |" for row in [head, *cells]]
    return "\n".join([lines[0], "|" + "---|" * len(head), *lines[1:]])


def outlook_rows(found: Sequence[OutlookFigures]) -> list[Cells]:
    """Give the cells of each horizon."""
    cells: list[Cells] = []
    for row in found:
        name = "laying, three weeks back" if row.what == "laying" else f"adults in {row.what} days"
        error = held = "not available"
        if row.said_n:
            error = f"{100 * row.said:.0f} % of {row.said_n}"
            low, high = wilson(row.held, row.said_n)
            share = row.held / row.said_n
            held = f"{100 * share:.0f} % ({100 * low:.0f} to {100 * high:.0f})"
        bar = f"{100 * BARS[row.what]:.0f} %"
        rules = f"{100 * row.as_seen:.0f} % of {row.n}", f"{100 * row.emerging:.0f} %"
        if row.what == "laying":
            held, rules = NONE, (rules[0], NONE)
        cells.append((name, error, bar, held, *rules))
    return cells
