"""Queen calendar: order, ranges, and what is not known when."""

from __future__ import annotations

import itertools
from datetime import date, timedelta
from typing import get_args

import pytest

from hivewatch.comb.calendar import Due, Seen, queen_calendar

DAY = date(2026, 5, 20)
ALL = get_args(Seen)
YOUNG = [seen for seen in ALL if seen not in ("queen caged", "requeened")]


def rows(seen: str, since: date | None = None) -> dict[str, Due]:
    return {row.what: row for row in queen_calendar(seen, DAY, since)}  # type: ignore[arg-type]


@pytest.mark.parametrize("seen", ALL)
def test_rows_are_in_order_and_each_has_a_source(seen: str) -> None:
    listed = queen_calendar(seen, DAY)  # type: ignore[arg-type]
    assert listed
    assert [row.first for row in listed] == sorted(row.first for row in listed)
    assert len({row.what for row in listed}) == len(listed)
    for row in listed:
        assert row.first <= row.last
        assert row.source


@pytest.mark.parametrize("seen", YOUNG)
def test_a_queen_emerges_then_mates_then_lays_then_has_workers(seen: str) -> None:
    due = rows(seen)
    order = [due[w] for w in ("emergence", "mating", "first eggs", "first new workers")]
    for before, after in itertools.pairwise(order):
        assert before.first < after.first
        assert before.last < after.last
    assert due["first new workers"].first - due["first eggs"].first == timedelta(days=21)


@pytest.mark.parametrize("seen", YOUNG)
def test_nobody_is_sent_to_look_while_the_hive_should_stay_shut(seen: str) -> None:
    due = rows(seen)
    shut = due["do not open"]
    assert shut.first <= due["mating"].first
    assert shut.last >= due["mating"].last
    assert due["look for eggs"].first > shut.last
    if "look for cells" in due:
        assert due["look for cells"].last < shut.first
    assert due["failed if no eggs"].first > due["first eggs"].last


@pytest.mark.parametrize("seen", ALL)
def test_not_knowing_the_day_only_widens(seen: str) -> None:
    sure = rows(seen)
    unsure = rows(seen, DAY - timedelta(days=5))
    for what, row in sure.items():
        assert unsure[what].first <= row.first
        assert unsure[what].last == row.last


def test_a_day_after_the_day_is_refused() -> None:
    with pytest.raises(ValueError, match="since"):
        queen_calendar("swarm left", DAY, DAY + timedelta(days=1))


def test_a_new_queen_is_left_alone_before_her_eggs_are_looked_for() -> None:
    due = rows("requeened")
    assert due["look for eggs"].first > due["do not open"].last
    assert "mating" not in due


def test_a_caged_queen_is_let_out_when_the_brood_has_emerged_and_then_looked_after() -> None:
    due = rows("queen caged")
    assert due["free the queen"].first == due["no brood left"].first
    assert due["free the queen"].last > due["no brood left"].last
    assert due["look for cells"].last < due["free the queen"].first
    assert due["first eggs"].first > due["free the queen"].first
    assert due["look for eggs"].first > due["free the queen"].last
    assert due["failed if no eggs"].first > due["look for eggs"].last
    assert "mating" not in due


NAMED = {
    "capped cell": ("emergence", "mating", "first eggs", "do not open", "look for eggs"),
    "swarm left": ("emergence", "mating", "first eggs", "do not open", "look for eggs"),
    "queen caged": ("free the queen", "first eggs", "look for eggs", "no brood left"),
    "requeened": ("first eggs", "do not open", "look for eggs"),
}


@pytest.mark.parametrize("seen", NAMED)
def test_each_sighting_gives_the_dates_that_a_keeper_asks_for(seen: str) -> None:
    assert set(NAMED[seen]) <= set(rows(seen))


@pytest.mark.parametrize("seen", YOUNG)
def test_bad_weather_puts_off_mating_by_weeks_before_a_queen_is_given_up(seen: str) -> None:
    """Up to four weeks of delay: Winston 1987 p. 203, quoted by Becher et al. 2014."""
    due = rows(seen)
    assert "bad weather" in due["mating"].source
    latest = due["emergence"].last
    assert due["failed if no eggs"].last == latest + timedelta(days=28)
    assert due["failed if no eggs"].first >= due["first eggs"].last + timedelta(days=7)
