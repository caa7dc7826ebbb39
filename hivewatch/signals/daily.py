"""What follows from a day's figures: what came in, what ripened of it, and how hive and air agree.

By day a hive gains what its foragers bring and loses what it eats, by night it loses what it eats
and the water of the nectar. What it eats alone is seen in nights after days that brought nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hivewatch.signals.carried import worked
from hivewatch.signals.days import HOUR_S, Days, days_of
from hivewatch.signals.levels import middle_before
from hivewatch.signals.warmth import Warmth, warmth_of
from hivewatch.signals.window import Floats, HiveWindow

# Own choices; tests/unit/signals/test_daily.py.
REST_DAYS = 42  # days before, of which the idle ones say what the hive eats
REST_LEAST = 3  # idle nights that say it
LEAST_HOURS = 12  # hours with nest and air that make a day's coupling
LEAST_SWING_K2 = 0.25  # [K^2] variance of the air below which nothing can follow it


@dataclass(frozen=True, slots=True)
class Daily:
    """Figures of n local days, those of `days_of`; NaN where they cannot be told.

    Parameters
    ----------
    rest_kg_per_h : Floats
        What the hive loses without income: the median of idle nights before. [kg/h]
    income_kg : Floats
        What came in by day, less what of it dried before dusk. [kg]
    ripening_kg : Floats
        What the night took beyond the usual; about 0 in a dearth, of either sign. [kg]
    coupling, coupling_error : Floats
        By how many degrees the nest follows one degree of the air within the day, and one standard
        deviation: near 0 where bees keep it, towards 1 where nobody does.
    balance_bees : Floats
        Came home less left. [bees]
    balance : Floats
        The same as a share of those that left.
    """

    rest_kg_per_h: Floats
    income_kg: Floats
    ripening_kg: Floats
    coupling: Floats
    coupling_error: Floats
    balance_bees: Floats
    balance: Floats

    def __len__(self) -> int:
        """Count the days."""
        return len(self.income_kg)


def daily_of(window: HiveWindow) -> Daily:
    """Work out what follows from a hive's days; once for each window.

    Parameters
    ----------
    window : HiveWindow
        The hive; takes `weight`, `nest` with `ambient`, `bees-in` with `bees-out`.

    Returns
    -------
    Daily
        As many days as `days_of` gives; a figure rests on its own day, the night after it, and the
        nights before it.

    References
    ----------
    Night's loss and day's gain as activity: W. G. Meikle et al. (2008), Apidologie 39:694. That
    nectar loses its water and what is left of it: mass balance. The coupling is an ordinary least
    squares slope.
    """
    return worked(window, "daily", lambda here, _: _work_out(here))


def _work_out(window: HiveWindow) -> Daily:
    """Put the figures together."""
    days = days_of(window)
    rest, income, ripening = _weighed(days)
    coupling, error = _coupling(days, warmth_of(window))
    with np.errstate(divide="ignore", invalid="ignore"):
        balance = np.where(days.bees_out > 0, days.bees_in / days.bees_out - 1, np.nan)
    return Daily(
        rest_kg_per_h=rest,
        income_kg=income,
        ripening_kg=ripening,
        coupling=coupling,
        coupling_error=error,
        balance_bees=days.bees_in - days.bees_out,
        balance=balance,
    )


def _weighed(days: Days) -> tuple[Floats, Floats, Floats]:
    """Give what the hive eats [kg/h], what came in and what ripened [kg]."""
    night_h = (np.append(days.dawn_s[1:], np.nan) - days.dusk_s) / HOUR_S
    day_h = (days.dusk_s - days.dawn_s) / HOUR_S
    idle = np.where(days.day_kg <= 0, days.night_kg / night_h, np.nan)
    rest = middle_before(idle, REST_DAYS, 0, REST_LEAST)
    return rest, days.day_kg + rest * day_h, days.night_kg - rest * night_h


def _coupling(days: Days, warmth: Warmth) -> tuple[Floats, Floats]:
    """Give how the nest follows the air within each day, and the error of it."""
    n = len(days)
    nest, air = warmth.nest_h, warmth.ambient_h
    day = days.start_s.searchsorted(warmth.hour_s, side="right") - 1
    there = ~np.isnan(nest + air) & (day >= 0) & (day < n)
    day, x, y = day[there], air[there], nest[there]
    count = np.bincount(day, minlength=n)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = x - (np.bincount(day, x, n) / count)[day]
        y = y - (np.bincount(day, y, n) / count)[day]
        xx, xy, yy = (np.bincount(day, one, n) for one in (x * x, x * y, y * y))
        slope = xy / xx
        error = np.sqrt(np.maximum(yy - slope * xy, 0.0) / (count - 2) / xx)
        told = (count >= LEAST_HOURS) & (xx / count >= LEAST_SWING_K2)
    return np.where(told, slope, np.nan), np.where(told, error, np.nan)
