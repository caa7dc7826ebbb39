"""A day on which nothing happens, for the tests of the colony."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from hivewatch.comb.rates import Day
from hivewatch.comb.start import DaysOf


def plain_day(flying: float = 1.0, growth: float = 1.0) -> Day:
    """Give a summer's day without a flow."""
    flying_part, flow_kg, winter_share, season_growth = (
        np.full((1, 1), one, np.float32) for one in (flying, 0.0, 0.0, growth)
    )
    return Day(flying_part, flow_kg, winter_share, season_growth)


def plain_days(flying: float) -> DaysOf:
    """Give such a day for each date."""

    def days_of(dates: Sequence[date]) -> list[Day]:
        return [plain_day(flying) for _ in dates]

    return days_of
