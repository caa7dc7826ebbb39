"""How many bees did not come home, day by day: by a counter against its own days before.

A counter sees the two directions differently, by a bias of its own that it keeps, so that a day's
balance is held against the days before. Foragers that are lost go out no more: on that very day
fewer fly than usual. And the scale must agree: in the evening the hive lacks a good part of what
the lost bees weigh, beside what a day without income takes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.bare import before_each
from hivewatch.signals.faults import NORMAL
from hivewatch.signals.window import Floats

# Own choices where no source is named; tests/unit/detect/test_forager_loss.py.
BEE_KG = 0.0001  # [kg] published: worker mass, constants in Becher et al. (2014)
USUAL_DAYS = 14  # days that tell a counter's bias and its spread
LEAST_DAYS = 5
LEAST_OUT = 4000.0  # [bees] of a day whose balance says something
LOST_SHARE = 0.08  # of the bees that went out; published counters agree within 0.05 (Bayer)
LOST_SPREADS = 3.5  # of the balances of the days before: once in ten years of days, if normal
ALONE_SPREADS = 5.0  # the same where no scale says anything
SCALE_SHARE = 0.5  # own choice: of what they weigh, lacking in the evening; others bring nectar
LEAST_SPREAD = 0.02  # of a balance
SPREAD, SPREAD_DAYS = 0.05, 8  # of a balance before so many [d] are known
LOST_BEES = 2000.0  # [bees] own choice: more than age takes on a summer's day, a laying of 1,500
FEWER = 0.8  # share of the usual traffic: who is lost goes out no more
PLAIN_SHARE = 0.2  # of the bees that went out: so many missing are plain without that


class Balance(NamedTuple):
    """A counter's balance of n days, NaN where unknown.

    Parameters
    ----------
    usual, usual_out : Floats
        Its own in / out, and the bees that went out, by the days before.
    share, spread : Floats
        How much less came home of those that went out, and how far that usually strays.
    lost : Floats
        The same as a number. [bees]
    is_plain : NDArray
        Whether so many are missing that the hive's own figures tell it.
    """

    usual: Floats
    usual_out: Floats
    share: Floats
    spread: Floats
    lost: Floats
    is_plain: NDArray[np.bool_]


def balance_of(out: Floats, back: Floats, day_kg: Floats, first: int = 0) -> Balance:
    """Work out the balance of each day.

    Parameters
    ----------
    out, back : Floats
        Bees that went out and came in; NaN where not all of it is known. [bees]
    day_kg : Floats
        Gained by day, NaN where nobody weighs. [kg]
    first : int
        The first day that is asked for.
    """
    seen = np.where(out >= LEAST_OUT, out, np.nan)
    ratio = back / seen
    usual = before_each(ratio, USUAL_DAYS, LEAST_DAYS, first=first)
    share = usual - ratio
    spread = NORMAL * before_each(np.abs(share), USUAL_DAYS, SPREAD_DAYS, first=first)
    usual_out = before_each(seen, USUAL_DAYS, LEAST_DAYS, first=first)
    fewer = np.sqrt(np.fmax(usual_out / seen, 1.0))  # of fewer bees each one tells more
    spread = np.where(np.isnan(spread), SPREAD, np.maximum(spread, LEAST_SPREAD) * fewer)
    lost = out * usual - back
    usual_kg = before_each(day_kg, USUAL_DAYS, LEAST_DAYS, first=first)
    lacks_kg = np.minimum(usual_kg, 0.0) - day_kg
    asked = np.where(np.isnan(lacks_kg), ALONE_SPREADS, LOST_SPREADS)
    is_plain = (
        ((out < FEWER * usual_out) | (share >= PLAIN_SHARE))
        & (share >= np.maximum(LOST_SHARE, asked * spread))
        & (lost >= LOST_BEES)
        & ~(lacks_kg < SCALE_SHARE * lost * BEE_KG)
    )
    return Balance(usual, usual_out, share, spread, lost, is_plain)
