"""What is found by where it mostly lies is what a search finds."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from hivewatch.signals.usual import first_within, usual_steps_s
from hivewatch.signals.window import Series

STEPS = st.lists(st.sampled_from((300, 300, 300, 300, 301, 60, 7200, 100_000)), max_size=60)


@given(STEPS, st.integers(0, 2000), st.integers(0, 12))
def test_the_first_reading_of_a_span_is_the_one_that_a_search_finds(steps, span_s, first):
    time_s = np.cumsum([1_767_225_600, *steps])
    found = first_within(time_s, span_s, first)
    assert found.tolist() == np.searchsorted(time_s, time_s[first:] - span_s).tolist()


def test_nothing_is_found_of_no_readings():
    assert not len(first_within(np.empty(0, np.int64), 600))


@given(STEPS)
def test_the_usual_step_of_some_readings_is_that_of_all(steps):
    time_s = np.cumsum([1_767_225_600, *steps])
    series = Series(time_s, np.zeros(len(time_s)))
    some = np.arange(0, len(time_s), 3)
    assert usual_steps_s(series, some).tolist() == usual_steps_s(series)[some].tolist()
