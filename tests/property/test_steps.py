"""Steps of weight against an independent reference, and against noise, gaps, drift and spikes."""

from __future__ import annotations

import numpy as np
import pytest
import ruptures
from hypothesis import given, settings
from hypothesis import strategies as st

from hivewatch.signals.levels import noise_kg
from hivewatch.signals.steps import find_moves, settle_steps

DAY_S = 86_400
SEED = st.integers(0, 2**32 - 1)
STEP_S = st.sampled_from([60, 300, 600, 900])


def a_day(rng, n, noise_kg=0.03):
    return 40 + rng.normal(0, noise_kg, n)


@settings(max_examples=12, deadline=None)
@given(SEED, st.lists(st.sampled_from([-9.0, -3.0, -1.0, 1.0, 2.5, 8.0]), min_size=1, max_size=3))
def test_steps_lie_where_dynamic_programming_puts_them(seed, sizes):
    """Reference: ruptures `Dynp`, the exact optimum for a known number of changes."""
    rng = np.random.default_rng(seed)
    n = 24 * (len(sizes) + 1)
    weight = a_day(rng, n)
    at = [24 * (i + 1) + int(rng.integers(-5, 5)) for i in range(len(sizes))]
    for index, size in zip(at, sizes, strict=True):
        weight[index:] += size
    time_s = np.arange(n, dtype=np.int64) * 300
    exact = ruptures.Dynp(model="l2", min_size=3, jump=1).fit(weight).predict(n_bkps=len(sizes))
    assert exact[:-1] == at  # the reference finds the truth itself
    steps = settle_steps(weight, time_s)
    assert [step.after_s // 300 for step in steps] == exact[:-1]
    assert [step.before_s // 300 + 1 for step in steps] == exact[:-1]
    levels = np.split(weight, exact[:-1])
    for step, before, after in zip(steps, levels[:-1], levels[1:], strict=True):
        # tolerance: the reference takes the mean of all readings, ours those near the step
        assert step.size_kg == pytest.approx(after.mean() - before.mean(), abs=0.15)


@settings(max_examples=20, deadline=None)
@given(SEED, STEP_S)
def test_noise_alone_gives_no_step(seed, step_s):
    """False alarms of the factor 3 and the least size: none in 20 times 20 days."""
    rng = np.random.default_rng(seed)
    n = 20 * DAY_S // step_s
    time_s = np.arange(n, dtype=np.int64) * step_s
    for noise in (0.01, 0.03, 0.1, 0.4):
        assert settle_steps(a_day(rng, n, noise), time_s) == []


@settings(max_examples=40, deadline=None)
@given(SEED, STEP_S, st.floats(-4, 6), st.floats(0.6, 12), st.booleans())
def test_a_step_in_a_flow_with_gaps_and_spikes_is_found_in_size(
    seed, step_s, flow_kg_a_day, size, is_gain
):
    rng = np.random.default_rng(seed)
    n = 2 * DAY_S // step_s
    time_s = np.arange(n, dtype=np.int64) * step_s
    size = size if is_gain else -size
    at = n // 2
    weight = a_day(rng, n) + flow_kg_a_day * time_s / DAY_S
    weight += 0.15 * np.sin(time_s / DAY_S * 2 * np.pi)
    weight[at:] += size
    spike_s = 4 * 3600  # a bad reading some hours away, and readings missing at random
    weight[at - spike_s // step_s] += 20
    there = rng.random(n) > 0.2
    there[at - 2 : at + 2] = True
    steps = [one for one in settle_steps(weight[there], time_s[there]) if abs(one.size_kg) > 0.35]
    assert [one.after_s for one in steps] == [time_s[at]]
    assert steps[0].size_kg == pytest.approx(size, abs=0.2)
    assert abs(steps[0].size_kg - size) < 5 * steps[0].spread_kg


@pytest.mark.parametrize("step_s", [1800, 3600])
@pytest.mark.parametrize("size", [-8.0, -2.0, 2.0, 8.0])
def test_coarse_feeds_place_a_step_between_two_readings(step_s, size):
    rng = np.random.default_rng(6)
    n = 4 * DAY_S // step_s
    time_s = np.arange(n, dtype=np.int64) * step_s
    weight = a_day(rng, n) + 0.2 * np.sin(time_s / DAY_S * 2 * np.pi)
    weight[n // 2 :] += size
    (step,) = settle_steps(weight, time_s)
    assert (step.before_s, step.after_s) == (time_s[n // 2 - 1], time_s[n // 2])
    assert step.size_kg == pytest.approx(size, abs=0.2)


@settings(max_examples=30, deadline=None)
@given(SEED, STEP_S)
def test_what_comes_later_does_not_change_a_settled_move(seed, step_s):
    rng = np.random.default_rng(seed)
    n = 2 * DAY_S // step_s
    time_s = np.arange(n, dtype=np.int64) * step_s
    weight = a_day(rng, n, 0.05)
    for _ in range(12):
        weight[int(rng.integers(10, n)) :] += rng.normal(0, 3)
    moves = find_moves(weight, time_s)
    cut = int(rng.integers(10, n))
    earlier = find_moves(weight[:cut], time_s[:cut])
    assert earlier == [one for one in moves if one.settled_s < time_s[cut]]


@given(SEED)
@settings(max_examples=20, deadline=None)
def test_missing_values_are_left_out(seed):
    rng = np.random.default_rng(seed)
    weight = a_day(rng, 300)
    weight[150:] += 5
    time_s = np.arange(300, dtype=np.int64) * 300
    there = rng.random(300) > 0.3
    assert settle_steps(np.where(there, weight, np.nan), time_s) == settle_steps(
        weight[there], time_s[there]
    )


def test_the_noise_is_that_of_the_readings_before():
    # of two blocks of 48 readings the noisier one: 15 % above the truth, as our own runs show
    rng = np.random.default_rng(9)
    weight = np.concatenate([rng.normal(40, 0.05, 4800), rng.normal(40, 0.5, 4800)])
    noise = noise_kg(weight)
    assert np.median(noise[200:4800]) == pytest.approx(0.05 * 1.15, rel=0.1)
    assert np.median(noise[5000:]) == pytest.approx(0.5 * 1.15, rel=0.1)


def test_slow_change_is_no_noise():
    time_s = np.arange(4800) * 300.0
    rng = np.random.default_rng(9)
    slow = 5 * np.sin(time_s / DAY_S * 2 * np.pi)
    assert np.median(noise_kg(slow + rng.normal(0, 0.05, 4800))) == pytest.approx(
        0.05 * 1.15, rel=0.15
    )


def test_lengths_that_differ_and_time_that_does_not_rise_are_refused():
    with pytest.raises(ValueError, match="lengths"):
        settle_steps(np.zeros(3), np.arange(2))
    with pytest.raises(ValueError, match="rise"):
        settle_steps(np.zeros(3), np.array([0, 300, 300]))


@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_a_few_readings_give_no_step(n):
    assert settle_steps(np.full(n, 40.0), np.arange(n, dtype=np.int64) * 300) == []
