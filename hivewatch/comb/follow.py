"""Follow what sensors show of foragers between visits: many hives at once, each by its own sign."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from hivewatch.comb.assimilate import scale_to
from hivewatch.comb.colony import Colony
from hivewatch.comb.priors import FORAGER_DEATH, HOUSE_DEATH, ONSET_AGE, Traits
from hivewatch.comb.stages import Floats

LEAST_FORAGERS = 200.0  # own choice: fewer are orientation flights at most


def follow_foragers(
    colony: Colony,
    traits: Traits,
    own: Floats,
    through: Sequence[int],
    told: Floats,
    generators: Sequence[np.random.Generator],
) -> tuple[Colony, Traits, Floats]:
    """Move members by a sign of their foragers: their number times what each hive makes of it.

    The filter of `assimilate.assimilate` with one count. Only what makes foragers is moved (house
    bees, foragers, their traits), and what is the hive's own: such signs say nothing of brood, and
    chance correlations in a small ensemble would. A hive with hardly a forager stays as it is.

    Parameters
    ----------
    colony, traits : Colony, Traits
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
    tuple[Colony, Traits, Floats]
        Moved.
    """
    house, foragers = (
        np.asarray(part.sum(axis=0), np.float64) for part in (colony.house, colony.foragers)
    )
    flown = foragers + colony.winter
    supposed = (traits.forager_death, traits.onset_age, traits.house_death)
    rows = [np.log(np.maximum(sums, 1.0)) for sums in (house, flown)]
    rows += [np.log(np.asarray(trait, np.float64)) for trait in supposed]
    state = np.concatenate([np.array(rows), own])
    there = np.log(np.maximum(foragers, 1.0)) + own[list(through)].sum(axis=0)
    members = there.shape[1]
    drawn = np.array([one.standard_normal(members) for one in generators])
    off = told[:, 1:] * (drawn - drawn.mean(axis=1, keepdims=True))
    apart = there - there.mean(axis=1, keepdims=True)
    cross = (state - state.mean(axis=2, keepdims=True)) * apart
    spread = (apart**2).sum(axis=1) / (members - 1) + told[:, 1] ** 2
    gain = cross.sum(axis=2) / (members - 1) / spread
    gain[:, np.median(foragers, axis=1) < LEAST_FORAGERS] = 0.0
    moved = state + gain[:, :, None] * (told[:, :1] + off - there)
    return *_put_back(colony, traits, house, flown, moved), moved[5:]


def _put_back(
    colony: Colony, traits: Traits, house: Floats, flown: Floats, moved: Floats
) -> tuple[Colony, Traits]:
    """Scale house bees, foragers and winter bees to the moved sums; bound the moved traits."""
    of_house, of_flown = (
        np.asarray(scale_to(sums, row), np.float32)
        for sums, row in ((house, moved[0]), (flown, moved[1]))
    )
    death, onset, house_death = (
        np.exp(row).clip(prior.low, prior.high).astype(np.float32)
        for row, prior in zip(moved[2:5], (FORAGER_DEATH, ONSET_AGE, HOUSE_DEATH), strict=True)
    )
    return (
        Colony(
            colony.brood,
            colony.house * of_house,
            colony.foragers * of_flown,
            colony.winter * of_flown,
        ),
        Traits(traits.laying, death, onset, house_death, traits.brood_loss),
    )
