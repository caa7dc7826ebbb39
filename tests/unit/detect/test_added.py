"""What a visit added is told from what bees brought and bees weigh meanwhile."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.detect.added import added_kg
from hivewatch.signals.steps import moves_of

SUPER_KG = 6.0


def with_super(made_up_hive, flow_kg=0.0, home=0.0, traffic=600.0, step_min=30):
    """Put a super on at noon of the third day; so many bees come home in the half hour after."""
    hive = made_up_hive(step_s=60 * step_min, days=5, seed=1, flow_kg=flow_kg)
    done_s = hive.at(3, 12.2)
    hive.add(done_s, SUPER_KG)
    hive.series["bees-out"] = np.full(len(hive.time_s), traffic)
    hive.series["bees-in"] = np.full(len(hive.time_s), traffic)
    first = int(hive.time_s.searchsorted(done_s))
    hive.series["bees-in"][first] += home
    hive.series["weight"][first:] += home * 1e-4
    return hive


def added(hive, quantities):
    window = hive.window(quantities)
    (move,) = [one for one in moves_of(window) if one.is_lasting]
    return added_kg(window, move), move


@pytest.mark.parametrize("step_min", [10, 30])
def test_what_nectar_brings_meanwhile_is_not_put_on(made_up_hive, step_min):
    kg, _ = added(with_super(made_up_hive, flow_kg=4.0, step_min=step_min), ("weight",))
    assert kg == pytest.approx(SUPER_KG, abs=0.1)


def test_bees_that_come_home_meanwhile_are_not_put_on(made_up_hive):
    hive = with_super(made_up_hive, home=6000.0)
    kg, move = added(hive, ("weight",))
    assert kg == pytest.approx(SUPER_KG + 0.6, abs=0.1)  # without a counter nobody knows
    kg, move = added(hive, ("weight", "bees-in", "bees-out"))
    assert kg == pytest.approx(SUPER_KG, abs=0.1)
    assert move.size_kg > SUPER_KG + 0.4


def test_a_counter_is_not_believed_within_its_own_error(made_up_hive):
    hive = with_super(made_up_hive, traffic=20_000.0)
    hive.series["bees-in"] *= 1.1
    kg, _ = added(hive, ("weight", "bees-in", "bees-out"))
    assert kg == pytest.approx(SUPER_KG, abs=0.1)
