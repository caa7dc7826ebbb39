"""A later look never changes what was settled; nothing is told before its time."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from hivewatch.apiary import Hive, Yard
from hivewatch.detect.finding import settle
from hivewatch.detect.run import detect, look_again_s
from hivewatch.signals.window import DeviceTrace, HiveWindow, Series

START_S = 1_777_593_600
DAY_S = 86_400
YARD = Yard("hazel-end", "Hazel End", 52.2, 0.12, "Europe/London")
HIVE = Hive("hazel-1", "hazel-end", "langstroth-deep", 10, 1, None)
LASTING = {"toppled", "taken", "silent", "low_battery", "clock"}


class Rough(NamedTuple):
    """Five days of a hive with everything in them: visits, falls, gaps, bad readings, batteries."""

    seed: int
    step_s: int
    events: int
    missing: float
    gaps: int
    without: tuple[str, ...]


def window_of(rough):
    rng = np.random.default_rng(rough.seed)
    step_s = rough.step_s
    n = 5 * DAY_S // step_s
    time_s = START_S + np.arange(n, dtype=np.int64) * step_s
    weight = 40 + rng.normal(0, 0.03, n) + np.linspace(0, rng.uniform(-2, 8), n)
    nest = 34.8 + rng.normal(0, 0.15, n)
    for _ in range(rough.events):
        at = int(rng.integers(5, n - 5))
        what = rng.integers(0, 5)
        if what == 0:
            weight[at:] += rng.uniform(-12, 12)
        elif what == 1:
            weight[at : at + int(rng.integers(1, 9))] -= rng.uniform(2, 30)
        elif what == 2:
            weight[at : at + int(rng.integers(1, n))] = rng.uniform(-1, 9)
        elif what == 3:
            nest[at:] -= rng.uniform(1, 6) * np.exp(-np.arange(n - at) * step_s / 2400)
        else:
            weight[at] += rng.uniform(-80, 80)
    there = rng.random(n) > rough.missing
    for _ in range(rough.gaps):
        at = int(rng.integers(0, n))
        there[at : at + int(rng.integers(1, n // 3))] = False
    time_s, weight, nest = time_s[there], weight[there], nest[there]
    volts = (
        3.7 - np.linspace(0, rng.uniform(0, 0.6), len(time_s)) + rng.normal(0, 0.02, len(time_s))
    )
    ahead_s = time_s[rng.random(len(time_s)) > 0.99]
    trace = DeviceTrace(
        "scale-1",
        START_S - 60,
        None,
        time_s,
        {"battery": Series(time_s, volts)},
        ahead_s,
        np.full(len(ahead_s), 900),
    )
    quantities = {"weight": Series(time_s, weight), "nest": Series(time_s, nest)}
    for name in rough.without:
        del quantities[name]
    return HiveWindow(HIVE, YARD, START_S + 5 * DAY_S, quantities, (trace,))


ROUGH = st.builds(
    Rough,
    st.integers(0, 2**32 - 1),
    st.sampled_from([300, 600, 900, 1800]),
    st.integers(0, 6),
    st.sampled_from([0.0, 0.2]),
    st.integers(0, 2),
    st.sampled_from([(), ("weight",), ("nest",)]),
)


def event(finding):
    return finding.kind, finding.subject, finding.start_s, finding.detected_s


@settings(max_examples=40, deadline=None)
@given(rough=ROUGH, share=st.floats(0, 1))
def test_what_was_told_and_settled_by_a_moment_is_what_a_later_look_says_of_it(
    limits, rough, share
):
    """Only what time can take back may differ: an alarm that turned out to be a visit."""
    season = window_of(rough)
    as_of_s = round(START_S + share * 5 * DAY_S)
    early = detect(season, (), limits, as_of_s)
    late = detect(season, (), limits, season.as_of_s)
    assert all(one.detected_s <= as_of_s for one in early)
    told = {event(one) for one in early}
    missing = {
        event(one)
        for one in late
        if one.detected_s < as_of_s and event(one) not in told and one.kind != "handling"
    }
    assert not missing
    for one in early:
        if event(one) in {event(each) for each in late}:
            continue
        assert one.kind in {"toppled", "taken", "handling"}
        if one.kind == "handling":  # it was the beginning of a fall, or its end
            assert any(
                other.kind in {"toppled", "taken"}
                and other.start_s <= one.end_s
                and (other.end_s is None or other.end_s >= one.start_s)
                for other in late
            )
        elif "silent" in one.evidence[0]:  # the scale spoke again, and says the rest itself
            assert season.of("weight").time_s[-1] > one.detected_s
        else:  # the hive was back within the hour, as after a visit
            weight = season.of("weight")
            soon = slice(*np.searchsorted(weight.time_s, [one.start_s, one.start_s + 3601]))
            before = one.measures["kg_left"] - one.measures["kg"]
            assert (weight.value[soon] >= 0.6 * before).any()


@settings(max_examples=40, deadline=None)
@given(rough=ROUGH, share=st.floats(0, 1))
def test_the_window_up_to_a_moment_and_the_whole_window_say_the_same_of_it(limits, rough, share):
    season = window_of(rough)
    as_of_s = round(START_S + share * 5 * DAY_S)
    whole = detect(season, (), limits, as_of_s)
    assert detect(season.at(as_of_s), (), limits, as_of_s) == whole


@settings(max_examples=25, deadline=None)
@given(rough=ROUGH, quiet_h=st.integers(0, 200))
def test_between_two_looks_time_alone_changes_nothing_but_at_the_told_moment(
    limits, rough, quiet_h
):
    season = window_of(rough)
    last_s = season.devices[0].heard_s[-1]
    now = season.at(int(last_s))
    again_s = look_again_s(now, limits)
    later_s = int(last_s) + quiet_h * 3600
    before = detect(now, (), limits, now.as_of_s)
    after = detect(now, (), limits, later_s)
    if again_s is None or later_s < again_s:
        assert after == before
    else:
        assert detect(now, (), limits, again_s - 1) == before
        assert after != before


@settings(max_examples=25, deadline=None)
@given(rough=ROUGH, moments=st.lists(st.floats(0, 1), min_size=1, max_size=4))
def test_looking_often_or_once_ends_with_the_same_standing_findings(limits, rough, moments):
    season = window_of(rough)
    often = []
    for share in sorted(moments):
        looked = detect(season, (), limits, round(START_S + share * 5 * DAY_S))
        often = settle(often, looked)
    final = detect(season, (), limits, season.as_of_s)
    once = settle([], final)
    standing = [replace(one, id="") for one in settle(often, final) if one.status != "withdrawn"]
    assert standing == [replace(one, id="") for one in once]


@settings(max_examples=40, deadline=None)
@given(rough=ROUGH)
def test_findings_are_well_formed_and_never_overlap_within_a_kind(limits, rough):
    season = window_of(rough)
    found = detect(season, (), limits, season.as_of_s)
    last = {}
    for one in found:
        assert one.start_s <= (one.end_s if one.end_s is not None else season.as_of_s)
        assert one.start_s >= START_S - 60
        assert one.start_s <= one.detected_s <= season.as_of_s
        assert 0 < one.confidence <= 1
        assert one.evidence
        assert (one.status == "open") == (one.end_s is None)
        if one.end_s is None:
            assert one.kind in LASTING
        before = last.get((one.kind, one.subject))
        assert before is None or (before.end_s is not None and before.end_s <= one.start_s)
        last[(one.kind, one.subject)] = one
