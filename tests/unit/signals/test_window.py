"""Series, windows, grids, and counts from running totals."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.signals.usual import usual_step_s
from hivewatch.signals.window import Series, counts_of, merge, on_grid


def series(times, values):
    return Series(np.array(times, np.int64), np.array(values, np.float64))


def test_counts_are_the_differences_of_a_running_total():
    counts = counts_of(series([0, 60, 120], [100, 130, 130]))
    assert counts.time_s.tolist() == [60, 120]
    assert counts.value.tolist() == [30, 0]


def test_a_total_that_starts_anew_counts_what_it_has_reached():
    counts = counts_of(series([0, 60, 120, 180], [900, 950, 12, 20]))
    assert counts.value.tolist() == [50, 12, 8]


def test_a_counter_that_wakes_up_with_an_older_total_leaves_its_count_unknown():
    counts = counts_of(series([0, 60, 120, 180], [900, 950, 940, 960]))
    assert counts.time_s.tolist() == [60, 180]
    assert counts.value.tolist() == [50, 20]


@pytest.mark.parametrize("values", [[], [7]])
def test_fewer_than_two_totals_give_no_count(values):
    assert len(counts_of(series(range(len(values)), values))) == 0


def test_of_two_series_the_first_speaks_where_both_do():
    both = merge(series([0, 60], [1, 2]), series([60, 90], [9, 3]))
    assert both.time_s.tolist() == [0, 60, 90]
    assert both.value.tolist() == [1, 2, 3]


def test_a_grid_takes_the_mean_of_levels_and_leaves_gaps_empty():
    time_s, value = on_grid(series([0, 100, 299, 900], [1, 2, 3, 7]), 300, 0, 1200)
    assert time_s.tolist() == [0, 300, 600, 900]
    np.testing.assert_array_equal(value, [2, np.nan, np.nan, 7])


def test_a_grid_adds_up_counts():
    _, value = on_grid(series([0, 100, 300], [4, 5, 6]), 300, 0, 900, summed=True)
    np.testing.assert_array_equal(value, [9, 6, np.nan])


def test_a_grid_leaves_out_what_lies_outside_it():
    _, value = on_grid(series([-1, 0, 599, 600], [100, 1, 3, 100]), 300, 0, 600)
    assert value.tolist() == [1, 3]


def test_a_grid_whose_last_step_is_cut_still_has_it():
    time_s, value = on_grid(series([650], [5]), 300, 0, 700)
    assert time_s.tolist() == [0, 300, 600]
    assert value[2] == 5


def test_a_grid_without_width_is_refused():
    with pytest.raises(ValueError, match="step"):
        on_grid(series([0], [0]), 0, 0, 10)


def test_the_usual_step_is_the_middle_one():
    assert usual_step_s(series([0, 300, 600, 5000], [0, 0, 0, 0])) == 300
    assert usual_step_s(series([5], [0])) is None


def test_a_window_at_an_earlier_moment_knows_nothing_later(made_up_hive):
    hive = made_up_hive(days=2)
    hive.devices = [("scale-1", hive.at(0, 0), hive.at(1, 12)), ("scale-2", hive.at(1, 12), None)]
    then = hive.window(until_s=hive.at(1, 6))
    assert then.as_of_s == hive.at(1, 6)
    assert then.of("weight").time_s[-1] == hive.at(1, 6)
    assert [(one.device, one.until_s) for one in then.devices] == [("scale-1", None)]
    assert then.devices[0].heard_s[-1] == hive.at(1, 6)
    assert len(then.of("rain")) == 0
