"""What the nest's warmth says of brood: members that it contradicts give way to those it fits."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

from hivewatch.comb.colony import Cohorts
from hivewatch.comb.stages import WORKER, Floats
from hivewatch.signals.days import Days
from hivewatch.signals.nest_bound import COLDEST_CEL, HALF_WAY_CEL, HALF_WAY_SLOPE, WARMEST_CEL

NEST_DAYS = 7  # own choice: days that count as one observation; weather lasts as long
NEST_LEAST = 4  # own choice: of them, that say the same
BROOD_CEL = (33.0, 36.5)
"""Day's mean of a nest with brood. [Cel] Published: 33 to 36 (Stabentheiner et al. 2010); 34.5 with
a spread of 1.5 (Kronenberg & Heller 1982, as quoted by MLU Halle)."""

STEADY_K = 0.8  # [K] own choice: the most that a day of it spreads, an opening with it
HOT_CEL = 27.0  # [Cel] own choice: in such air a nest is warm, whatever is in it
MILD_CEL = 15.0  # [Cel] own choice: the air, where nobody measures it
SHOWN_DAYS = 5
"""Days with the warmth of brood that a probe must have shown, before that it shows none counts: it
may stand at the wall. Own choice."""

WARMS_CELLS, WARM_ANYWAY = 500.0, 0.1
"""Open and capped brood with which all but one nest in e shows its warmth, a patch of a hand; and
the part that shows it without any. Own choices: bees without brood keep a nest near 33 Cel in mild
air (popular), and a small patch may lie beside the probe."""

COLD_CELLS, COLD_ANYWAY = 1500.0, 0.05
"""Brood of which every other nest looks like one without; and the part that looks so with any
number. Own choices: a lid left off, a probe that was moved."""


def nest_says(days: Days, over: Sequence[int]) -> dict[date, bool]:
    """Say from the nest's warmth whether there is brood, where it is clear.

    Parameters
    ----------
    days : Days
        Those of a hive.
    over : sequence of int
        The places of those that count, in their order.

    Returns
    -------
    dict[date, bool]
        The last of some `NEST_DAYS` that are clear, and whether they show brood.
    """
    nest, air = days.nest_cel, np.where(np.isnan(days.ambient_cel), MILD_CEL, days.ambient_cel)
    half_way = HALF_WAY_CEL + HALF_WAY_SLOPE * np.clip(air, COLDEST_CEL, WARMEST_CEL)
    with np.errstate(invalid="ignore"):
        is_held = (nest >= BROOD_CEL[0]) & (nest <= BROOD_CEL[1]) & (air < HOT_CEL)
        is_held &= (days.nest_sd_k > 0) & (days.nest_sd_k <= STEADY_K)
        is_cold = nest < half_way
    says, shown = {}, 0
    for place in over:
        shown += int(is_held[place])
        if days.day[place].toordinal() % NEST_DAYS:
            continue
        block = slice(max(over[0], place - NEST_DAYS + 1), place + 1)
        if is_held[block].sum() >= NEST_LEAST:
            says[days.day[place]] = True
        elif shown >= SHOWN_DAYS and is_cold[block].sum() >= NEST_LEAST:
            says[days.day[place]] = False
    return says


def fit(brood: Cohorts, *, has_brood: bool) -> Floats:
    """Say how well what the nest shows fits each member.

    Parameters
    ----------
    brood : Cohorts
        Each member's, by age, shape (21, members).
    """
    cells = np.asarray(brood[WORKER.hatch_day :].sum(axis=0), np.float64)
    if has_brood:
        return np.asarray(1 - (1 - WARM_ANYWAY) * np.exp(-cells / WARMS_CELLS))
    return np.asarray(COLD_ANYWAY + (1 - COLD_ANYWAY) / (1.0 + (cells / COLD_CELLS) ** 2))


def choose(fits: Floats, generator: np.random.Generator) -> NDArray[np.int64]:
    """Say by which member each is replaced: by itself, with a chance of its fit to the best one's.

    The others give way to members drawn by how well they fit: so few change where all fit alike.

    References
    ----------
    J. S. Liu, R. Chen, W. H. Wong, J. Am. Stat. Assoc. 93, 1022 (1998): rejection control.
    """
    draws = generator.uniform(size=(2, fits.size))
    total = np.cumsum(fits)
    others = total.searchsorted(draws[1] * total[-1], side="right")
    stays = draws[0] * fits.max() <= fits
    return np.where(stays, np.arange(fits.size), np.minimum(others, fits.size - 1))
