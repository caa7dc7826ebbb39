"""Which readings of the weight moved: those that differ from the one a quiet span earlier."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from hivewatch.signals.levels import noise_kg
from hivewatch.signals.usual import first_within
from hivewatch.signals.window import Floats, Ints

NOISE_SPREADS = 7.0  # own choice: one false start in many hive-years of normal noise
DRIFT_KG_PER_H = 0.6  # [kg/h] own choice: what bees alone can do for hours on end
MOST_DRIFT_KG = 4.0  # [kg] own choice: what a silence of any length may hide of slow change
LEAST_KG = 0.3  # [kg] own choice: ten times the 30 g below; tests/property/test_steps.py


class Restless(NamedTuple):
    """Readings of the weight, their noise, what each is compared with, and which ones moved."""

    weight_kg: Floats
    time_s: Ints
    noise: Floats
    earlier: Ints
    flags: Ints

    @classmethod
    def of(cls, weight_kg: Floats, time_s: Ints, quiet_s: int, from_s: int = 0) -> Restless:
        """Compare readings; what moved before `from_s` is known already."""
        noise = noise_kg(weight_kg)
        earlier, flags = _flags(weight_kg, time_s, noise, quiet_s)
        flags = flags[flags.searchsorted(time_s.searchsorted(from_s)) :]
        return cls(weight_kg, time_s, noise, earlier, flags)


def _flags(weight_kg: Floats, time_s: Ints, noise: Floats, quiet_s: int) -> tuple[Ints, Ints]:
    """Compare every reading with the one a quiet span earlier: whom with, and which ones moved."""
    n = len(time_s)
    if n < 2:  # noqa: PLR2004
        return np.empty(0, np.int64), np.empty(0, np.int64)
    earlier = np.minimum(first_within(time_s, quiet_s), np.arange(n) - 1)
    earlier[0] = 0
    over_s = np.maximum(time_s - time_s[earlier] - quiet_s, 0)
    allowed = np.minimum(over_s * (DRIFT_KG_PER_H / 3600), MOST_DRIFT_KG)
    allowed += np.maximum(LEAST_KG, NOISE_SPREADS * noise)
    moved = np.abs(weight_kg - weight_kg[earlier]) > allowed
    return earlier, np.flatnonzero(moved)
