"""Follow what sensors show of foragers between visits: many hives at once, each by its own sign."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from hivewatch.comb.assimilate import scale_to
from hivewatch.comb.colony import Colony
from hivewatch.comb.stages import Floats

LEAST_FORAGERS = 200.0  # own choice: fewer are orientation flights at most


def follow_foragers(
    colony: Colony,
    own: Floats,
    through: Sequence[int],
    told: Floats,
    generators: Sequence[np.random.Generator],
) -> tuple[Colony, Floats]:
    """Move members by a sign of their foragers: their number times what each hive makes of it.

    The filter of `assimilate.assimilate` with one count. Only foragers are moved, house bees, of
    whom those who have gone out are missing, and what is the hive's own: such signs say nothing of
    brood, and whether foragers die sooner or fly less they cannot tell. A hive with hardly a
    forager stays as it is, and so does one with more winter bees than foragers: these fly as well
    then, and nobody knows how many.

    Parameters
    ----------
    colony : Colony
        Of some hives.
    own : Floats
        What is each hive's own, on the log scale, shape (rows, hives, members).
    through : Sequence[int]
        The rows of it that, added to the log of the foragers, make what is expected.
    told : Floats
        Log of what was measured, and its standard deviation, shape (hives, 2).
    generators : Sequence[np.random.Generator]
        One a hive.

    Returns
    -------
    tuple[Colony, Floats]
        Moved.
    """
    foragers = np.asarray(colony.foragers.sum(axis=0), np.float64)
    log_foragers = np.log(np.maximum(foragers, 1.0))
    house = np.asarray(colony.house.sum(axis=0), np.float64)
    there = log_foragers + own[list(through)].sum(axis=0)
    state = np.concatenate([[log_foragers, np.log(np.maximum(house, 1.0))], own])
    members = there.shape[1]
    drawn = np.array([one.standard_normal(members) for one in generators])
    off = told[:, 1:] * (drawn - drawn.mean(axis=1, keepdims=True))
    apart = there - there.mean(axis=1, keepdims=True)
    cross = (state - state.mean(axis=2, keepdims=True)) * apart
    spread = (apart**2).sum(axis=1) / (members - 1) + told[:, 1] ** 2
    gain = cross.sum(axis=2) / (members - 1) / spread
    least = np.maximum(LEAST_FORAGERS, np.median(colony.winter, axis=1))
    gain[:, np.median(foragers, axis=1) < least] = 0.0
    moved = state + gain[:, :, None] * (told[:, :1] + off - there)
    flown, at_home = (
        np.asarray(scale_to(bees, log), np.float32)
        for bees, log in zip((foragers, house), moved[:2], strict=True)
    )
    after = replace(colony, foragers=colony.foragers * flown, house=colony.house * at_home)
    return after, moved[2:]
