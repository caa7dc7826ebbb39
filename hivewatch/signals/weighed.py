"""A hive's days as its yard looks at them: of today, nothing before its dusk is weighed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from hivewatch.signals.days import READ, Days
from hivewatch.signals.window import Floats

_SUMMED = READ.index("rain_mm")  # from here on what goes on until the day is over


def as_weighed(days: Days, before: Days | None = None) -> Days:
    """Give what a yard's hives say together: of today, nothing before its dusk is weighed.

    Parameters
    ----------
    before : Days or None
        What was given last; where nothing changed since, it is given again.
    """
    read = _read(days)
    if np.isnan(days.dusk_kg[-1:]).all():
        read[_SUMMED:, -1:] = np.nan
    # all other figures come of these and of the steps
    is_same = before is not None and _of_days(before) == _of_days(days)
    if before is not None and is_same and _read(before).tobytes() == read.tobytes():
        return before
    return replace(days, **dict(zip(READ, read, strict=True)))


def _of_days(days: Days) -> tuple[object, ...]:
    return days.day, days.start_s.tobytes(), days.steps


def _read(days: Days) -> Floats:
    """Give the figures that come from readings, a row each."""
    return np.array([getattr(days, name) for name in READ])
