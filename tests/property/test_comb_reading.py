"""What holds for every comb count."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hivewatch.comb import CombCount, CombReading, Range, read_comb
from hivewatch.comb.stages import WORKER

CELLS = (
    st.one_of(st.none(), st.just(0.0), st.floats(1, 6000)),
    st.one_of(st.none(), st.just(0.0), st.floats(1, 12000)),
    st.one_of(st.none(), st.just(0.0), st.floats(1, 24000)),
)
COUNTS = st.tuples(*CELLS).filter(lambda cells: any(n is not None for n in cells))
FULL = st.tuples(st.floats(1, 6000), st.floats(1, 12000), st.floats(1, 24000))
MANY = st.tuples(st.floats(100, 6000), st.floats(200, 12000), st.floats(400, 24000))
SURVIVAL = st.one_of(st.none(), st.floats(0.3, 1.0))


def spans(reading: CombReading) -> list[Range]:
    assert reading.question is None
    return [span for span in reading.laying if span is not None]


@given(COUNTS, SURVIVAL)
@settings(max_examples=200, deadline=None)
def test_nothing_is_negative_and_ranges_are_in_order(
    cells: tuple[float | None, ...], survival: float | None
) -> None:
    reading = read_comb(CombCount(*cells, survival=survival))
    assert len(spans(reading)) == 3
    for span in spans(reading):
        assert 0 <= span.low <= span.median <= span.high
        assert np.isfinite(span.high)
    assert reading.curve.min() >= 0
    assert reading.emerging.min() >= 0
    for days in (reading.stopped_between, reading.started_between):
        assert days is None or days[1] is None or 0 <= days[0] < days[1] <= 21


@given(COUNTS, st.floats(0.3, 1.0))
@settings(max_examples=100, deadline=None)
def test_the_curve_meets_the_counts_and_emergence_sums_to_them(
    cells: tuple[float | None, ...], survival: float
) -> None:
    reading = read_comb(CombCount(*cells, survival=survival))
    alive = WORKER.survival(WORKER.share_of_loss(survival))
    living = reading.curve * alive
    for count, (young, old) in zip(cells, WORKER.windows, strict=True):
        if count is not None:
            assert living[young:old].sum() == pytest.approx(count, rel=1e-8, abs=1e-8)
    onwards = living * survival / alive
    assert reading.emerging.sum() == pytest.approx(onwards.sum(), rel=1e-9)
    assert reading.emerging.sum() <= living.sum() * (1 + 1e-9)


@given(FULL)
@settings(max_examples=50, deadline=None)
def test_without_losses_all_that_was_counted_emerges(cells: tuple[float, float, float]) -> None:
    reading = read_comb(CombCount(*cells, survival=1.0))
    assert reading.emerging.sum() == pytest.approx(sum(cells), rel=1e-8)


@given(COUNTS, st.floats(1, 2000))
@settings(max_examples=100, deadline=None)
def test_more_eggs_never_lower_the_last_3_days(
    cells: tuple[float | None, ...], more: float
) -> None:
    few = cells[0] or 0.0
    before = spans(read_comb(CombCount(few, *cells[1:])))[0]
    after = spans(read_comb(CombCount(few + more, *cells[1:])))[0]
    # from none found to a few: the upper end for what was overlooked gives way to a count
    assert after.low >= before.low
    assert after.median >= before.median
    assert after.high >= before.high or few == 0


@given(FULL, st.floats(1.1, 2.0))
@settings(max_examples=100, deadline=None)
def test_twice_the_cells_are_twice_the_laying(
    cells: tuple[float, float, float], factor: float
) -> None:
    small = [n / 2 for n in cells]
    one = read_comb(CombCount(*small, survival=0.9))
    two = read_comb(CombCount(*(n * factor for n in small), survival=0.9))
    assert two.curve == pytest.approx(one.curve * factor, rel=1e-6, abs=1e-6)
    for a, b in zip(spans(one), spans(two), strict=True):
        assert b.median == pytest.approx(a.median * factor, rel=1e-9)
        assert b.high / b.low <= a.high / a.low * (1 + 1e-9)  # the Poisson part shrinks


@given(MANY, st.tuples(st.booleans(), st.booleans(), st.booleans()).filter(any))
@settings(max_examples=100, deadline=None)
def test_a_subset_never_knows_more(
    cells: tuple[float, float, float], seen: tuple[bool, bool, bool]
) -> None:
    """Widths on the log scale, on average over the three classes.

    From 100 cells up: below, a handful of cells says less of its own days than a full class beside.
    """
    full = spans(read_comb(CombCount(*cells)))
    part = spans(
        read_comb(CombCount(*(n if s else None for n, s in zip(cells, seen, strict=True))))
    )

    def width(spans_: list[Range]) -> float:
        return float(np.mean([np.log(span.high / span.low) for span in spans_]))

    assert width(part) >= width(full) - 1e-9


@given(FULL)
@settings(max_examples=50, deadline=None)
def test_a_worse_count_widens_every_range(cells: tuple[float, float, float]) -> None:
    good = spans(read_comb(CombCount(*cells, counting_error=0.10)))
    bad = spans(read_comb(CombCount(*cells, counting_error=0.25)))
    for a, b in zip(good, bad, strict=True):
        assert b.low < a.low <= a.high < b.high


@given(COUNTS, SURVIVAL)
@settings(max_examples=100, deadline=None)
def test_a_range_that_holds_more_often_has_the_others_in_it(
    cells: tuple[float | None, ...], survival: float | None
) -> None:
    count = CombCount(*cells, survival=survival)
    half, most, nearly_all = (spans(read_comb(count, within=part)) for part in (0.5, 0.8, 0.95))
    for inner, outer in ((half, most), (most, nearly_all)):
        for a, b in zip(inner, outer, strict=True):
            assert b.low <= a.low <= a.high <= b.high
            assert a.median == b.median
            if a.low > 0:  # a class that was counted: truly wider
                assert b.low < a.low < a.high < b.high
