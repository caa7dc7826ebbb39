"""Signals keep what they are given: nothing is made up, nothing is lost without a flag."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hivewatch.signals.faults import WRONG, Fault, clean, flags_of
from hivewatch.signals.window import Series, counts_of, merge, on_grid
from hivewatch.wire.quantities import QUANTITIES

UNHURRIED = settings(deadline=None)  # the machine may be busy
MEASURED = sorted(name for name, each in QUANTITIES.items() if each.kind != "total")


@st.composite
def a_series(draw, low=-10.0, high=320.0):
    times = sorted(draw(st.sets(st.integers(0, 200_000), max_size=60)))
    values = draw(
        st.lists(
            st.floats(low, high, width=32) | st.sampled_from([0.0, 17.0, 35.0]),
            min_size=len(times),
            max_size=len(times),
        )
    )
    return Series(np.array(times, np.int64), np.array(values, np.float64))


@UNHURRIED
@given(a_series(), st.integers(1, 10_000), st.integers(-1000, 1000), st.integers(0, 250_000))
def test_a_grid_of_sums_holds_all_that_lies_in_it(series, step_s, from_s, span_s):
    time_s, value = on_grid(series, step_s, from_s, from_s + span_s, summed=True)
    assert np.all(np.diff(time_s) == step_s)
    end_s = from_s + len(time_s) * step_s
    assert end_s - step_s < from_s + span_s <= end_s or (span_s == 0 and not len(time_s))
    inside = (series.time_s >= from_s) & (series.time_s < end_s)
    assert np.nansum(value) == pytest.approx(series.value[inside].sum(), abs=1e-6)
    assert int((~np.isnan(value)).sum()) <= inside.sum()


@UNHURRIED
@given(a_series(), st.integers(500, 10_000), st.integers(0, 250_000))
def test_a_grid_of_means_stays_within_what_was_read(series, step_s, span_s):
    time_s, value = on_grid(series, step_s, 0, span_s)
    for moment, mean in zip(time_s, value, strict=True):
        here = series.value[(series.time_s >= moment) & (series.time_s < moment + step_s)]
        assert np.isnan(mean) == (len(here) == 0)
        if len(here):
            assert here.min() - 1e-9 <= mean <= here.max() + 1e-9


@UNHURRIED
@given(st.lists(st.integers(0, 500), max_size=40), st.integers(0, 10**6))
def test_counts_add_up_to_the_total_that_never_fell(counts, start):
    totals = start + np.cumsum([0, *counts]).astype(float)
    series = Series(np.arange(len(totals), dtype=np.int64) * 60, totals)
    assert counts_of(series).value.tolist() == counts


@UNHURRIED
@given(a_series(low=0.0, high=1e6))
def test_counts_are_never_negative_and_stand_where_a_record_stood(totals):
    counts = counts_of(totals)
    assert np.all(counts.value >= 0)
    assert np.isin(counts.time_s, totals.time_s[1:]).all()
    assert np.all(np.diff(counts.time_s) > 0)


@UNHURRIED
@given(a_series(), a_series())
def test_merging_keeps_all_of_the_first_and_fills_in_the_second(first, second):
    both = merge(first, second)
    table = dict(zip(second.time_s.tolist(), second.value.tolist(), strict=True))
    table |= dict(zip(first.time_s.tolist(), first.value.tolist(), strict=True))
    assert both.time_s.tolist() == sorted(table)
    assert both.value.tolist() == [table[moment] for moment in sorted(table)]


@UNHURRIED
@given(a_series(), st.sampled_from(MEASURED))
def test_clean_leaves_out_what_is_flagged_and_nothing_else(series, quantity):
    flags = flags_of(series, quantity, ahead_s=series.time_s[::7])
    good = (flags & int(WRONG)) == 0
    cleaned = clean(series, quantity, ahead_s=series.time_s[::7])
    assert cleaned.time_s.tolist() == series.time_s[good].tolist()
    assert cleaned.value.tolist() == series.value[good].tolist()
    known = QUANTITIES[quantity]
    assert np.all((cleaned.value >= known.low) & (cleaned.value <= known.high))


@UNHURRIED
@given(a_series(), st.sampled_from(MEASURED), st.integers(0, 200_000))
def test_range_flags_do_not_depend_on_what_comes_later(series, quantity, as_of_s):
    early = flags_of(series.up_to(as_of_s), quantity)
    late = flags_of(series, quantity)[: len(early)]
    assert np.array_equal(early & int(Fault.RANGE), late & int(Fault.RANGE))


@UNHURRIED
@given(a_series(), st.integers(-10, 200_010))
def test_a_series_up_to_a_moment_has_all_of_it_and_no_more(series, as_of_s):
    early = series.up_to(as_of_s)
    assert early.time_s.tolist() == [one for one in series.time_s.tolist() if one <= as_of_s]
    assert early.value.tolist() == series.value[: len(early)].tolist()
