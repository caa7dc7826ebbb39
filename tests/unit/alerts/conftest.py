"""Days for the stories."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from alert_story import NIGHT, Day

from hivewatch.settings import Quiet


@pytest.fixture
def a_day(tmp_path: Path) -> Iterator[Callable[..., Day]]:
    days: list[Day] = []

    def make(
        day: str = "2026-05-21T09:00",
        timezone: str = "Europe/London",
        quiet: Quiet | None = NIGHT,
    ) -> Day:
        days.append(Day(tmp_path / f"story{len(days)}.db", timezone, quiet, day))
        return days[-1]

    yield make
    for day in days:
        day.store.close()


@pytest.fixture
def day(a_day: Callable[..., Day]) -> Day:
    return a_day()
