"""Water on the lids: by the gauge, and by nights on which a scale gains."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.signals.lids import (
    HOLDS_KG,
    LID_KG,
    LID_M2,
    doubt,
    night_takes,
    on_lid,
    seen_by_night,
    weighed_by_night,
)


def test_a_drop_stays_and_the_more_has_fallen_the_more_runs_off() -> None:
    kg = on_lid(np.array([0.0, 0.01, 2.0, 100.0, np.nan]), HOLDS_KG)
    assert kg == pytest.approx([0.0, 0.01 * LID_M2, 0.7 * HOLDS_KG, HOLDS_KG, 0.0], rel=0.01)
    drops = np.diff(on_lid(np.arange(0.0, 10.0), HOLDS_KG))
    assert (np.diff(drops) < 0).all()


def test_a_downpour_leaves_in_doubt_what_a_drizzle_does_not() -> None:
    unseen, rain = np.full(3, 0.7), np.array([0.2, 100.0, np.nan])
    assert doubt(rain, unseen) == pytest.approx([0.0, LID_KG - HOLDS_KG, 0.7], abs=0.01)
    assert doubt(rain, unseen, 0.5) == pytest.approx([0.0, (LID_KG - HOLDS_KG) / 2, 0.7], abs=0.01)


def _night(dusk_mm: float, night_mm: float, gains_kg: float) -> float:
    """Give the water at the dawn after a night that leaves so much more than usual."""
    night = np.full(8, 0.1)
    night[5] -= gains_kg
    dusk, fell = np.zeros(8), np.zeros(8)
    dusk[5], fell[6] = dusk_mm, night_mm
    return float(weighed_by_night(dusk, fell, night, np.zeros(8))[6])


def test_gauge_and_scale_are_each_believed_by_half() -> None:
    usual = float(on_lid(np.array([4.0]), HOLDS_KG)[0])
    assert _night(0.0, 4.0, 0.0) == pytest.approx(usual / 2)  # all of it ran off
    assert _night(0.0, 4.0, usual) == pytest.approx(usual)
    assert _night(0.0, 4.0, 0.9) == pytest.approx((usual + 0.9) / 2)
    assert _night(0.0, 40.0, 5.0) == pytest.approx((HOLDS_KG + LID_KG) / 2, abs=0.01)  # no lid's


def test_what_fell_before_dusk_was_weighed_at_dusk_already() -> None:
    usual = float(on_lid(np.array([4.0]), HOLDS_KG)[0])
    assert _night(4.0, 4.0, 0.0) == pytest.approx(usual)


def test_without_rain_a_night_that_leaves_more_is_no_water() -> None:
    assert _night(0.0, 0.0, 0.3) == 0.0


def test_a_night_takes_what_nights_took_and_a_share_of_a_good_day() -> None:
    night = np.array([0.1, 0.1, np.nan, 0.1, 0.1, 0.1])
    takes = night_takes(night, np.array([0.0, 0.0, 0.0, 0.0, 0.0, 2.0]))
    assert takes[:5] == pytest.approx([0.0, 0.1, 0.1, 0.1, 0.1])  # nothing is known of the first
    assert takes[5] == pytest.approx(0.4)


def test_what_a_night_leaves_too_much_lies_on_the_lid_at_the_next_dawn() -> None:
    night = np.array([0.1, 0.1, 0.1, -0.4, 0.6, 0.1])
    assert seen_by_night(night, np.zeros(6)) == pytest.approx([0, 0, 0, 0, 0.5, 0])


def test_nights_that_differ_as_nights_do_bring_no_water() -> None:
    night = 0.2 + np.random.default_rng(1).normal(0, 0.05, 200)
    assert not seen_by_night(night, np.full(200, 0.3)).any()


def test_no_lid_holds_what_a_keeper_puts_on_by_night() -> None:
    night = np.array([0.1, 0.1, -5.0, 0.1])
    assert seen_by_night(night, np.zeros(4)).max() == LID_KG
