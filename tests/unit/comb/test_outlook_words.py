"""What the outlook says of hives that are not as usual."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from hivewatch.comb import CombCount
from hivewatch.comb.outlook import Hive, Outlook, look_ahead
from hivewatch.comb.outlook_words import describe_outlook
from hivewatch.comb.start import Visit

HIVE = Hive("millrace-1", 52.2, seams=10, bees_a_seam=2264, seed=5)
JUNE = date(2026, 6, 1)


def ahead(*visits: Visit, days: int = 1) -> Outlook:
    found = look_ahead(HIVE, visits, max(visit.day for visit in visits) + timedelta(days=days))
    assert found is not None
    return found


def said(*visits: Visit, days: int = 1) -> str:
    return " ".join(describe_outlook(ahead(*visits, days=days)))


def test_where_no_eggs_are_laid_the_next_look_for_them_is_said() -> None:
    waits = said(Visit(JUNE, CombCount(0, 3000, 17000), 14000))
    assert "Eggs are likely again from about" in waits
    bare = said(Visit(JUNE, CombCount(0, 0, 0), 12000))
    assert "look for them and for queen cells within 4 days" in bare
    assert "again" not in said(Visit(date(2026, 11, 1), CombCount(0, 0, 0), 10000))
    assert "likely again" not in said(Visit(JUNE, CombCount(4500, 9000, 18000), 30000))


def test_a_queen_that_somebody_caged_is_not_looked_for() -> None:
    caged = Visit(JUNE, CombCount(3000, 6000, 14000), 30000, done=("queen caged",))
    assert "queen cells" not in said(caged)


def test_a_count_that_cannot_be_true_is_not_said_to_be_none() -> None:
    words = said(Visit(JUNE, CombCount(12000, 9000, 18000), 30000))
    assert "would take more eggs than a queen lays" in words
    assert "Nobody counted the brood" not in words


def test_brood_that_nobody_looked_for_is_not_said_to_be_missing() -> None:
    looked = Visit(JUNE, CombCount(eggs=0), 20000)
    found = ahead(looked)
    assert found.laying[-1].high == 0
    assert found.brood["capped"].median > 1000
    assert "no open brood" not in " ".join(describe_outlook(found))
    assert ahead(Visit(JUNE, CombCount(0, 0, 0), 20000)).brood["capped"].high == 0
    assert ahead(Visit(JUNE, CombCount(0, 0), 20000)).brood["open"].high == 0


@pytest.mark.parametrize(("bees", "asked"), [(6000, True), (30000, False)])
def test_few_bees_on_much_brood_are_asked_about(bees: float, *, asked: bool) -> None:
    assert (
        "few bees for so much brood" in said(Visit(JUNE, CombCount(4500, 9000, 18000), bees))
    ) is asked


def test_less_than_a_seam_is_not_called_none() -> None:
    assert "less than a seam of bees" in said(Visit(JUNE, CombCount(10, 15, 5), 500))


def test_nobody_is_sent_to_open_a_hive_in_winter() -> None:
    visit = Visit(date(2026, 10, 10), CombCount(100, 300, 1500), 12000)
    assert "once they fly well in spring" in said(visit, days=52)
    assert "count again soon" in said(Visit(JUNE, CombCount(4000, 8000, 14000), 20000), days=30)
