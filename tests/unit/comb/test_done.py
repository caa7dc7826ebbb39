"""What somebody did to a colony, in the outlook."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from hivewatch.comb import CombCount
from hivewatch.comb.outlook import Hive, Outlook, look_ahead
from hivewatch.comb.start import Visit

DAY = date(2026, 6, 1)
COUNT = CombCount(4200, 8000, 14000)


def ahead(*done: str, day: date = DAY, after: int = 1, later: tuple[Visit, ...] = ()) -> Outlook:
    counted = Visit(day, COUNT, 28000, None, done)
    seen = look_ahead(Hive("h", 48.0, seed=7), [counted, *later], day + timedelta(days=after))
    assert seen is not None
    return seen


def test_a_split_takes_bees_and_brood_and_widens_the_range() -> None:
    whole, rest = ahead(), ahead("split")
    assert 0.55 <= rest.adults[0].median / whole.adults[0].median <= 0.85
    assert 0.45 <= rest.brood["capped"].median / whole.brood["capped"].median <= 0.75
    wide, narrow = rest.adults[0], whole.adults[0]
    assert wide.high / wide.low > narrow.high / narrow.low
    assert rest.laying[0].median == pytest.approx(whole.laying[0].median, rel=0.1)  # she stays


def test_a_split_written_without_a_count_counts_too() -> None:
    split = Visit(DAY + timedelta(days=3), None, None, None, ("split",))
    whole, rest = ahead(after=4), ahead(after=4, later=(split,))
    assert rest.adults[0].median < 0.85 * whole.adults[0].median
    assert rest.visit.day == DAY  # the count that it rests on is the old one


def test_united_hives_are_more_bees() -> None:
    assert 1.2 <= ahead("united").adults[0].median / ahead().adults[0].median <= 2.0


@pytest.mark.parametrize(
    ("what", "silent", "lays"), [("requeened", 2, 11), ("queen caged", 20, 26)]
)
def test_no_eggs_until_the_queen_lays_again(what: str, silent: int, lays: int) -> None:
    seen = ahead(what, after=0)
    assert seen.laying[silent].median == 0.0
    if lays <= 21:
        assert seen.laying[lays].low > 500.0
    else:
        assert ahead(what, after=lays).laying[0].low > 400.0


def test_a_hive_requeened_in_april_lays_soon() -> None:
    day = date(2026, 4, 12)
    bare = Visit(day, CombCount(0, 0, 3000), 12000, None, ("requeened",))
    seen = look_ahead(Hive("h", 48.0, seed=7), [bare], day + timedelta(days=1))
    assert seen is not None
    assert seen.laying[14].low > 200.0
