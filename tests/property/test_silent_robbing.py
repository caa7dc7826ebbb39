"""Silent robbing in any yard: told on what was known, of whoever falls behind, and never of all."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up_yard import YARD, cut, days_with

from hivewatch.detect import silent_robbing
from hivewatch.signals.days import Days

COUNT = 45
MISSING = st.sampled_from(["nothing", "bees", "night", "air", "some days"])


def a_yard(seed: int, hives: int, missing: str) -> dict[str, Days]:
    """Make a yard in one weather, of hives of any strength, in which something may be unknown."""
    rng = np.random.default_rng(seed)
    weather = rng.normal(rng.uniform(-0.2, 0.4), 0.2, COUNT)
    yard = {}
    for i in range(hives):
        strength = rng.uniform(0.6, 1.4)
        day_kg = strength * weather + rng.normal(0, 0.05, COUNT)
        if missing == "some days":
            day_kg[rng.random(COUNT) < 0.15] = np.nan
        figures = {"day_kg": day_kg}
        if missing != "night":
            figures["night_kg"] = rng.normal(0.1, 0.02, COUNT)
        if missing != "air":
            figures["flying_h"] = rng.uniform(1.0, 11.0, COUNT)
        if missing != "bees":
            out = np.round(strength * 40_000 * rng.uniform(0.9, 1.1, COUNT))
            figures |= {"bees_out": out, "bees_in": 0.9 * out}
        yard[f"hazel-{i}"] = days_with(date(2026, 7, 1), COUNT, **figures)
    return yard


def rob(days: Days, first: int, kg: float) -> Days:
    later = np.arange(COUNT) >= first
    return replace(
        days,
        day_kg=days.day_kg - np.where(later, kg, 0.0),
        bees_out=days.bees_out * np.where(later, 1.3, 1.0),
        bees_in=days.bees_in * np.where(later, 1.3, 1.0),
    )


def told(yard: dict[str, Days]) -> list[tuple[str, int, int]]:
    found = silent_robbing.find(YARD, yard)
    return sorted((one.subject, one.start_s, one.detected_s) for one in found)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 10_000), st.integers(2, 6), MISSING, st.integers(12, 38), st.floats(0.2, 0.8),
    st.integers(15, COUNT),
)  # fmt: skip
def test_what_was_told_stands_and_nothing_is_told_of_days_to_come(
    seed, hives, missing, first, kg, count
) -> None:
    yard = a_yard(seed, hives, missing)
    yard["hazel-1"] = rob(yard["hazel-1"], first, kg)
    whole = told(yard)
    then = {name: cut(one, count) for name, one in yard.items()}
    end_s = int(then["hazel-0"].dusk_s[-1])
    assert told(then) == [one for one in whole if one[2] <= end_s]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 6), MISSING, st.floats(0.2, 1.0))
def test_what_all_hives_lose_no_robber_took(seed, hives, missing, kg) -> None:
    """As much more as the day takes from each of them changes nothing of who falls behind."""
    yard = a_yard(seed, 1, missing)
    same = {f"hazel-{i}": rob(yard["hazel-0"], 20, kg) for i in range(hives)}
    assert told(same) == []


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), MISSING, st.randoms(use_true_random=False))
def test_the_order_and_the_names_of_hives_do_not_matter(seed, missing, random) -> None:
    yard = a_yard(seed, 4, missing)
    yard["hazel-1"] = rob(yard["hazel-1"], 25, 0.5)
    names = list(yard)
    random.shuffle(names)
    others = dict(zip(names, yard.values(), strict=True))
    back = {f"hive:{new}": f"hive:{old}" for new, old in zip(names, yard, strict=True)}
    found = sorted((back[subject], *when) for subject, *when in told(others))
    assert found == told(yard)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(3, 6), MISSING)
def test_half_a_kilogram_a_day_is_told_whatever_is_not_measured(seed, hives, missing) -> None:
    yard = a_yard(seed, hives, missing)
    yard = {name: replace(one, flying_h=np.full(COUNT, 9.0)) for name, one in yard.items()}
    rng = np.random.default_rng(seed)
    for one in yard.values():
        one.day_kg[:] = np.where(np.isnan(one.day_kg), np.nan, -0.15 + rng.normal(0, 0.04, COUNT))
    yard["hazel-1"] = rob(yard["hazel-1"], 25, 0.5)
    found = told(yard)
    assert [one[0] for one in found] == ["hive:hazel-1"]
    assert found[0][2] <= yard["hazel-1"].dusk_s[31]
