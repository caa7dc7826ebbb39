"""Queen calendar against published tables.

Published table (QDPI, in encyclopaedias): queen capped day 7.5, emerges 15.5 to 17, mating flights
day 20 to 24, laying from day 23, all from the egg.
Winston 1987 p. 203, quoted by Becher et al. 2014 (J. Appl. Ecol. 51:470-482): no eggs before age 10
days: 5 to 6 to maturity, 2 to 4 of flights; up to 4 weeks more in bad weather.
Ramsey et al. 2020 (Sci. Rep. 10:9798): 4 to 7 days without a piping queen after the prime swarm.
"""

from __future__ import annotations

from datetime import date, timedelta

from hivewatch.comb.calendar import Due, queen_calendar

DAY = date(2026, 5, 20)


def rows(seen: str, **more: date) -> dict[str, Due]:
    return {row.what: row for row in queen_calendar(seen, DAY, **more)}  # type: ignore[arg-type]


def days(row: Due) -> tuple[int, int]:
    return (row.first - DAY).days, (row.last - DAY).days


def holds(row: Due, day: int) -> bool:
    return row.first <= DAY + timedelta(days=day) <= row.last


def test_a_prime_swarm_leaves_eggs_about_day_18_and_workers_about_day_39() -> None:
    """Computed from the two sources: emergence day 7, first eggs at age 11."""
    due = rows("swarm left")
    assert days(due["emergence"]) == (4, 8)
    assert holds(due["first eggs"], 18)
    assert holds(due["first new workers"], 39)


def test_a_queen_lost_at_once_is_followed_by_eggs_from_day_18_to_20() -> None:
    """Computed: a larva of at most 36 h is day 3 to 4.5; 16 and 23 days from the egg."""
    due = rows("queen lost")
    assert holds(due["emergence"], 12)
    assert holds(due["emergence"], 13)
    assert due["first eggs"].first == DAY + timedelta(days=18)
    assert holds(due["first eggs"], 20)


def test_an_egg_in_a_queen_cell_follows_the_table() -> None:
    due = rows("cell with egg")
    assert days(due["emergence"]) == (12, 17)
    for day in (20, 24):
        assert holds(due["mating"], day)
    assert holds(due["first eggs"], 23)


def test_caged_brood_runs_out_on_days_3_9_and_21() -> None:
    """Common practice, no source; drones on day 24."""
    due = rows("queen caged")
    assert days(due["no eggs left"]) == (3, 3)
    assert days(due["no open brood left"])[0] == 9
    assert days(due["no brood left"]) == (21, 24)
