"""What a colony eats, against published consumption.

Summer: constants gathered by Becher et al. 2014 (J. Appl. Ecol. 51:470-482): 11 mg of honey a day
for a bee, 65.4 mg for a larva in six days, 14.14 mg a day for keeping a cell warm. Worked out there
from: 20,000 bees and 1,500 eggs a day take 220.0 + 98.1 + 445.4 = 763.5 g a day.
Winter: two scale hives, 1 to 1.5 kg a month, 33 to 50 g a day (quarrylifeaward.cz 2018, popular);
56 g a day in a Danish November and December (popular). A winter as a whole: 20 kg and more (Seeley
and Visscher 1985, from memory); 15 to 20 kg are fed for (common practice, no source).
"""

from __future__ import annotations

from datetime import date

import pytest

from hivewatch.comb.held import Held
from hivewatch.comb.need import eaten_kg, need_of
from hivewatch.comb.reading import Range


def test_a_summers_day_is_as_published() -> None:
    grams = 1000 * eaten_kg(20_000, 6 * 1500, 21 * 1500, date(2026, 7, 1), 47.0)
    assert grams == pytest.approx(763.5, abs=0.1)
    assert 1000 * eaten_kg(20_000, 0, 0, date(2026, 7, 1), 47.0) == pytest.approx(220.0)


@pytest.mark.parametrize("bees", [10_000, 12_500, 15_000])
def test_a_winters_day_is_as_scales_show(bees: float) -> None:
    grams = 1000 * eaten_kg(bees, 0, 0, date(2026, 12, 20), 56.0)
    assert 33 <= grams <= 56


def test_a_winter_takes_what_keepers_feed_for_it() -> None:
    adults = {ahead: Range(2e4, 2e4, 2e4) for ahead in range(22)}
    for latitude in (47.0, 52.0, 60.0):
        winter = need_of(Held(), adults, {}, date(2026, 8, 15), latitude).winter
        assert winter is not None
        assert 15 <= winter.need_kg <= 25
