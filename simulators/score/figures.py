"""The figures of a kind: recall, false alarms, start error, delay, error of the measures."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from simulators.plans import Floats
from simulators.score.kinds import DAY_S, Kind, Measure
from simulators.score.sampling import Interval, garwood, wilson
from simulators.score.tally import Tally


@dataclass(frozen=True)
class Within:
    """How many of so many were near enough."""

    k: int
    n: int


@dataclass(frozen=True)
class MeasureFigures:
    """Errors of one number."""

    measure: Measure
    errors: Floats  # absolute values; shares where relative
    bias: float
    near: Within | None


@dataclass(frozen=True)
class KindFigures:
    """All that the board shows of one kind."""

    kind: Kind
    events: int
    found: int
    false: int
    withdrawn: int
    excused: int
    unseen: int
    seasons: float
    start_errors_s: Floats  # signed
    told_after_s: Floats
    start_near: Within | None
    told_near: Within | None
    measures: tuple[MeasureFigures, ...]

    @property
    def recall(self) -> float | None:
        """Give the share of events found; None where nothing happened."""
        return self.found / self.events if self.events else None

    @property
    def recall_interval(self) -> Interval:
        """Give the recall's 95 % interval."""
        return wilson(self.found, self.events)

    @property
    def false_rate(self) -> float:
        """Give the false alarms a season."""
        return self.false / self.seasons if self.seasons else 0.0

    @property
    def false_interval(self) -> Interval:
        """Give the rate's 95 % interval."""
        low, high = garwood(self.false)
        return (low / self.seasons, high / self.seasons) if self.seasons else (0.0, float("inf"))


def figures(tally: Tally) -> KindFigures:
    """Sum one kind up."""
    pairs, kind, bar = tally.pairs, tally.kind, tally.kind.bar
    starts = np.array([pair.start_error_s for pair in pairs], np.float64)
    told = np.array([pair.told_after_s for pair in pairs], np.float64)
    start_near = told_near = None
    if bar is not None and bar.start_s is not None:
        start_near = Within(int((np.abs(starts) <= bar.start_s).sum()), len(pairs))
    limits = [pair.told_allowed_s for pair in pairs]
    if pairs and all(limit is not None for limit in limits):
        allowed = np.array(limits, np.float64)
        told_near = Within(int((told <= allowed).sum()), len(pairs))
    return KindFigures(
        kind=kind,
        events=len(pairs) + len(tally.missed),
        found=len(pairs),
        false=len(tally.false),
        withdrawn=tally.withdrawn,
        excused=tally.excused,
        unseen=tally.unseen,
        seasons=tally.seasons,
        start_errors_s=starts,
        told_after_s=told,
        start_near=start_near,
        told_near=told_near,
        measures=tuple(_measured(tally, measure) for measure in kind.measures),
    )


def _measured(tally: Tally, measure: Measure) -> MeasureFigures:
    both = [pair.measures[measure.said] for pair in tally.pairs if measure.said in pair.measures]
    said = np.array([one for one, _ in both], np.float64)
    true = np.array([one for _, one in both], np.float64)
    off = said - true
    if measure.how == "relative":
        off = off / np.maximum(np.abs(true), 1e-9)
    near = None
    if measure.near is not None:
        near = Within(int((np.abs(off) <= measure.near).sum()), off.size)
    bias = float(np.median(off)) if off.size else 0.0
    return MeasureFigures(measure, np.abs(off), bias, near)


def board(tallies: dict[str, Tally]) -> list[KindFigures]:
    """Sum all kinds up."""
    return [figures(one) for one in tallies.values()]


def median(values: Floats) -> float | None:
    """Give the middle; None of nothing."""
    return float(np.median(values)) if values.size else None


def ninth(values: Floats) -> float | None:
    """Give the value that nine in ten stay below; None of nothing."""
    return float(np.quantile(values, 0.9)) if values.size else None


def as_json(rows: Iterable[KindFigures]) -> dict[str, Any]:
    """Give the figures as plain counts and numbers."""
    return {row.kind.name: _row_json(row) for row in rows}


def _row_json(row: KindFigures) -> dict[str, Any]:
    told: dict[str, Any] = {
        "events": row.events,
        "found": row.found,
        "recall_95": [round(x, 4) for x in row.recall_interval],
        "false": row.false,
        "withdrawn": row.withdrawn,
        "excused": row.excused,
        "unseen": row.unseen,
        "seasons": round(row.seasons, 3),
    }
    if row.found:
        told["start_error_d"] = _spread(np.abs(row.start_errors_s) / DAY_S)
        told["told_after_d"] = _spread(row.told_after_s / DAY_S)
    if row.start_near:
        told["start_near"] = [row.start_near.k, row.start_near.n]
    if row.told_near:
        told["told_near"] = [row.told_near.k, row.told_near.n]
    for one in row.measures:
        if one.errors.size:
            entry: dict[str, Any] = {"error": _spread(one.errors), "bias": round(one.bias, 4)}
            if one.near:
                entry["near"] = [one.near.k, one.near.n]
            told.setdefault("measures", {})[one.measure.said] = entry
    return told


def _spread(values: Floats) -> dict[str, float]:
    middle, most = median(values), ninth(values)
    return {"median": round(middle or 0.0, 4), "nine_in_ten": round(most or 0.0, 4)}
