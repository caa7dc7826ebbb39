"""What brood is left says when laying stopped, by the days of a worker; and what follows then.

Sources, one beside each check:
- Egg 3, larva 6, capped 12 days: table of development (QDPI, as quoted); Winston (1987) p. 50 as
  quoted in M. A. Becher et al. (2014), J. Appl. Ecol. 51:470. So eggs alone: laid within 3 days;
  larvae the youngest: the last egg 3 to 9 days ago; capped brood alone: 9 to 21; none: more.
- Emergency queens: a larva of at most 36 h (popular, betterbee.com), so queen age 3 to 4.5 days:
  out on day 11.5 to 13, laying from day 18.5 to 20 by the table's day 23.
- A prime swarm: first eggs on day 18, and weather adds up to four weeks (Winston 1987 p. 203).
- Bad mating is certain three to four weeks from emergence (breconshirebeekeeping.co.uk, popular).
- No eggs from three days before a prime swarm leaves: HoPoMo, as quoted by Becher et al. (2014).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from nests import DAY_S, MadeUpNest, day_of

from hivewatch.detect import queen
from hivewatch.detect.queen_visits import signs_of
from hivewatch.inspections import Inspection

EGG_D, LARVA_D, CAPPED_D = 3, 6, 12
A_DAY = 1500  # as Becher et al. take for a queen in the season, 1,600 at most


def left(days_ago: float, a_day: int = A_DAY) -> dict[str, int]:
    """Give the brood that is left so many days after the last egg."""
    edges = np.cumsum([0, EGG_D, LARVA_D, CAPPED_D])
    days = [max(0.0, high - max(low, days_ago)) for low, high in pairwise(edges)]
    return dict(zip(("eggs", "open", "capped"), (round(a_day * one) for one in days), strict=True))


def visit(nest: MadeUpNest, day: float, **more: object) -> Inspection:
    at = datetime.fromtimestamp(nest.at(0) + day * DAY_S, UTC)
    return Inspection.model_validate({"hive": "hazel-1", "at": at.isoformat(), **more})


def nest_of(stops: int | None = None, days: int = 110) -> MadeUpNest:
    """Give a nest that is warm until the last brood comes out, 21 days after the last egg."""
    nest = MadeUpNest(first="2026-04-10", days=days, air_cel=13)
    if stops is not None:
        since = np.arange(days) - stops
        share = np.clip((EGG_D + LARVA_D + CAPPED_D - since) / CAPPED_D, 0, 1)
        nest.brood = np.where(since < 0, 1.0, np.clip(4 * share, 0, 1))
    return nest


@pytest.mark.parametrize("ago", [4, 6, 8.5, 10, 14, 18, 20.5])
def test_the_brood_that_is_left_dates_the_last_egg(ago):
    nest = nest_of()
    before = visit(nest, 30, brood=left(0))
    seen = visit(nest, 30 + ago + 1, brood=left(ago), queen="not seen")
    signs = signs_of(nest.window(), [before, seen])
    assert [one.what for one in signs] == ["lays", "stopped"]
    # tolerance: cells are counted whole, and of 1,500 a day
    assert (seen.at_s - signs[1].since_s) / DAY_S == pytest.approx(ago, abs=0.1)


@pytest.mark.parametrize(("ago", "low", "high"), [(4, 3, 9), (8, 3, 9), (10, 9, 21), (20, 9, 21)])
@pytest.mark.parametrize("a_day", [700, 1200, 2000])
def test_the_youngest_stage_bounds_it_whatever_she_laid(ago, low, high, a_day):
    # nobody counted before, so that what she laid a day is not known
    nest = nest_of()
    seen = visit(nest, 50, brood=left(ago, a_day), queen="not seen")
    (sign,) = signs_of(nest.window(), [seen])
    assert sign.what == "stopped"
    assert low <= (seen.at_s - sign.since_s) / DAY_S <= high


def test_eggs_say_that_she_laid_within_three_days():
    nest = nest_of()
    (sign,) = signs_of(nest.window(), [visit(nest, 50, brood={"eggs": 2000})])
    assert sign.what == "lays"
    # and no eggs later that laying went on until then at least
    seen = visit(nest, 54, brood={"eggs": 0, "open": 9000, "capped": 18_000}, queen="not seen")
    eggs = visit(nest, 50, brood={"eggs": 2000, "open": 9000, "capped": 18_000})
    sign = signs_of(nest.window(), [eggs, seen])[-1]
    assert sign.since_s >= eggs.at_s - EGG_D * DAY_S


def test_a_hive_about_to_swarm_is_given_the_days_in_which_it_does():
    # no eggs for three days, cells, larvae: a swarm may leave first
    nest = nest_of()
    seen = visit(nest, 50, brood=left(3), queen="not seen", queen_cells={"count": 8})
    (sign,) = signs_of(nest.window(), [seen])
    assert sign.told_s - seen.at_s >= EGG_D * DAY_S


def test_the_warmth_goes_when_the_capped_brood_has_come_out(limits):
    # published: 9 to 21 days after the last egg; told within 24 of the loss
    nest = nest_of(stops=40)
    (one,) = queen.find(nest.window(), (), limits)
    assert 9 <= day_of(nest, one.detected_s) - 40 <= 24
    # tolerance: own choice; the nest cools by degrees over the days on which the last bees come out
    assert day_of(nest, one.start_s) == pytest.approx(40, abs=4)
    # an emergency queen lays from day 18.5 to 20, here to the end of that day; the bad-mating limit
    # is three to four weeks from day 11.5 to 13
    since = date.fromisoformat(str(one.measures["since_day"]))
    lays = date.fromisoformat(str(one.measures["eggs_from_day"]))
    latest = date.fromisoformat(str(one.measures["eggs_by_day"]))
    assert timedelta(days=18.5) <= lays - since <= timedelta(days=21)
    assert timedelta(days=11.5 + 21) <= latest - since <= timedelta(days=13 + 28)


@pytest.mark.parametrize("late_d", [0, 5, 10])
def test_a_young_queen_after_a_swarm_is_no_trouble_while_weather_may_keep_her(limits, late_d):
    # first eggs on day 18 and up to four weeks later; not all of them are waited for, for a hive
    # without a queen has to be told, too
    nest = nest_of(stops=37)
    again = np.clip((np.arange(nest.days) - (40 + 18 + late_d)) / 2, 0, 1)
    nest.brood = np.maximum(nest.brood, again)
    nest.lose(nest.at(40, 12), 2.0)
    assert queen.find(nest.window(), (), limits) == []
