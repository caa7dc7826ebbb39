"""What a colony eats by how warm it is outside."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from hivewatch.signals import appetite
from hivewatch.signals.season import usual_air_cel

AIR_CEL = np.array([-10.0, 5.0, 15.0, 24.0, 35.0])


def test_brood_takes_the_more_the_colder_it_is() -> None:
    """Newton's law of cooling: what a nest at 34.5 Cel loses goes with the difference."""
    warmth = appetite.warmth_at(AIR_CEL)
    assert (np.diff(warmth) <= 0).all()
    assert warmth[2] == 1.0
    assert warmth[1] == pytest.approx((34.5 - 5.0) / (34.5 - 15.0))
    cold_kg, mild_kg = (appetite.need_kg(20_000.0, 9000.0, 9000.0, 1.0, one) for one in (1.5, 1.0))
    brood_kg = appetite.NEED_SHARE * 18_000 * appetite.WARMTH_MG / 1e6
    assert cold_kg - mild_kg == pytest.approx(0.5 * brood_kg)


def test_bees_are_as_active_as_it_is_warm() -> None:
    active = appetite.active_at(AIR_CEL)
    assert (np.diff(active) >= 0).all()
    assert active[[0, -1]].tolist() == [0.0, 1.0]


def test_where_nobody_measures_it_the_season_says_how_warm_it_is() -> None:
    assert usual_air_cel(date(2025, 1, 18), 47.0) == pytest.approx(0.0, abs=0.5)
    assert usual_air_cel(date(2025, 7, 18), 47.0) == pytest.approx(20.0, abs=0.5)
    assert usual_air_cel(date(2025, 1, 18), -47.0) == pytest.approx(20.0, abs=0.5)
    assert usual_air_cel(date(2025, 1, 18), 30.0) > 10.0
