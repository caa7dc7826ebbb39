"""How many bees and how much brood a hive holds: a book, kept between counts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hivewatch.inspections import Inspection
from hivewatch.signals import appetite
from hivewatch.signals import colony as book
from hivewatch.signals.days import days_of

DAY_S = 86_400


def lived(made_up_hive, days=40, latitude=None):
    """A hive that is not weighed, its window and its days."""
    made = made_up_hive(days=days, empty_kg=21.5, step_s=1800)
    window = made.window(("nest", "ambient"))
    if latitude is not None:
        window = replace(window, yard=replace(window.yard, latitude=latitude))
    return made, window, days_of(window)


def visit(window, days, at, **told):
    moment = np.datetime64(int(days.start_s[at]) + DAY_S // 2, "s").item().isoformat() + "+00:00"
    return Inspection.model_validate({"hive": window.hive.id, "at": moment, **told}, strict=False)


def colony(window, days, *seen, cold=None):
    is_cold = np.zeros(len(days), np.bool_) if cold is None else cold
    return book.colony_of(window, days, is_cold, seen)


def test_without_flight_for_weeks_less_is_laid(made_up_hive) -> None:
    _, window, days = lived(made_up_hive)
    cold = colony(window, days, cold=np.ones(len(days), np.bool_))
    warm = colony(window, days)
    assert cold.young[-1] < warm.young[-1] / 2
    assert cold.capped[-1] < warm.capped[-1] / 2


def test_bees_hatch_three_weeks_after_they_were_laid(made_up_hive) -> None:
    """Egg 3, open 6, capped 12 days: common practice, no source."""
    _, window, days = lived(made_up_hive)
    none = {"eggs": 0, "open": 0, "capped": 0}
    much = {"eggs": 6000, "open": 12_000, "capped": 0}
    without = colony(window, days, visit(window, days, 5, brood=none))
    with_it = colony(window, days, visit(window, days, 5, brood=much))
    more = with_it.bees - without.bees
    assert more[17] == pytest.approx(0, abs=300)
    assert more[28] > 8000
    assert with_it.young[6] > 3 * without.young[6]


def test_what_lies_in_the_combs_is_added_up_right(made_up_hive) -> None:
    _, window, days = lived(made_up_hive)
    brood = {"eggs": 3000, "open": 7000, "capped": 14_000}
    found = colony(window, days, *(visit(window, days, at, brood=brood) for at in (4, 5, 6, 7)))
    assert found.young[8] == pytest.approx(10_000, rel=0.05)
    assert found.capped[8] == pytest.approx(14_000, rel=0.05)
    kg = found.bees * book.BEE_KG + found.young * book.YOUNG_KG + found.capped * book.CAPPED_KG
    assert found.kg() == pytest.approx(kg)


def test_a_cold_week_in_spring_costs_no_brood(made_up_hive) -> None:
    _, window, days = lived(made_up_hive)
    cold = (np.arange(len(days)) >= 15) & (np.arange(len(days)) < 23)
    assert colony(window, days, cold=cold).capped == pytest.approx(colony(window, days).capped)


def test_in_winter_bees_live_for_months(made_up_hive) -> None:
    """Six months, and five weeks in summer: common practice, no source."""
    _, window, days = lived(made_up_hive, days=60)
    none = {"eggs": 0, "open": 0, "capped": 0}
    empty = [visit(window, days, at, adults=20_000, brood=none) for at in range(5)]
    _, southern, _ = lived(made_up_hive, days=60, latitude=-52.2)  # May: there it is November
    cold, warm = colony(southern, days, *empty).bees, colony(window, days, *empty).bees
    assert cold[20] / cold[6] > 0.85
    assert warm[20] / warm[6] < 0.75


def test_the_south_has_its_summer_half_a_year_later(made_up_hive) -> None:
    _, north, days = lived(made_up_hive)
    _, south, _ = lived(made_up_hive, latitude=-36.0)
    assert colony(south, days).bees[-1] < colony(north, days).bees[-1] / 1.5


def test_near_the_equator_it_is_as_great_all_year(made_up_hive) -> None:
    _, window, days = lived(made_up_hive, latitude=5.0)
    laid = colony(window, days).young
    assert laid[-1] == pytest.approx(laid[0], rel=0.01)


def test_a_count_tells_as_much_as_the_book_was_in_doubt(made_up_hive) -> None:
    _, window, days = lived(made_up_hive)
    usual = colony(window, days)
    once = colony(window, days, visit(window, days, 10, adults=60_000))
    assert once.bees[:10] == pytest.approx(usual.bees[:10])
    share = book.BEES_DOUBT**2 / (book.BEES_DOUBT**2 + book.BEES_COUNT**2)
    told = np.log(60_000 / book.HOME_SHARE / usual.bees[11])
    assert np.log(once.bees[11] / usual.bees[11]) == pytest.approx(share * told, abs=0.02)
    assert once.error_kg[11] < usual.error_kg[11]
    assert once.error_kg[11] < once.error_kg[39]  # a day adds to it


def test_two_counts_are_weighed_together(made_up_hive) -> None:
    _, window, days = lived(made_up_hive)
    one = visit(window, days, 10, adults=30_000)
    two = visit(window, days, 13, adults=45_000)
    both = colony(window, days, one, two).bees[15]
    assert colony(window, days, one).bees[15] < both < colony(window, days, two).bees[15]


def test_who_counts_bees_by_day_leaves_out_those_in_the_field(made_up_hive) -> None:
    """Own choice: a third of the foragers, who are a quarter of the colony."""
    _, window, days = lived(made_up_hive)
    at_home = 0.92 * colony(window, days).bees[11]
    counted = colony(window, days, visit(window, days, 10, adults=round(at_home))).bees
    assert counted[11] == pytest.approx(colony(window, days).bees[11], rel=0.001)


def test_a_swarm_takes_bees_and_leaves_a_break_in_the_brood(made_up_hive) -> None:
    made = made_up_hive(days=45, empty_kg=21.5, flow_kg=0.0)
    made.series["weight"][:] = 40.0  # nothing is eaten, so that nights say nothing
    made.add(made.at(20, 13), -2.0, minutes=12)
    window = made.window()
    days = days_of(window)
    found = colony(window, days)
    left = found.bees[20] - found.bees[21]
    assert left == pytest.approx(book.BEES_SHARE * 2.0 / book.BEE_KG, rel=0.15)
    assert found.young[28] < found.young[20] / 3
    assert found.young[44] > found.young[28]


def test_what_is_too_light_for_a_first_swarm_is_a_cast_or_none(made_up_hive) -> None:
    after = {}
    for first_kg in (0.0, -2.0):
        made = made_up_hive(days=45, empty_kg=21.5, flow_kg=0.0)
        made.series["weight"][:] = 40.0
        made.add(made.at(12, 13), first_kg, minutes=12)
        made.add(made.at(20, 13), -0.8, minutes=12)
        window = made.window()
        found = colony(window, days_of(window))
        after[first_kg] = found.bees[20] - found.bees[21], found.young[28] / found.young[11]
    assert after[-2.0][0] > after[0.0][0] + 4000
    assert after[0.0][1] > 0.9
    assert after[-2.0][1] < 0.4


@pytest.mark.parametrize("share", [0.4, 2.0])
def test_the_nights_loss_tells_how_great_a_colony_is(made_up_hive, share) -> None:
    """W. G. Meikle et al. (2008), Apidologie 39:694: the day's course tells what is consumed."""
    made = made_up_hive(days=45, empty_kg=21.5, step_s=1800, flow_kg=0.0)
    made.series["weight"][:] = 40.0
    window = made.window()
    days = days_of(window)
    usual = colony(window, days)
    needed_kg = appetite.need_kg(usual.bees[30], usual.young[30], usual.capped[30], 1.0)
    made.series["weight"] -= share * needed_kg * (made.time_s - made.time_s[0]) / DAY_S
    weighed = colony(made.window(), days_of(made.window()))
    assert abs(np.log(weighed.bees[44] / usual.bees[44] / share)) < 0.7 * abs(np.log(share))
    assert (weighed.bees[44] - usual.bees[44]) * (share - 1) > 0
    assert weighed.error_kg[44] / weighed.kg()[44] < 0.9 * usual.error_kg[44] / usual.kg()[44]
    often = [visit(window, days, at, adults=round(0.92 * usual.bees[at])) for at in range(2, 45, 3)]
    counted = colony(made.window(), days_of(made.window()), *often)
    assert abs(np.log(counted.bees[44] / usual.bees[44])) < 0.3  # counts tell it better


