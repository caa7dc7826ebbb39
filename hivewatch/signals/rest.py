"""How a nest stands to its own weeks of rest: what tells of brood wherever the probe is.

A colony that builds up warms the nest by degrees, for weeks. What the nest is warmer than the air,
as a part of what a full brood nest would be, is 0.6 without brood, and less for few bees or a probe
off the centre; with a brood nest it is half as much again, whatever it was.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hivewatch.signals.levels import middle_before
from hivewatch.signals.nest_bound import (
    FULL_CEL,
    brood_nest_cel,
    is_autumn,
    usual_air_cel,
)
from hivewatch.signals.warmth import warmth_of
from hivewatch.signals.window import Floats, HiveWindow

# Own choices; tests/unit/signals/test_brood.py.
REST_FROM, REST_TO, REST_LEAST = 42, 14, 10  # [d] the days before that were, of them known
HALF_RISEN = 1.24  # half way from rest to half as much again
HALF_PART = 0.76  # half way from a cluster of many bees, 0.62, to a brood nest that has begun, 0.9
LEAST_PART, OFF_CENTRE_PART, MOST_PART = 0.15, 0.45, 0.75  # no bees; off the centre; brood already
SINCE_DAYS, SINCE_LEAST, SINCE_MOST = 7, 5, 42  # [d] the days since brood ended, likewise
MILD_CEL = 18.0  # [Cel] in warmer air bees without brood are as warm


@dataclass(frozen=True, slots=True)
class Rest:
    """How each day's nest stands to its own weeks of rest.

    Parameters
    ----------
    part : Floats
        What the nest is warmer than the air, as a part of what a full brood nest would be.
    full_k : Floats
        What a full brood nest would be warmer than the air; NaN in mild air. [K]
    half : Floats
        The part that is half way from rest to brood; NaN where no rest is known.
    """

    part: Floats
    full_k: Floats
    half: Floats

    def risen_k(self, half: Floats | float) -> Floats:
        """Give how far each day is over half way, as a probe in the brood nest would. [K]."""
        return np.asarray((self.part / half - 1) * HALF_PART * self.full_k)

    def risen_since_k(self, day: int) -> Floats:
        """Give how far each day is over half way from the coolest week since brood ended. [K].

        A nest of few bees in which a young queen lays is no full brood nest for weeks. 0 in mild
        air; NaN where no such week is known, and later than `SINCE_MOST` days.
        """
        risen_k = np.full(len(self.part), np.nan)
        since = slice(day + 1, day + 1 + SINCE_MOST)
        rest = middle_before(self.part[since], SINCE_DAYS, 0, SINCE_LEAST)
        rest[(rest < LEAST_PART) | (rest > MOST_PART)] = np.nan
        half = np.minimum(HALF_RISEN * np.fmin.accumulate(rest), HALF_PART)
        risen_k[since] = (self.part[since] / half - 1) * HALF_PART * self.full_k[since]
        risen_k[since][np.isnan(self.part[since]) & ~np.isnan(half)] = 0.0
        return risen_k


def rest_of(window: HiveWindow) -> Rest:
    """Hold each day's nest against its own weeks before."""
    warmth = warmth_of(window)
    air = np.where(np.isnan(warmth.ambient_cel), usual_air_cel(window), warmth.ambient_cel)
    with np.errstate(invalid="ignore"):
        full_k = np.where(air < MILD_CEL, FULL_CEL - air, np.nan)
        part = (brood_nest_cel(window) - air) / full_k
        rest = middle_before(part, REST_FROM, REST_TO, REST_LEAST)
        is_off = rest < OFF_CENTRE_PART
        half = np.where(is_off, HALF_RISEN * rest, np.minimum(HALF_RISEN * rest, HALF_PART))
        half[np.isnan(rest) & ~is_autumn(window)] = HALF_PART
        half[(rest < LEAST_PART) | (rest > MOST_PART) | (is_off & is_autumn(window))] = np.nan
    return Rest(part, full_k, half)
