"""Matching of findings and events, against an independent solver."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from simulators.score.match import match, windows

FAR = 1e9


def best_by_assignment(said, true, allowed):
    """Most pairs, then nearest, by scipy's Hungarian method on a padded square."""
    size = len(said) + len(true)
    cost = np.full((size, size), FAR)
    cost[len(said) :, len(true) :] = FAR
    for i, y in enumerate(said):
        for j, (low, high) in enumerate(allowed):
            if low <= y <= high:
                cost[i, j] = abs(y - true[j])
    rows, columns = linear_sum_assignment(cost)
    kept = [cost[r, c] for r, c in zip(rows, columns, strict=True) if cost[r, c] < FAR]
    return len(kept), sum(kept)


times = st.lists(st.integers(0, 60).map(float), max_size=7)


@given(times, times, st.integers(0, 12), st.integers(0, 12))
def test_no_solver_pairs_more_or_nearer(said, true, before, after):
    true = sorted(true)
    allowed = windows(true, [None] * len(true), before, after, lasts=False)
    pairs = match(said, true, allowed)
    off = sum(abs(said[i] - true[j]) for i, j in pairs)
    assert (len(pairs), off) == best_by_assignment(said, true, allowed)
    assert len({i for i, _ in pairs}) == len({j for _, j in pairs}) == len(pairs)
    assert all(allowed[j][0] <= said[i] <= allowed[j][1] for i, j in pairs)


@given(times, st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=6))
def test_conditions_that_follow_each_other_are_paired_best_too(said, spans):
    true, ends, at = [], [], 0.0
    for wait, length in spans:
        at += wait
        true.append(at)
        at += length
        ends.append(at)
    allowed = windows(true, ends, 3, 2, lasts=True)
    pairs = match(said, true, allowed)
    off = sum(abs(said[i] - true[j]) for i, j in pairs)
    assert (len(pairs), off) == best_by_assignment(said, true, allowed)


def test_one_finding_is_no_two_events():
    assert match([10.0], [9.0, 12.0], [(0.0, 20.0), (2.0, 22.0)]) == [(0, 0)]


def test_two_findings_of_one_event_leave_one_over():
    assert match([11.0, 10.5], [10.0], [(5.0, 15.0)]) == [(1, 0)]


def test_two_events_are_rather_both_found_than_one_nearer():
    assert sorted(match([10.0, 13.0], [7.0, 10.0], [(4.0, 10.0), (7.0, 13.0)])) == [(0, 0), (1, 1)]


def test_a_lasting_condition_may_be_told_any_time_before_its_end():
    assert windows([100.0, 900.0], [500.0, None], 10, 20, lasts=True) == [
        (90.0, 500.0),
        (890.0, float("inf")),
    ]
