"""The nest's published warmth with brood and without, held against what is said of it.

Sources, one beside each check:
- Brood: 34.5 +- 1.5 Cel (MLU Halle, after Kronenberg and Heller 1982); 33 to 36 Cel:
  A. Stabentheiner et al. (2010), PLoS ONE 5(1):e8967; M. Kleinhenz et al. (2003), J. Exp. Biol.
  206:4217; 34 to 36 Cel for pupae: W. G. Meikle et al. (2017), doi:10.1007/s13592-017-0512-8.
- Under 32 Cel for long, bees are malformed: Himmer (1932), as quoted in J. Comp. Physiol. A (2021),
  doi:10.1007/s00359-021-01464-8.
- Without brood: winter core 20 to 22 Cel (popular); mean 21.3 Cel: Fahrenholz et al. (1989), from
  memory; edge of the cluster down to 10 Cel: Seeley (2010), in the BEEBOOK.
- D. Cook et al. (2022), J. Econ. Entomol. 115:715: hives without bees are 5.5 K cooler in the mean,
  swing further and peak earlier.
- Egg 3, larva 6, capped 12 days: table of development (QDPI, as quoted).
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from nests import DAY_S, MadeUpNest, day_of

from hivewatch.detect import dead_out, nest
from hivewatch.signals.brood import over_bound_k, turns_of
from hivewatch.signals.window import HiveWindow, Series

AIR_CEL = [-10.0, 0.0, 8.0, 15.0, 22.0]
WITH_BROOD_CEL = [33.0, 34.5, 36.0]
WITHOUT_CEL = [10.0, 20.0, 21.3, 22.0]


def held(at_cel: float, air_cel: float, spread_k: float = 0.3) -> HiveWindow:
    """Give a nest held at a warmth, whatever the air does; in winter, when there may be either."""
    made = MadeUpNest(first="2026-01-20", days=12, air_cel=air_cel)
    window = made.window(("nest", "ambient"))
    noise = np.random.default_rng(5).normal(0, spread_k, len(made.time_s))
    series = dict(window.series)
    series["nest"] = Series(made.time_s, at_cel + noise)
    return HiveWindow(window.hive, window.yard, window.as_of_s, series)


@pytest.mark.parametrize("air_cel", AIR_CEL)
@pytest.mark.parametrize("at_cel", WITH_BROOD_CEL)
def test_a_nest_in_the_published_range_is_one_with_brood(at_cel, air_cel):
    over_k = over_bound_k(held(at_cel, air_cel))
    assert (over_k[~np.isnan(over_k)] > 0).all()


@pytest.mark.parametrize("air_cel", AIR_CEL)
@pytest.mark.parametrize("at_cel", WITHOUT_CEL)
def test_a_cluster_as_warm_as_published_is_one_without(at_cel, air_cel):
    over_k = over_bound_k(held(at_cel, air_cel))
    assert (over_k[~np.isnan(over_k)] < 0).all()


@pytest.mark.parametrize("winter_cel", [20.0, 21.3, 22.0])
@pytest.mark.parametrize("brood_cel", WITH_BROOD_CEL)
def test_from_a_winter_core_to_a_brood_nest_is_one_onset(limits, winter_cel, brood_cel):
    made = MadeUpNest(first="2026-01-20", days=60, air_cel=4)
    window = made.window(("nest", "ambient"))
    place = (made.time_s - made.start_s) / DAY_S
    level = np.where(place < 30, winter_cel, brood_cel)
    noise = np.random.default_rng(5).normal(0, 0.3, len(level))
    series = {**window.series, "nest": Series(made.time_s, level + noise)}
    window = HiveWindow(window.hive, window.yard, window.as_of_s, series)
    (turn,) = turns_of(window)
    assert turn.is_onset  # to the day: warmth is judged by whole days
    assert (turn.start_s - made.start_s) / DAY_S == pytest.approx(30, abs=1)
    # the dates that follow: the egg was laid 3 days before the larva, the bee comes out on day 21
    (one,) = (one for one in nest.find(window, (), limits) if one.kind == "brood_onset")
    day = date(2026, 1, 20) + timedelta(days=round(day_of(made, one.start_s)))
    assert one.measures["first_eggs_day"] == (day - timedelta(days=3)).isoformat()
    assert one.measures["first_bees_day"] == (day + timedelta(days=6 + 12)).isoformat()


@pytest.mark.parametrize(
    ("low_cel", "is_told"), [(33.0, False), (32.4, False), (30.0, True), (26.0, True)]
)
def test_a_night_under_32_is_chilled_brood_and_one_in_the_wider_range_is_not(
    limits, low_cel, is_told
):
    made = MadeUpNest(first="2026-05-20", days=30, air_cel=14)
    made.add(made.at(20, 20), made.at(21, 8), low_cel - 34.8, hours=0.5)
    found = nest.find(made.window(), (), limits)
    assert [one.kind for one in found] == (["chilled_brood"] if is_told else [])


@pytest.mark.parametrize("level_cel", [34.5, 36.0])
@pytest.mark.parametrize("above_k", [0.0, 0.9])
def test_a_hot_afternoon_within_the_published_range_is_no_overheating(limits, level_cel, above_k):
    made = MadeUpNest(first="2026-06-20", days=30, air_cel=26)
    window = made.window()
    hour = (made.time_s - made.start_s) / 3600 % 24
    value = level_cel + above_k * np.clip(np.sin((hour - 9) / 24 * 2 * np.pi), 0, None)
    series = {**window.series, "nest": Series(made.time_s, value)}
    window = HiveWindow(window.hive, window.yard, window.as_of_s, series)
    assert nest.find(window, (), limits) == []


def test_a_hive_that_goes_as_published_from_living_to_empty_is_dead(limits):
    # warmer than the air by 5.5 K in the mean and flat; then as the air, with all of its swing
    made = MadeUpNest(first="2026-05-20", days=40, air_cel=15, swing_k=6)
    window = made.window(("nest", "ambient"))
    air = window.of("ambient").value
    lives = made.time_s < made.at(20)
    value = np.where(lives, air.mean() + 5.5 + 0.3 * (air - air.mean()), air)
    noise = np.random.default_rng(2).normal(0, 0.1, len(air))
    series = {**window.series, "nest": Series(made.time_s, value + noise)}
    window = HiveWindow(window.hive, window.yard, window.as_of_s, series)
    (one,) = dead_out.find(window, (), limits)
    assert day_of(made, one.start_s) == pytest.approx(20, abs=1)
    assert day_of(made, one.detected_s) <= 23
    early = window.at(made.at(20))
    assert dead_out.find(early, (), limits) == []
