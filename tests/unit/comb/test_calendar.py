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
