"""How long brood is egg, open and capped, and how much of it is lost on the way."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Stages:
    """The days of one caste from the laying of the egg, and the usual daily losses.

    Parameters
    ----------
    caste : str
        `worker`, `drone` or `queen`.
    hatch_day, cap_day, emerge_day : int
        Age at which the egg hatches, the cell is capped, the adult emerges. [d]
    egg_loss, open_loss, capped_loss : float
        Daily hazard in each stage where losses are as published. [1/d]
    """

    caste: str
    hatch_day: int
    cap_day: int
    emerge_day: int
    egg_loss: float
    open_loss: float
    capped_loss: float

    @property
    def windows(self) -> tuple[tuple[int, int], tuple[int, int], tuple[int, int]]:
        """First and last day of age of eggs, open and capped brood."""
        return (
            (0, self.hatch_day),
            (self.hatch_day, self.cap_day),
            (self.cap_day, self.emerge_day),
        )

    def daily_loss(self) -> Floats:
        """Give the hazard of each day of age, shape (emerge_day,)."""
        lengths = [old - young for young, old in self.windows]
        return np.repeat(np.array([self.egg_loss, self.open_loss, self.capped_loss]), lengths)

    def survival(self, share_of_loss: float) -> Floats:
        """Say what part of an egg laid j to j + 1 days ago is alive today, shape (emerge_day,).

        `share_of_loss` scales the published hazards: 0 loses nothing, 1 as published. Taken at
        the middle of each day of age.
        """
        hazard = self.daily_loss() * share_of_loss
        survival: Floats = np.exp(-(np.cumsum(hazard) - hazard / 2))
        return survival

    def to_adult(self, share_of_loss: float) -> float:
        """Say what part of the eggs becomes adults."""
        return math.exp(-float(self.daily_loss().sum()) * share_of_loss)

    def share_of_loss(self, to_adult: float) -> float:
        """Turn a survival from egg to adult into a multiple of the published losses."""
        return -math.log(to_adult) / float(self.daily_loss().sum())


def _hazard(survives: float, days: int) -> float:
    return -math.log(survives) / days


# Days 3, 9, 21: common practice, no source; the same in Becher et al. 2014 (J. Appl. Ecol.
# 51:470-482), who quote Winston 1987 p. 50.
# Losses: 100 eggs give 94.2 larvae and 85.1 adults, Fukuda & Sakagami 1968 (Res. Popul. Ecol.
# 10:31-39), nest centre. Their 0.851 / 0.942 from larva to adult is split between open and capped
# brood as the daily mortalities 0.01 and 0.001 of Schmickl & Crailsheim 2007 (Ecol. Modelling
# 204:219-245) split it: 0.9187 while open, 0.9833 while capped.
WORKER = Stages("worker", 3, 9, 21, _hazard(0.942, 3), _hazard(0.9187, 6), _hazard(0.9833, 12))

# Days 3, 10, 24 and daily mortalities 0.064, 0.044, 0.005: Jay 1963; Fukuda & Ohtani 1977 (100
# eggs give 82, 60, 56), as gathered by Becher et al. 2014.
DRONE = Stages("drone", 3, 10, 24, -math.log(0.936), -math.log(0.956), -math.log(0.995))

# Days 3, 8, 16: common practice, no source. One published table (QDPI, quoted by encyclopaedias)
# caps at 7.5. No loss is published that we know of: none is taken.
QUEEN = Stages("queen", 3, 8, 16, 0.0, 0.0, 0.0)