def test_nights_of_rain_and_a_scale_that_hardly_moves_make_no_tiny_colony(made_up_hive) -> None:
    made = made_up_hive(days=45, empty_kg=21.5, step_s=1800, flow_kg=0.0)
    made.series["weight"][:] = 40.0 - 0.3 * (made.time_s - made.time_s[0]) / DAY_S
    dry = colony(made.window(), days_of(made.window())).bees[44]
    for day in range(10, 40, 2):
        made.add(made.at(day, 2), 0.4, minutes=30)
        made.add(made.at(day, 12), -0.4, minutes=240)
    rained = colony(made.window(), days_of(made.window())).bees[44]
    assert rained == pytest.approx(dry, rel=0.1)
    made.series["weight"][:] = 40.0 - 0.001 * (made.time_s - made.time_s[0]) / DAY_S
    window = made.window()
    still, usual = colony(window, days_of(window)), lived(made_up_hive, days=45)
    assert still.bees[44] > colony(*usual[1:]).bees[44] / 5


def test_visits_that_count_nothing_change_nothing(made_up_hive) -> None:
    _, window, days = lived(made_up_hive)
    usual = colony(window, days)
    looked = colony(window, days, visit(window, days, 10, queen="seen"))
    assert all(np.array_equal(a, b) for a, b in zip(usual, looked, strict=True))
