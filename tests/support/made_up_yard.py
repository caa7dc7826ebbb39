"""A yard of hives on made-up days, for what looks at several hives: nothing of the simulators."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Literal

import numpy as np

from hivewatch.apiary import Yard
from hivewatch.signals.days import Days
from hivewatch.signals.local_days import local_midnights_s

YARD = Yard("hazel-end", "Hazel End", 52.2, 0.12, "Europe/London")
FIRST = date(2026, 5, 1)


def days_with(first: date, count: int, **figures: np.ndarray) -> Days:
    """Make days without rain or steps, of whose other figures only these are known."""
    start_s = local_midnights_s(YARD, first, count + 1)
    unknown = {
        name: np.full(count, np.nan)
        for name in Days.__dataclass_fields__
        if name not in {"day", "start_s", "steps"}
    }
    known = {
        "rise_s": start_s[:-1] + 5.0 * 3600,
        "set_s": start_s[:-1] + 20.0 * 3600,
        "dawn_s": start_s[:-1] + 4.5 * 3600,
        "dusk_s": start_s[:-1] + 22.5 * 3600,
        "step_kg": np.zeros(count),
        "night_mm": np.zeros(count),
        "dusk_mm": np.zeros(count),
        "rain_mm": np.zeros(count),
    }
    day = tuple(first + timedelta(days=i) for i in range(count))
    return Days(day=day, start_s=start_s, steps=(), **(unknown | known | figures))


def made_up_days(
    gain_kg: Sequence[float],
    *,
    rain_mm: Sequence[float] | None = None,
    rain_ends: Literal["by noon", "by dusk"] | None = "by dusk",
    flying_h: float = 8.0,
    seed: int = 0,
    spread_kg: float = 0.08,
) -> Days:
    """Make days of one hive that gain this much; the last day's dawn is known, its gain is not.

    Rain that ends by noon has dried by dusk; where nobody says when it ends, no gauge hears of it
    but in the day's sum.
    """
    rng = np.random.default_rng(seed)
    n = len(gain_kg) + 1
    gain = np.append(np.array(gain_kg) + rng.normal(0, spread_kg, n - 1), np.nan)
    rain = np.zeros(n) if rain_mm is None else np.append(rain_mm, 0.0)
    at_dusk = {"by dusk": rain, "by noon": np.zeros(n), None: np.full(n, np.nan)}[rain_ends]
    night = np.append(0.3 * np.maximum(gain[:-1], 0) + 0.05, np.nan)
    return days_with(
        FIRST,
        n,
        dawn_kg=40.0 + np.append(0.0, np.cumsum(gain[:-1])),
        gain_kg=gain,
        day_kg=gain + night,
        night_kg=night,
        rain_mm=rain,
        dusk_mm=at_dusk,
        night_mm=np.append(0.0, at_dusk[:-1]),
        flying_h=np.full(n, flying_h),
    )


def yard_of(gain_kg: Sequence[float], hives: int = 4, **more: object) -> dict[str, Days]:
    return {f"hazel-{i}": made_up_days(gain_kg, seed=i, **more) for i in range(hives)}


def day_of(time_s: int) -> int:
    """Give the place of a day in the made-up season."""
    local = datetime.fromtimestamp(time_s, UTC) + timedelta(hours=1)
    return (local.date() - FIRST).days


def cut(days: Days, count: int) -> Days:
    """Give the days up to the dusk of the last one."""
    part = {
        name: getattr(days, name)[:count]
        for name in Days.__dataclass_fields__
        if name not in ("start_s", "steps")
    }
    return replace(days, **part, start_s=days.start_s[: count + 1])
