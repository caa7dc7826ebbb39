"""Water on the lids: by the gauge, and by nights on which a scale gains."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.signals.lids import HOLDS_KG, LID_KG, doubt, night_takes, on_lid, seen_by_night


def test_a_millimetre_weighs_a_quarter_of_a_kilogram_until_the_lid_runs_over() -> None:
    kg = on_lid(np.array([0.0, 1.0, 2.0, 30.0, np.nan]), HOLDS_KG)
    assert kg == pytest.approx([0.0, 0.24, 0.48, HOLDS_KG, 0.0])


def test_a_downpour_leaves_in_doubt_what_a_shower_does_not() -> None:
    unseen = np.full(3, 0.7)
    assert doubt(np.array([1.0, 30.0, np.nan]), unseen) == pytest.approx(
        [0.0, LID_KG - HOLDS_KG, 0.7]
    )


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
