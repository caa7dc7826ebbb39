"""Inspections as the outlook takes them."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from hivewatch.comb.outlook import look_ahead
from hivewatch.comb.visits import hive_of, visit_of
from hivewatch.frames import FRAMES
from hivewatch.inspections import Brood, Inspection, Side

DEEP = FRAMES["langstroth-deep"]
ZONE = ZoneInfo("Pacific/Auckland")
AT = datetime(2026, 11, 2, 20, 30, tzinfo=UTC)


def test_counts_fall_on_the_local_day() -> None:
    told = Inspection(
        hive="h", at=AT, brood=Brood(eggs=3900, open=7600, capped=15100), adults=31000
    )
    visit = visit_of(told, DEEP, ZONE)
    assert visit.day == date(2026, 11, 3)
    assert visit.count is not None
    assert visit.count.cells == (3900, 7600, 15100)
    assert visit.adults == 31000


def test_shares_of_sides_become_counts_and_what_was_not_judged_stays_unknown() -> None:
    told = Inspection(hive="h", at=AT, frames=(Side(frame=3, side="a", capped=0.5, bees=0.9),))
    visit = visit_of(told, DEEP, ZONE)
    assert visit.count is not None
    assert visit.count.cells == (None, None, round(0.5 * DEEP.side_cells))
    assert visit.adults == round(0.9 * DEEP.side_bees)


def test_a_visit_without_counts_says_nothing() -> None:
    visit = visit_of(Inspection(hive="h", at=AT, note="hefted"), DEEP, ZONE)
    assert not visit.says_something


def test_a_hive_gets_its_seams_and_a_seed_of_its_own() -> None:
    one, other = hive_of("one", -36.9, DEEP, 20), hive_of("other", -36.9, DEEP, 20)
    assert one.seed != other.seed
    assert one == hive_of("one", -36.9, DEEP, 20)
    assert one.seams == 20
    told = Inspection(
        hive="one", at=AT, brood=Brood(eggs=3900, open=7600, capped=15100), adults=31000
    )
    ahead = look_ahead(one, [visit_of(told, DEEP, ZONE)], date(2026, 11, 3))
    assert ahead is not None
    assert ahead.room.seams_of_bees is not None
    assert 12 < ahead.room.seams_of_bees < 16
