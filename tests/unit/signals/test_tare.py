"""What a hive weighs besides its honey: an ordinary colony's course, moved by what was counted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hivewatch.inspections import Inspection
from hivewatch.signals import tare
from hivewatch.signals.days import days_of
from hivewatch.signals.larder import larder_of

DAY_S = 86_400
EMPTY_KG = 21.5


def lived(made_up_hive, days=40, latitude=None):
    """A hive, its window and its days."""
    made = made_up_hive(days=days, empty_kg=EMPTY_KG, step_s=1800)
    window = made.window()
    if latitude is not None:
        window = replace(window, yard=replace(window.yard, latitude=latitude))
    return made, window, days_of(window)


def visit(window, days, at, **told):
    moment = np.datetime64(int(days.start_s[at]) + DAY_S // 2, "s").item().isoformat() + "+00:00"
    return Inspection.model_validate({"hive": window.hive.id, "at": moment, **told}, strict=False)


def colony(window, days, *seen, cold=None):
    is_cold = np.zeros(len(days), np.bool_) if cold is None else cold
    return tare.colony_of(window, days, is_cold, seen)


def test_a_cluster_is_smaller_than_a_colony_in_june(made_up_hive) -> None:
    _, window, days = lived(made_up_hive)
    cold = colony(window, days, cold=np.ones(len(days), np.bool_))
    warm = colony(window, days)
    assert cold.bees[25:].max() == tare.BEES[0] < warm.bees[-1]
    assert cold.capped[25:].max() < warm.capped[-1] / 2


def test_after_a_long_winter_it_grows_bit_by_bit(made_up_hive) -> None:
    """No bee is older than its egg: three weeks to the first, common practice, no source."""
    _, window, days = lived(made_up_hive, days=60)
    cold = np.arange(len(days)) < 30
    kg = colony(window, days, cold=cold).kg()[25:]
    assert np.all(np.diff(kg) >= 0)
    assert np.diff(kg).max() < 0.1  # kilograms do not appear overnight


def test_a_cold_week_in_spring_costs_neither_bees_nor_brood(made_up_hive) -> None:
    _, window, days = lived(made_up_hive)
    cold = (np.arange(len(days)) >= 15) & (np.arange(len(days)) < 23)
    assert colony(window, days, cold=cold).kg() == pytest.approx(colony(window, days).kg())


def test_the_south_has_its_summer_half_a_year_later(made_up_hive) -> None:
    _, north, days = lived(made_up_hive)
    _, south, _ = lived(made_up_hive, latitude=-36.0)
    assert colony(south, days).bees[-1] < colony(north, days).bees[-1]


def test_a_count_tells_most_on_its_day_and_less_as_it_grows_old(made_up_hive) -> None:
    _, window, days = lived(made_up_hive, days=60)
    usual = colony(window, days).bees
    counted = colony(window, days, visit(window, days, 10, adults=40_000)).bees
    assert counted[:10] == pytest.approx(usual[:10])
    off = (counted - usual)[11:]
    assert off[0] == pytest.approx(0.9 * (40_000 / tare.HOME_SHARE - usual[10]), rel=0.06)
    assert np.all(np.diff(off) < 0)
    assert off[-1] > 0


def test_two_counts_are_weighed_together(made_up_hive) -> None:
    _, window, days = lived(made_up_hive)
    one = visit(window, days, 10, adults=30_000)
    two = visit(window, days, 13, adults=40_000)
    both = colony(window, days, one, two).bees[15]
    assert colony(window, days, one).bees[15] < both < colony(window, days, two).bees[15]


def test_what_a_visit_judged_is_weighed_with_the_empty_hive_by_its_error(made_up_hive) -> None:
    """Inverse variances: 0.7 kg of the sum of its parts, 0.4 kg and 20 % of honey by eye."""
    made, window, days = lived(made_up_hive, days=20)
    made.series["weight"][:] = 40.0
    window = made.window()
    seen = visit(window, days, 8, stores_kg=10.0)
    before, after = larder_of(window, []).stores_kg[9], larder_of(window, [seen]).stores_kg[9]
    eye = 0.4 + 0.2 * 10.0
    share = 0.7**2 / (0.7**2 + eye**2)
    assert after - before == pytest.approx(share * (10.0 - before), abs=0.1)


def test_what_a_visit_judged_while_the_hive_lay_beside_its_scale_tells_no_weight(
    made_up_hive,
) -> None:
    made = made_up_hive(days=30, empty_kg=EMPTY_KG, flow_kg=0.0)
    made.fall(made.at(10, 1), 0.3, until_s=made.at(14, 10))
    window = made.window()
    lying = visit(window, days_of(window), 12, stores_kg=9.0)
    alone, judged = larder_of(window, []).stores_kg, larder_of(window, [lying]).stores_kg
    assert judged[18] == pytest.approx(alone[18])


def test_who_counts_bees_by_day_leaves_out_those_in_the_field(made_up_hive) -> None:
    """Own choice: a third of the foragers, who are a quarter of the colony."""
    _, window, days = lived(made_up_hive)
    at_home = 0.92 * colony(window, days).bees[10]
    counted = colony(window, days, visit(window, days, 10, adults=round(at_home))).bees
    assert counted[11] == pytest.approx(colony(window, days).bees[11], rel=0.001)


def test_without_an_empty_weight_and_without_a_visit_nothing_is_known(made_up_hive) -> None:
    window = made_up_hive(days=10).window()
    assert np.isnan(larder_of(window, []).stores_kg).all()
