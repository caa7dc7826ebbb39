"""A yard's days side by side: which of its scales' steps are a hand's, and which scales tell."""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_up_yard import YARD, made_up_days

from hivewatch.signals.days import Days
from hivewatch.signals.steps import Step
from hivewatch.signals.yard import yard_days

DAY = 5
AT_ONCE, SLOW = 1.0, 0.4  # share of a step that comes from one reading to the next


def _stepped(size_kg: float, sharp: float, rain_mm: float = 0.0) -> Days:
    """Let the weight step at noon of a day on which nothing else happens; no night tells of it."""
    rain = [0.0] * 12
    rain[DAY] = rain_mm
    days = made_up_days([0.0] * 12, rain_mm=rain, rain_ends="by noon", spread_kg=0)
    noon_s = int(days.start_s[DAY]) + 43_200
    step = Step(
        before_s=noon_s,
        after_s=noon_s + 3600,
        settled_s=noon_s + 7200,
        level_kg=40.0,
        size_kg=size_kg,
        spread_kg=0.03,
        low_kg=0.0,
        high_kg=0.0,
        within_kg=size_kg,
        sharp_kg=sharp * abs(size_kg),
        readings=1,
    )
    dawn_kg, step_kg = days.dawn_kg.copy(), days.step_kg.copy()
    dawn_kg[DAY + 1 :] += size_kg
    step_kg[DAY] = size_kg
    return replace(days, dawn_kg=dawn_kg, step_kg=step_kg, steps=(step,))


@pytest.mark.parametrize(
    ("size_kg", "sharp", "rain_mm", "counts"),
    [
        (2.2, AT_ONCE, 0.0, False),  # feed
        (2.2, AT_ONCE, 12.0, False),  # feed on a rainy day: no lid holds so much
        (1.2, AT_ONCE, 12.0, True),  # a downpour
        (1.3, SLOW, 0.0, True),  # an hour of the best of flows, between two readings
        (6.0, SLOW, 0.0, False),  # a super that somebody held in his hands at a reading
        (-0.5, AT_ONCE, 0.0, True),  # foragers leave
        (-0.9, AT_ONCE, 0.0, False),  # a cast
        (-0.9, SLOW, 0.0, True),
    ],
)
def test_what_a_hand_or_a_swarm_moved_is_no_gain(
    size_kg: float, sharp: float, rain_mm: float, *, counts: bool
) -> None:
    gain_kg = yard_days(YARD, [_stepped(size_kg, sharp, rain_mm)]).gain_kg[0]
    assert gain_kg[DAY] == pytest.approx(size_kg if counts else 0.0)


def test_a_scale_that_is_stuck_has_no_vote_from_the_second_day_on() -> None:
    stuck = made_up_days([0.0] * 12, spread_kg=0)
    stuck = replace(stuck, day_kg=0.0 * stuck.day_kg, night_kg=0.0 * stuck.night_kg)
    together = yard_days(YARD, [made_up_days([1.0] * 12, spread_kg=0), stuck])
    assert not together.is_gone[0].any()
    assert together.is_gone[1, 1:-1].all()
    assert not together.is_gone[1, 0]
    assert together.typical_kg(together.gain_kg)[1:-1] == pytest.approx(1.0)
