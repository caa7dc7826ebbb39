"""What is a dearth of a yard and what is not, on made-up days: nothing of the simulators."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import made_up_yard
import numpy as np
import pytest
from made_up_yard import YARD, day_of, yard_of

from hivewatch.detect import flow
from hivewatch.detect.finding import Finding


def dearths(gain: list[float], **more: float) -> list[Finding]:
    return [one for one in flow.find(YARD, yard_of(gain, **more)) if one.kind == "dearth"]


def test_four_bad_days_that_are_over_before_they_are_told_are_no_dearth() -> None:
    """Own choice: what is told still goes on; a bloom that ended leaves some bad days."""
    gain = [0.2] * 5 + [-1.2, -1.0, -0.6, -0.3] + [-0.05] * 12
    assert not dearths(gain)
    (one,) = dearths([0.2] * 5 + [-1.2, -1.0, -0.6, -0.3] + [-0.2] * 12)
    assert day_of(one.detected_s) == 5 + flow.DEARTH_DAYS


def test_a_dearth_does_not_begin_with_a_bad_day_that_all_but_came_back_before_it() -> None:
    """What is left of it is less than the error of two dawns."""
    (one,) = dearths([0.2] * 5 + [-0.7, -0.2, 0.17, -0.06, -0.02] + [-0.3] * 20)
    assert day_of(one.start_s) == 10


@pytest.mark.parametrize(("bees", "told"), [(60_000.0, 1), (14_000.0, 0)])
def test_a_cold_week_in_which_few_bees_fly_is_no_dearth(bees: float, told: int) -> None:
    """Where nobody measures the air: a fifth of what flew before is no flying weather."""
    out = np.array([70_000.0] * 10 + [bees] * 9)
    yard = {
        hive: replace(one, bees_out=out)
        for hive, one in yard_of([0.1] * 10 + [-0.4] * 8, flying_h=np.nan).items()
    }
    found = [one for one in flow.find(YARD, yard) if one.kind == "dearth"]
    assert len(found) == told


def test_a_dearth_lasts_to_the_end_of_the_season_that_ends_it() -> None:
    """22 September, in any case: two days that bring a little shortly before do not end it."""
    days = yard_of([0.2] * 5 + [-0.3] * 200)
    (plain,) = [one for one in flow.find(YARD, days) if one.kind == "dearth"]
    last = day_of(plain.end_s)
    gain = [0.2] * 5 + [-0.3] * 200
    gain[last - 4 : last - 2] = [0.34, 0.34]
    (paused,) = [one for one in flow.find(YARD, yard_of(gain)) if one.kind == "dearth"]
    assert day_of(paused.end_s) == last


@pytest.mark.parametrize("year", [2026, 2028])
def test_the_season_ends_on_the_same_day_of_a_leap_year(monkeypatch, year) -> None:
    """22 September is its last day, whatever February had."""
    monkeypatch.setattr(made_up_yard, "FIRST", date(year, 5, 1))
    (one,) = dearths([-0.3] * 200)
    end = datetime.fromtimestamp(one.end_s, ZoneInfo(YARD.timezone))
    assert (end.month, end.day, end.hour) == (9, 23, 0)
