"""One comb count read: exact cases, verdicts, subsets, questions."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.comb import CombCount, CombReading, read_comb
from hivewatch.comb.stages import DRONE, WORKER
from hivewatch.errors import UsageError


def read(*cells: float | None, **more: float | None) -> CombReading:
    return read_comb(CombCount(*cells, **more))


def medians(reading: CombReading) -> list[float]:
    return [span.median for span in reading.laying if span is not None]


@pytest.mark.parametrize("laying", [1.0, 37.0, 450.0, 1500.0, 2000.0])
def test_steady_laying_without_losses_comes_back_exactly(laying: float) -> None:
    reading = read(3 * laying, 6 * laying, 12 * laying, survival=1.0)
    assert medians(reading) == pytest.approx([laying] * 3, rel=1e-12)
    assert reading.curve == pytest.approx(np.full(21, laying), rel=1e-9)
    assert reading.emerging == pytest.approx(np.full(21, laying), rel=1e-9)
    assert reading.trend == "steady"
    assert reading.stopped_between is None
    assert reading.started_between is None


def test_steady_laying_of_drone_brood_comes_back_exactly() -> None:
    reading = read_comb(CombCount(300, 700, 1400, survival=1.0), DRONE)
    assert medians(reading) == pytest.approx([100.0] * 3)
    assert reading.emerging == pytest.approx(np.full(24, 100.0))


def test_losses_on_the_way_are_given_back() -> None:
    share = WORKER.share_of_loss(0.8)
    alive = 1000 * WORKER.survival(share)
    reading = read(alive[:3].sum(), alive[3:9].sum(), alive[9:].sum(), survival=0.8)
    assert medians(reading) == pytest.approx([1000.0] * 3)
    assert reading.emerging == pytest.approx(np.full(21, 800.0))


@pytest.mark.parametrize(
    ("cells", "trend", "stopped", "started"),
    [
        ((3900, 7600, 15100), "steady", None, None),
        ((4500, 6000, 6000), "rising", None, None),
        ((1200, 6000, 18000), "falling", None, None),
        ((0, 6000, 15000), "stopped", (3, 9), None),
        ((0, 0, 15000), "stopped", (9, 21), None),
        ((0, 0, 0), "stopped", (21, None), None),
        ((3000, 0, 0), "just started", None, (0, 3)),
        ((3000, 4000, 0), "just started", None, (3, 9)),
        ((0, 4000, 0), "stopped", (3, 9), (3, 9)),
        ((4000, 0, 15000), "broken", (9, 21), (0, 3)),
        ((4500, 2000, 18000), "broken", (3, 21), (0, 9)),
        ((300, 3000, 2100), "falling", None, None),
        ((None, 6000, 15000), "steady", None, None),
        ((None, 0, 15000), "stopped", (9, 21), None),
        ((None, 6000, 0), "just started", None, (3, 9)),
        ((0, None, 15000), "stopped", (3, 21), None),
        ((3000, None, 0), "just started", None, (0, 9)),
        ((0, None, None), "stopped", (3, None), None),
        ((None, 0, None), "unknown", None, None),
        ((3000, None, None), "unknown", None, None),
        ((None, None, 15000), "unknown", None, None),
    ],
)
def test_the_verdict_and_its_days(
    cells: tuple[float | None, ...],
    trend: str,
    stopped: tuple[int, int | None] | None,
    started: tuple[int, int | None] | None,
) -> None:
    reading = read(*cells)
    assert (reading.trend, reading.stopped_between, reading.started_between) == (
        trend,
        stopped,
        started,
    )


def test_a_count_that_is_a_little_uneven_is_still_steady() -> None:
    assert read(4500, 7800, 15000).trend == "steady"
    assert read(3600, 8400, 16500).trend == "steady"


def test_the_same_rise_is_called_when_the_count_is_better() -> None:
    assert read(4200, 7200, 12000, counting_error=0.175).trend == "steady"
    assert read(4200, 7200, 12000, counting_error=0.05).trend == "rising"


def test_none_found_is_not_proof_of_none() -> None:
    eggs = read(0, 6000, 15000).laying[0]
    assert eggs is not None
    assert (eggs.low, eggs.median) == (0.0, 0.0)
    assert 10 < eggs.high < 20


@pytest.mark.parametrize(
    "cells", [(9000, None, None), (None, 20000, None), (4500, 9000, 36000), (1, 1, 90000)]
)
def test_more_than_a_queen_can_lay_is_asked_about(cells: tuple[float | None, ...]) -> None:
    reading = read(*cells)
    assert reading.question is not None
    assert reading.question.endswith("?")
    assert reading.laying == (None, None, None)
    assert reading.trend == "unknown"
    assert reading.emerging.size == 0


def test_a_very_good_queen_counted_a_little_high_is_not_asked_about() -> None:
    assert read(6900, 13800, 27600).question is None


def test_a_better_count_is_asked_about_sooner() -> None:
    assert read(7500, None, None, counting_error=0.05).question is not None
    assert read(7500, None, None, counting_error=0.2).question is None


@pytest.mark.parametrize(
    "wrong",
    [
        {"eggs": -1.0},
        {"capped": float("nan")},
        {"drone_capped": float("inf")},
        {"eggs": 1.0, "counting_error": 1.5},
        {"eggs": 1.0, "survival": 0.0},
        {},
    ],
)
def test_what_cannot_be_a_count_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(UsageError):
        CombCount(**wrong)


@pytest.mark.parametrize(
    ("drones", "workers", "said"),
    [(0, 15000, None), (2500, 15000, None), (9000, 12000, "failing"), (4000, 200, "drone-laying")],
)
def test_drones_where_workers_should_be(drones: float, workers: float, said: str | None) -> None:
    count = CombCount(eggs=3000, open=5000, capped=workers, drone_capped=drones)
    assert read_comb(count).queen == said


def test_a_gap_in_laying_is_a_gap_in_emergence() -> None:
    emerging = read(4000, 0, 15000, survival=1.0).emerging
    assert emerging[12:18] == pytest.approx(np.zeros(6))
    assert emerging[:12].sum() == pytest.approx(15000)
    assert emerging[18:].sum() == pytest.approx(4000)
