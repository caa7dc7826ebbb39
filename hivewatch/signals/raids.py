"""On which days did robbers come to one hive of a yard: more bees flew there, and less came home.

What is carried off needs bees that carry it, some 28,000 a kilogram, and they are counted at the
entrance beside the hive's own. A day is the same for the whole yard: what a hive falls behind its
neighbours, and how many more of its bees fly beside theirs, each beside the usual, are two
witnesses who know nothing of each other. Where both say so, a day or two tell it.
"""

from __future__ import annotations

import numpy as np

from hivewatch.signals.bare import before_each
from hivewatch.signals.beside import Beside, before_each_row, middle_of, nearly_least, others_of
from hivewatch.signals.window import Floats

# Own choices where no source is named; tests/unit/signals/test_raids.py.
USUAL = (16, 5)  # days that tell what is usual; known ones of them
LOAD_KG = 3.6e-5  # [kg] published: honey that a bee takes along, constants in Becher et al. (2014)
CARRIED = (0.5, 4.0)  # share of what it falls behind that so many bees more could carry
MOST_TIMES = 2.5  # times the usual beside the others: no robbers, but the others fly no more
WORST_KG = 0.1  # [kg] behind those that may not
LEAST_OFF = 0.05  # [log] off the usual beside the others; more than on half of the days, too
LEAST_BEES = 500.0  # [bees] of a neighbour who flies at all
LOSES_KG = 0.15  # [kg] by day
FLOW_KG = 1.0  # [kg] by day of the others: in such a flow nobody robs, and a weak one has no part
FOOD_KG = 0.5  # [kg] of what it eats in a day may have come in: after a great flow nectar dries


def raided_kg(yard: Beside, row: int) -> Floats:
    """Give what a hive fell behind its yard, on days on which robbers could have carried it off.

    Parameters
    ----------
    yard : Beside
        The days of a yard's hives.
    row : int
        The hive's row.

    Returns
    -------
    Floats
        Shape (n,); on other days 0, or what it was ahead, negative; NaN where nobody knows. [kg]
    """
    own, others = yard.gain[row], others_of(yard.gain, row)
    behind = others - own
    behind = behind - np.maximum(before_each_row(behind, *USUAL), 0.0)
    flown = np.where(np.isnan(others), np.nan, others_of(yard.out, row))
    share = yard.out[row] / np.where(flown >= LEAST_BEES, flown, np.nan)
    usual = before_each_row(share, *USUAL)
    times = nearly_least(share / np.where(usual > 0, usual, np.nan))
    middle = middle_of(behind)
    carried_kg = LOAD_KG * yard.out[row] * (1 - 1 / np.maximum(times, 0.1))
    busier = np.log(np.maximum(times, 0.1))
    is_raid = (
        (busier > np.fmax(before_each(np.abs(busier), *USUAL), LEAST_OFF))
        & (nearly_least(behind) > WORST_KG)
        & (times <= MOST_TIMES)
        & (carried_kg >= CARRIED[0] * middle)
        & (carried_kg <= CARRIED[1] * middle)
        & (own < -LOSES_KG)
        & (middle_of(others) < FLOW_KG)
        & (own + yard.eaten[row] < FOOD_KG)
    )
    told = np.where(is_raid, middle, np.minimum(middle, 0.0))
    return np.where(np.isnan(times), np.nan, told)
