"""What is said of a nest stands when the season goes on, and nothing breaks on ragged readings."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from nests import MadeUpNest, told

from hivewatch.detect import dead_out, nest, queen
from hivewatch.signals.window import HiveWindow, Series

ROOMS = (nest, dead_out, queen)


class Ragged(NamedTuple):
    """A season with everything in it: pauses, chills, heat, deaths, gaps, bad readings."""

    seed: int
    step_s: int
    share: float
    events: int
    missing: float
    quantities: tuple[str, ...]


RAGGED = st.builds(
    Ragged,
    seed=st.integers(0, 10_000),
    step_s=st.sampled_from([900, 1800, 3600]),
    share=st.sampled_from([1.0, 0.6, 0.3]),
    events=st.integers(0, 6),
    missing=st.sampled_from([0.0, 0.2, 0.6]),
    quantities=st.sampled_from(
        [
            ("nest", "ambient", "weight", "bees-in", "bees-out"),
            ("nest", "ambient"),
            ("nest",),
            ("ambient", "bees-in", "bees-out"),
        ]
    ),
)


def window_of(ragged: Ragged) -> tuple[MadeUpNest, HiveWindow]:
    rng = np.random.default_rng(ragged.seed)
    made = MadeUpNest(
        first=str(rng.choice(["2026-02-10", "2026-05-01", "2026-08-20"])),
        days=50,
        step_s=ragged.step_s,
        share=ragged.share,
        seed=ragged.seed,
        air_cel=float(rng.uniform(0, 22)),
    )
    for _ in range(ragged.events):
        day = int(rng.integers(8, 44))
        what = rng.integers(0, 6)
        if what == 0:
            made.has_brood(slice(day, day + int(rng.integers(1, 30))), float(rng.uniform(0, 1)))
        elif what == 1:
            made.add(made.at(day, 17), made.at(day + int(rng.integers(1, 4)), 9), -12)
        elif what == 2:
            made.add(made.at(day, 9), made.at(day, 17), 6)
        elif what == 3:
            made.bees[day : day + int(rng.integers(2, 30))] = 0
        elif what == 4:
            made.silence(made.at(day), made.at(day + int(rng.integers(1, 12))))
        else:
            made.lose(made.at(day, 12), float(rng.uniform(0.5, 4)))
    made.gone |= rng.random(len(made.time_s)) < ragged.missing
    window = made.window(ragged.quantities)
    for one in window.series.values():
        for _ in range(ragged.events):
            if len(one):
                one.value[rng.integers(0, len(one))] += rng.uniform(-30, 30)
    return made, window


@settings(max_examples=40)
@given(RAGGED, st.floats(0.1, 1.0))
def test_what_was_told_stands(ragged: Ragged, part: float) -> None:
    made, window = window_of(ragged)
    until_s = made.at(0) + round(part * 50 * 86_400)
    for room in ROOMS:
        whole = room.find(window, (), None)
        early = room.find(window.at(until_s), (), None)
        assert told(early) == told([one for one in whole if one.detected_s <= until_s])


@settings(max_examples=40)
@given(RAGGED)
def test_findings_are_whole(ragged: Ragged) -> None:
    _, window = window_of(ragged)
    for room in ROOMS:
        for one in room.find(window, (), None):
            assert one.subject == "hive:hazel-1"
            assert one.start_s <= one.detected_s <= window.as_of_s
            assert one.end_s is None or one.start_s <= one.end_s <= window.as_of_s
            assert (one.end_s is None) == (one.status == "open")
            assert 0 < one.confidence <= 1
            assert one.evidence
            assert all(value is None or value == value for value in one.measures.values())  # noqa: PLR0124


@settings(max_examples=20)
@given(RAGGED, st.integers(0, 3))
def test_few_readings_break_nothing(ragged: Ragged, kept: int) -> None:
    _, window = window_of(ragged)
    few = {name: Series(one.time_s[:kept], one.value[:kept]) for name, one in window.series.items()}
    short = HiveWindow(window.hive, window.yard, window.as_of_s, few)
    for room in ROOMS:
        assert room.find(short, (), None) == []
