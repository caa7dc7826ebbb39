"""What room a brood nest has, as a visit judged its sides: bees over them, stores among brood."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from hivewatch.inspections import Inspection

BROOD_SHARE = 0.05  # [share of a side] own choice: less is a patch, not the nest
LEAST_SIDES = 4  # own choice: of two combs; of fewer sides nobody can speak of a nest


class NestRoom(NamedTuple):
    """Shares of comb, 0 to 1; None where nobody judged them."""

    covered: float | None  # of all sides that were judged, with bees
    stored: float | None  # of the sides with brood, with honey and pollen
    free: float | None  # of the sides with brood, empty or with an egg in it


def nest_room(visit: Inspection) -> NestRoom:
    """Say how full the nest was at a visit.

    Parameters
    ----------
    visit : Inspection
        Its `frames`; a side counts towards what was judged on it.

    Returns
    -------
    NestRoom
        Means over the sides. All None where less than `LEAST_SIDES` tell.
    """
    bees = [side.bees for side in visit.frames if side.bees is not None]
    stored, free = [], []
    for side in visit.frames:
        brood = (side.open or 0.0) + (side.capped or 0.0)
        if side.honey is None or brood + (side.eggs or 0.0) < BROOD_SHARE:
            continue
        stored.append(side.honey + (side.pollen or 0.0))
        free.append(max(0.0, 1.0 - brood - stored[-1]))
    return NestRoom(_mean(bees), _mean(stored), _mean(free))


def _mean(shares: list[float]) -> float | None:
    """Give the mean of enough sides."""
    return float(np.mean(shares)) if len(shares) >= LEAST_SIDES else None
